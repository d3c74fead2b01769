"""How a business writes times, lengths and money: chosen once, kept everywhere.

Whoever answers a request says by `worded` whose way holds; elsewhere (the command line, work in the background) it is
`PLAIN`. Sentences of the planning core are written in that plain way too, and `say` puts them into the business's.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass

# A time of day as plain sentences write it: no part of a moment, a ratio or something already written in full.
_TIME = re.compile(r"(?<![\w:.,+])(?<!:\d\d:\d\d-)([01]?[0-9]|2[0-4]):([0-5][0-9])(?![:\w]|\.[0-9]| ?[ap]m\b)")
_BOTH = re.compile(r"""(-?(?:[0-9]+' ?)?(?:[0-9]+(?: [0-9]+/[0-9]+)?|[0-9]+/[0-9]+)?["']) \((-?[0-9]+) mm\)""")
_WEIGHTS = re.compile(r"([0-9]+(?:\.[0-9]+)?) kg \(([0-9]+(?:\.[0-9]+)?) lb\)")
_WEIGHTS_BACK = re.compile(r"([0-9]+(?:\.[0-9]+)?) lb \(([0-9]+(?:\.[0-9]+)?) kg\)")
_HOURS = re.compile(r"(?<![:0-9])(1[0-2]|[1-9]) ([ap])m\b")
_POUNDS = re.compile(r"\b([0-9]+(?:\.[0-9]+)?) lb\b")
_MPH = re.compile(r"\b([0-9]+(?:\.[0-9]+)?) mph\b")
_LB_KG, _MPH_KMH = 0.45359237, 1.609344
_SIGN = re.compile(r"\$(?=[0-9]|[ ,]|$)")  # before an amount, or alone as a unit: "A minute, $ more"
_CENTS = re.compile(r"\$([0-9][0-9,]+)\.([0-9]{2})(?![0-9])")  # from ten on
_DAY_MIN = 24 * 60


@dataclass(frozen=True)
class Wording:
    """`clock` "12" or "24", `units` "imperial" or "metric", and the sign before an amount of money."""

    clock: str = "24"
    units: str = "imperial"
    currency: str = "$"

    def time(self, minutes: int, *, short: bool = False) -> str:
        """Return minutes after midnight as 14:28 or 2:28 pm; `short`: without am and pm, where the place is narrow."""
        if self.clock == "24":
            return f"{minutes // 60}:{minutes % 60:02}"
        hours, rest = divmod(minutes % _DAY_MIN, 60)
        written = f"{(hours + 11) % 12 + 1}:{rest:02}"
        return written if short else f"{written} {'am' if hours < 12 else 'pm'}"

    def hour(self, hour: int) -> str:
        """Return a full hour of the day as 18 or 6, for narrow places."""
        return str(hour) if self.clock == "24" else str((hour + 11) % 12 + 1)

    def full_hours(self, text: str) -> str:
        """Return a text, or a drawing with its texts, with "3 pm" as 15:00 where the business writes times so."""
        if self.clock != "24" or "m" not in text:
            return text
        return _HOURS.sub(lambda at: f"{int(at[1]) % 12 + (12 if at[2] == 'p' else 0)}:00", text)

    def say(self, sentence: str) -> str:
        """Return a sentence written in the plain way as this business writes times, lengths and money."""
        if self.clock == "12" and ":" in sentence:
            sentence = _TIME.sub(lambda at: self.time(int(at[1]) * 60 + int(at[2])), sentence)
        sentence = self.full_hours(sentence)
        if " lb" in sentence:
            sentence = _WEIGHTS.sub(r"\1 kg" if self.units == "metric" else r"\2 lb", sentence)
            sentence = _WEIGHTS_BACK.sub(r"\2 kg" if self.units == "metric" else r"\1 lb", sentence)
        if self.units == "metric":
            sentence = _metric(sentence)
        if "$" in sentence:
            sentence = _CENTS.sub(
                lambda found: f"${round(float(f'{found[1]}.{found[2]}'.replace(',', ''))):,}", sentence
            )
        if self.currency != "$" and "$" in sentence:
            sentence = _SIGN.sub(lambda _: self.currency, sentence)
        return sentence


def _metric(sentence: str) -> str:
    if " mm)" in sentence:
        sentence = _BOTH.sub(lambda both: f"{both[2]} mm", sentence)
    if " lb" in sentence:
        sentence = _POUNDS.sub(lambda found: f"{float(found[1]) * _LB_KG:.0f} kg", sentence)
    if " mph" in sentence:
        sentence = _MPH.sub(lambda found: f"{float(found[1]) * _MPH_KMH:.0f} km/h", sentence)
    return sentence


PLAIN = Wording()
_found: ContextVar[Callable[[], Wording]] = ContextVar("wording", default=lambda: PLAIN)


def wording() -> Wording:
    """Return how times, lengths and money are written here and now."""
    return _found.get()()


@contextmanager
def worded(find: Callable[[], Wording]) -> Iterator[None]:
    """Have `find` say how things are written, asked only where something is and then once."""
    known: list[Wording] = []

    def once() -> Wording:
        if not known:
            known.append(find())
        return known[0]

    token = _found.set(once)
    try:
        yield
    finally:
        _found.reset(token)
