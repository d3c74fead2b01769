"""Figures of weather and work as the business measures them on its pages: the base keeps each in one unit."""

from __future__ import annotations

import math
from dataclasses import dataclass

from api.languages.core import core_says
from api.languages.core_words import USUAL
from scheduler.errors import BadInput
from scheduler.units import FOOT_MM, INCH_MM

_ANY = (-math.inf, math.inf)


@dataclass(frozen=True)
class InUnits:
    """How a figure kept in one unit is shown and typed in another: shown = kept * `factor` + `offset`, in `unit`.

    within: least and most of the kept figure.
    """

    unit: str
    factor: float
    offset: float = 0.0
    within: tuple[float, float] = _ANY

    def shown(self, kept: str) -> str:
        """Return the text of a kept figure in this unit, to two figures below 1 and to a tenth above."""
        figure = _number(kept)
        if figure is None:
            return kept
        here = figure * self.factor + self.offset
        return f"{here:.2g}" if abs(here) < 1 else f"{round(here, 1):.12g}"

    def kept(self, text: str, before: str) -> str:
        """Return what is kept of a text typed in this unit; `before`, to the last digit, where it says the same.

        Raises `BadInput` for a number outside the bounds; what is no number stays, and its own reader says so.
        """
        typed = text.strip()
        if typed == self.shown(before):
            return before
        figure = _number(typed)
        if figure is None:
            return text
        kept = (figure - self.offset) / self.factor
        low, high = self.within
        if not low <= kept <= high:
            least, most = (self.shown(f"{bound:.12g}") for bound in self.within)
            raise BadInput("", f'must be a number from {least} to {most}, is "{typed}"')
        return f"{kept:.6g}"


def _number(text: str) -> float | None:
    try:
        figure = float(text)
    except ValueError:
        return None
    return figure if math.isfinite(figure) else None


@dataclass(frozen=True)
class UsualText:
    """A text that may be one of the product's own: it is shown in the language spoken, and kept in English."""

    def shown(self, kept: str) -> str:
        return core_says(kept) if kept in USUAL else kept

    def kept(self, text: str, before: str) -> str:
        """Return what is kept of a text; `before`, where it says the same."""
        return before if text.strip() == self.shown(before) else text


def within(measured: InUnits, bounds: tuple[float, float]) -> InUnits:
    """Return the same measure with bounds."""
    return InUnits(measured.unit, measured.factor, measured.offset, bounds)


INCHES = InUnits("in", 1 / INCH_MM)
FAHRENHEIT, CELSIUS = InUnits("°F", 9 / 5, 32), InUnits("°C", 5 / 9, -32 * 5 / 9)
DEGREES_F = InUnits("°F", 9 / 5)  # of a difference
KMH = InUnits("km/h", 1.609344)
MPH = InUnits("mph", 1 / 0.44704)
A_FOOT = InUnits("min", FOOT_MM / 1000)  # of minutes a meter
