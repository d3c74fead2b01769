"""The form of one part of what a business decides: lines with meaning and unit, in groups, and what takes them in."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from sqlmodel import Session

from api.business.measured import InUnits, UsualText
from api.fields.column_limits import ColumnLimit, Text, Whole
from api.fields.files.sheets import one_of
from api.fields.limits import MONEY
from scheduler.errors import BadInput
from scheduler.units import exact_length, feet_inches, parse_length

MOST_LETTERS = 400
KM_MI = 1.609344
_DRIVING = re.compile(r"(?i)([$0-9.,\s]+?)\s*(?:(?:/|per|an?)?\s*(mi|miles?|km)\.?)?")


class BadValues(BadInput):
    """Everything that is wrong with what was sent, one (line's name, problem) each; an empty name means the whole."""

    def __init__(self, faults: list[tuple[str, str]]) -> None:
        super().__init__(*faults[0])
        self.faults = tuple(faults)


@dataclass(frozen=True)
class Line:
    """One value: `text` is how it stands now, `takes` its limit, or what reads what is sent or raises `BadInput`.

    `unit` follows the value on the page; `choices` are (value, words) where one of a few is chosen; `times`: the text
    holds times of day and days, which the page writes as the business does; `measured`: the page shows and takes the
    value in another unit or language; `measured_by`: a line's name, and the unit by what is chosen there.
    """

    name: str
    label: str
    text: str
    takes: ColumnLimit | Callable[[str], Any]
    unit: str = ""
    meaning: str = ""
    choices: tuple[tuple[str, str], ...] = ()
    wide: bool = False
    times: bool = False
    measured: InUnits | UsualText | None = None
    measured_by: tuple[str, Mapping[str, InUnits]] = ("", {})

    @property
    def shown(self) -> str:
        """Return the text as the page has it."""
        return self.measured.shown(self.text) if self.measured else self.text

    @property
    def shown_unit(self) -> str:
        return self.measured.unit if isinstance(self.measured, InUnits) else self.unit

    def parse(self, text: str) -> Any:
        """Return the value that was sent as `text`; raises `BadInput` where it cannot stand."""
        return self.takes.parse(text) if isinstance(self.takes, ColumnLimit) else self.takes(text)

    @property
    def held(self) -> dict[str, str]:
        """Return the attributes by which a browser keeps the value to its limit."""
        if not isinstance(self.takes, ColumnLimit):
            return {"maxlength": str(MOST_LETTERS)}
        must = isinstance(self.takes, Whole) or (isinstance(self.takes, Text) and self.takes.least > 0)
        return self.takes.attributes() | ({"required": ""} if must else {})


@dataclass(frozen=True)
class Group:
    """Lines under one heading; with `heads` they are the rows of a table: (what the row is, its lines)."""

    title: str
    words: str = ""
    lines: tuple[Line, ...] = ()
    heads: tuple[str, ...] = ()
    rows: tuple[tuple[str, tuple[Line, ...]], ...] = ()

    @property
    def all(self) -> tuple[Line, ...]:
        return self.lines + tuple(line for _, lines in self.rows for line in lines)


@dataclass(frozen=True)
class Part:
    """One part; `more` is the address of a page that shows what comes of it, with the words that lead there.

    `write` gets every line's value by name and changes the rows; it says whether nobody was quicker.

    It raises `BadValues`, before it changes anything, where values that are right alone cannot stand together.
    """

    id: str
    title: str
    words: str
    groups: tuple[Group, ...]
    write: Callable[[Session, Mapping[str, Any]], bool]
    more: tuple[str, str] = ("", "")

    @property
    def lines(self) -> tuple[Line, ...]:
        return tuple(line for group in self.groups for line in group.all)

    def from_page(self, texts: Mapping[str, str]) -> dict[str, str]:
        """Return texts as they are kept, of those that the page takes in other units; raises `BadValues`."""
        kept, faults = dict(texts), []
        for line in self.lines:
            by, units = line.measured_by
            measured = line.measured or units.get(texts.get(by, ""))
            if measured is not None and line.name in kept:
                try:
                    kept[line.name] = measured.kept(kept[line.name], line.text)
                except BadInput as fault:
                    faults.append((line.name, fault.problem))
        if faults:
            raise BadValues(faults)
        return kept


class OneLine(Text):
    """A text of one line."""

    def check(self, value: Any) -> str:
        if isinstance(value, str) and any(letter in "\n\r\t" for letter in value):
            raise BadInput("", "must be one line of plain text")
        return super().check(value)


def words(most: int = MOST_LETTERS, least: int = 1) -> OneLine:
    """Return the limit of a text of `least` to `most` letters."""
    return OneLine(most=most, least=least)


def chosen(choices: tuple[tuple[str, str], ...]) -> Callable[[str], str]:
    return lambda text: one_of(text, [value for value, _ in choices])


def cents(text: str) -> int:
    """Return the cents of an amount in dollars such as 1,400 or $12.50, up to the limit of every amount."""
    plain = text.replace(",", "").replace("$", "").strip()
    whole_part, _, rest = plain.partition(".")
    if not whole_part.isdecimal() or len(whole_part) > 8 or (rest and (not rest.isdecimal() or len(rest) > 2)):
        raise BadInput("", f'must be dollars such as 1,400 or 12.50, is "{text}"')
    amount_cents = int(whole_part) * 100 + int(rest.ljust(2, "0") or 0)
    if amount_cents > MONEY.most:
        raise BadInput("", f"must be at most ${dollars_text(MONEY.most)}, is ${dollars_text(amount_cents)}")
    return amount_cents


def dollars_text(amount_cents: int) -> str:
    """Return cents as `cents` reads them back: 1,400 or 12.50."""
    dollars, rest = divmod(amount_cents, 100)
    return f"{dollars:,}" + (f".{rest:02}" if rest else "")


def driving_cents(text: str, units: str) -> float:
    """Return the cents of a km of an amount such as 0.63/mi or 0.39/km; one without a measure is as `units` has it.

    By the mile they are no whole ones, so that the amount is read again as it was typed.
    """
    found = _DRIVING.fullmatch(text.strip())
    if found is None:
        raise BadInput("", f'must be dollars for each mile or km, such as 0.63/mi or 0.39/km, is "{text}"')
    mile = units == "imperial" if found[2] is None else found[2].lower() != "km"
    return round(cents(found[1]) / KM_MI, 4) if mile else cents(found[1])


def driving_text(km_cents: float, units: str) -> str:
    """Return cents of a km by the mile where feet are measured, to the cent: as they were typed in that measure."""
    if units == "imperial":
        return f"{dollars_text(round(km_cents * KM_MI))}/mi"
    return f"{dollars_text(round(km_cents))}/km"


def length(text: str) -> int:
    """Return whole millimetres of a length in either measure, up to 20 m."""
    length_mm = round(parse_length(text, ""))
    if not 0 <= length_mm <= 20_000:
        raise BadInput("", f'must be from 0 to 20 m, is "{text}"')
    return length_mm


def length_text(length_mm: int, units: str) -> str:
    """Return a length so that `length` reads it back as the same millimetre."""
    text = exact_length(length_mm, units)
    near = feet_inches(length_mm)
    return near if units == "imperial" and round(parse_length(near)) == length_mm else text
