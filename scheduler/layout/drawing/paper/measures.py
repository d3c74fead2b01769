"""Lengths as the sheet shows them, in the set unit first and the other one small beside it; and who says its words."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from scheduler.units import feet_inches

Units = Literal["imperial", "metric"]
# Gives what the drawing writes in English in the words that its reader knows.
Say = Callable[[str], str]

_IMPERIAL = {8: '1 1/2 in = 1 ft', 12: '1 in = 1 ft', 16: '3/4 in = 1 ft', 24: '1/2 in = 1 ft', 32: '3/8 in = 1 ft',
             48: '1/4 in = 1 ft', 64: '3/16 in = 1 ft', 96: '1/8 in = 1 ft', 128: '3/32 in = 1 ft',
             192: '1/16 in = 1 ft'}  # fmt: skip
_METRIC = (10, 15, 20, 25, 30, 40, 50, 60, 75, 100, 125, 150, 200)
_SMALLEST = (250, 500, 1000, 2500, 5000)  # for measures that no house has
_INCHES = r"(?:\d+(?: \d+/\d+)?|\d+/\d+)\""
_IN_BOTH = re.compile(rf"(-?(?:\d+'(?: {_INCHES})?|{_INCHES})) \((-?[\d.]+ mm)\)")


def in_english(text: str) -> str:
    """Return a text as the drawing has it."""
    return text


@dataclass(frozen=True)
class Measures:
    """How lengths are written with one setting of units, and by whom words are said: each as a finished text."""

    units: Units
    say: Say = in_english

    def first(self, length_mm: float) -> str:
        return feet_inches(length_mm) if self.units == "imperial" else millimetres(length_mm)

    def worded(self, length_mm: float) -> str:
        """Return the length for a sentence in the first unit alone: `1 5/8"` or `42 mm`."""
        return self.first(length_mm) if self.units == "imperial" else f"{millimetres(length_mm)} mm"

    def other(self, length_mm: float) -> str:
        """Return the length in the other unit with its name, since it stands beside figures of the first."""
        return f"{millimetres(length_mm)} mm" if self.units == "imperial" else feet_inches(length_mm)

    def both(self, length_mm: float) -> str:
        """Return the length for a sentence: `12' 6 1/2" (3823 mm)` or `3823 mm (12' 6 1/2")`."""
        if self.units == "imperial":
            return f"{feet_inches(length_mm)} ({millimetres(length_mm)} mm)"
        return f"{millimetres(length_mm)} mm ({feet_inches(length_mm)})"

    def turned(self, text: str) -> str:
        """Return a sentence that has inches first, each length in both units turned to what `both` writes."""
        return text if self.units == "imperial" else _IN_BOTH.sub(r"\2 (\1)", text)

    def scales(self) -> tuple[int, ...]:
        """Return the scales that a sheet may have, the largest picture first."""
        return (*(_IMPERIAL if self.units == "imperial" else _METRIC), *_SMALLEST)

    def scale_name(self, scale: int) -> str:
        name = _IMPERIAL.get(scale) if self.units == "imperial" else None
        return f"1 : {scale} ({name})" if name else f"1 : {scale}"


def millimetres(length_mm: float) -> str:
    """Return a length in whole millimetres; below 20 mm, as holes and screws are, with a tenth where it has one."""
    text = f"{length_mm:.1f}".removesuffix(".0") if abs(length_mm) < 20 else f"{length_mm:.0f}"
    return "0" if text == "-0" else text
