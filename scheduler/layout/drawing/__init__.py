"""The wall drawing: one page that a carpenter drills by, and the same facts in words."""

from scheduler.layout.drawing.describe import describe
from scheduler.layout.drawing.page import draw_svg

__all__ = ["describe", "draw_svg"]
