"""The sheet of paper: lines and text in millimetres, and a record of where text lies, so that none covers another."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Literal
from xml.sax.saxutils import escape

from scheduler.layout.drawing.paper.lettering import clean, is_known, rise_of, width_of

Anchor = Literal["start", "middle", "end"]

# Graphite and awning-cloth rust; the rust is as dark as a pencil line when it is printed in grey.
GRAPHITE, GREY, PALE, PAPER = "#262626", "#5c5c5c", "#b4b4b4", "#ffffff"
RUST, RUST_TINT = "#9c3f1d", "#f4e6df"
# Font sizes, mm. The figures to work by have digits 2.9 mm high, the others 2.1 mm.
TITLE, FIGURE, SMALL = 5.0, 3.9, 2.9
LEADING = 1.32  # line to line, of the font size


@dataclass(frozen=True)
class Box:
    """A rectangle on the sheet, mm from its upper left corner, y downwards."""

    left: float
    top: float
    right: float
    bottom: float

    def overlaps(self, other: Box, gap: float = 0.0) -> bool:
        return (
            self.left < other.right + gap
            and other.left < self.right + gap
            and self.top < other.bottom + gap
            and other.top < self.bottom + gap
        )

    def inside(self, other: Box) -> bool:
        return (
            self.left >= other.left
            and self.right <= other.right
            and self.top >= other.top
            and self.bottom <= other.bottom
        )


@dataclass
class DrawingSheet:
    """A page `width` × `height` mm. `taken` holds the boxes of the text written so far.

    A `trial` sheet only records where text lies: most sheets are thrown away, and writing out their lines takes long.
    """

    width: float
    height: float
    trial: bool = False
    parts: list[str] = field(default_factory=list)
    taken: list[Box] = field(default_factory=list)

    def line(
        self, x0: float, y0: float, x1: float, y1: float, *, pen: float = 0.18, ink: str = GRAPHITE, dash: str = ""
    ) -> None:
        """Draw a line; `pen` is its width in mm, `dash` the lengths of strokes and gaps."""
        if not self.trial:
            self.path(f"M{n(x0)} {n(y0)}L{n(x1)} {n(y1)}", pen=pen, ink=ink, dash=dash)

    def path(self, d: str, *, pen: float = 0.18, ink: str = GRAPHITE, fill: str = "none", dash: str = "") -> None:
        """Draw a path in SVG's notation."""
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        self.parts.append(f'<path d="{d}" fill="{fill}" stroke="{ink}" stroke-width="{n(pen)}"{dashed}/>')

    def rect(self, box: Box, *, pen: float = 0.18, ink: str = GRAPHITE, fill: str = "none", dash: str = "") -> None:
        self.polygon(
            [(box.left, box.top), (box.right, box.top), (box.right, box.bottom), (box.left, box.bottom)],
            pen=pen, ink=ink, fill=fill, dash=dash,
        )  # fmt: skip

    def polygon(
        self,
        points: Sequence[tuple[float, float]],
        *,
        pen: float = 0.18,
        ink: str = GRAPHITE,
        fill: str = "none",
        dash: str = "",
    ) -> None:
        if not self.trial:
            d = "M" + "L".join(f"{n(x)} {n(y)}" for x, y in points) + "Z"
            self.path(d, pen=pen, ink=ink, fill=fill, dash=dash)

    def circle(
        self, x: float, y: float, radius: float, *, pen: float = 0.18, ink: str = GRAPHITE, fill: str = "none"
    ) -> None:
        if not self.trial:
            place = f'cx="{n(x)}" cy="{n(y)}" r="{n(radius)}"'
            self.parts.append(f'<circle {place} fill="{fill}" stroke="{ink}" stroke-width="{n(pen)}"/>')

    def text(
        self,
        x: float,
        y: float,
        text: str,
        size: float = SMALL,
        *,
        anchor: Anchor = "start",
        bold: bool = False,
        ink: str = GRAPHITE,
        turned: bool = False,
        ground: bool = False,
    ) -> Box:
        """Write `text` with its base line at `y` and return its box.

        `turned` writes it upwards, read from the right of the sheet, with `anchor` along that direction; `ground` puts
        white paper under it so that no line runs through it.
        """
        text = clean(text)
        box = text_box(x, y, text, size, anchor=anchor, bold=bold, turned=turned)
        self.taken.append(box)
        if self.trial:
            return box
        if ground:
            self.parts.append(
                f'<rect x="{n(box.left - 0.3)}" y="{n(box.top - 0.2)}" width="{n(box.right - box.left + 0.6)}" '
                f'height="{n(box.bottom - box.top + 0.4)}" fill="{PAPER}"/>'
            )
        shape = f' text-anchor="{anchor}"' if anchor != "start" else ""
        shape += ' font-weight="bold"' if bold else ""
        shape += f' transform="rotate(-90 {n(x)} {n(y)})"' if turned else ""
        # Keeps a viewer with another font to the width that was laid out.
        length = n(width_of(text, size, bold))
        shape += f' textLength="{length}" lengthAdjust="spacingAndGlyphs"' if is_known(text) and len(text) > 1 else ""
        self.parts.append(
            f'<text x="{n(x)}" y="{n(y)}" font-size="{n(size)}" fill="{ink}"{shape}>{escape(text)}</text>'
        )
        return box

    def paragraph(
        self, x: float, y: float, lines: Iterable[str], size: float = SMALL, *, bold: bool = False, ink: str = GRAPHITE
    ) -> float:
        """Write lines one below the other, the first at base line `y`; return the base line that would come next."""
        for line in lines:
            self.text(x, y, line, size, bold=bold, ink=ink)
            y += size * LEADING
        return y

    def is_free(self, box: Box, others: Iterable[Box] = (), gap: float = 0.5) -> bool:
        """Whether no text and none of `others` comes nearer than `gap` to `box`."""
        return not any(box.overlaps(each, gap) for each in self.taken) and not any(
            box.overlaps(each, gap) for each in others
        )

    def svg(self, title: str, description: str) -> str:
        """Return the sheet as an SVG file of its true size that needs nothing from elsewhere."""
        head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{n(self.width)}mm" height="{n(self.height)}mm" '
            f'viewBox="0 0 {n(self.width)} {n(self.height)}" role="img" '
            'font-family="DejaVu Sans,Verdana,sans-serif" stroke-linecap="round" stroke-linejoin="round">'
        )
        return "\n".join(
            [
                head,
                f"<title>{escape(clean(title))}</title>",
                f"<desc>{escape(clean(description))}</desc>",
                f'<rect width="{n(self.width)}" height="{n(self.height)}" fill="{PAPER}"/>',
                *self.parts,
                "</svg>",
                "",
            ]
        )


def text_box(
    x: float,
    y: float,
    text: str,
    size: float = SMALL,
    *,
    anchor: Anchor = "start",
    bold: bool = False,
    turned: bool = False,
) -> Box:
    """Return the box that `Sheet.text` would fill with the same arguments."""
    long = width_of(text, size, bold)
    up, down = (size * part for part in rise_of(text))
    before = {"start": 0.0, "middle": long / 2, "end": long}[anchor]
    if turned:
        return Box(x - up, y - long + before, x + down, y + before)
    return Box(x - before, y - up, x - before + long, y + down)


def n(value: float) -> str:
    """Return a number of millimetres as short text, to a hundredth."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text
