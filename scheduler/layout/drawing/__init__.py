"""The wall drawing: a sheet that a carpenter drills by, one with the rest, and the same facts in words."""

from scheduler.layout.drawing.describe import describe
from scheduler.layout.drawing.page import draw_sheets, draw_svg

__all__ = ["describe", "draw_sheets", "draw_svg"]
