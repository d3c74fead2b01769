"""What a kind of row is: its columns as people read and write them, and what its rows hang on."""

from __future__ import annotations

import copy
import datetime
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa
from sqlmodel import Session, SQLModel

from api.business.part import cents, dollars_text, driving_cents, driving_text, length_text
from api.fields.column_limits import Choice, ColumnLimit, Date, Decimal, Text, Whole
from api.fields.files.cells import usual_date, usual_number, weekdays_text
from api.fields.files.sheets import amounts, weekdays
from api.fields.items import item_name, skill_name
from api.fields.limits import LIMITS, limit
from api.fields.measures import by_unit_of_head, in_bounds, office_length, office_weight
from api.fields.shown import days_written, length, pounds
from api.fields.wording import wording
from api.languages import to_say
from scheduler.errors import BadInput
from scheduler.units import LB_KG, exact_number

Values = dict[str, Any]  # a row: what each column of its kind holds
_YES = {"yes": True, "y": True, "true": True, "x": True, "1": True, "no": False, "n": False, "false": False, "0": False}
_BOTH = (("yes", "yes"), ("no", "no"))


@dataclass(frozen=True)
class KindColumn:
    """One column: `read` takes the text of a field or cell or raises `BadInput`, `write` gives it back.

    `of` is the kind whose rows it names; `owner`: it says what the row belongs to; `like` the column
    whose text stands for an empty one. `empty` is what an empty text means,
    where it `may_be_empty`. `shown` gives a value as lists have it, where that is not how it is typed; `example`
    stands in the meaning. `start` stands in the form of a new row, `aliases` are what files call it, `words` other
    words of files for its choices (small letters), `short_list`: the list of the kind shows it, `lines`: its form has
    several. `by_head` gives a cell of a file what its head alone says of it. `by_units`: label and meaning in the
    measures of either way, where these differ.
    """

    name: str
    label: str
    read: Callable[[str, str], Any]
    write: Callable[[Any, str], str] = lambda value, _: "" if value is None else str(value)
    meaning: str = ""
    of: str = ""
    owner: bool = False
    like: str = ""
    may_be_empty: bool = False
    empty: Any = None
    start: str = ""
    choices: tuple[tuple[str, str], ...] = ()
    shown: Callable[[Any], str] | None = None
    example: str = ""
    hint: Mapping[str, str] = ()  # type: ignore[assignment]  # attributes of the input: its limits
    aliases: tuple[str, ...] = ()
    words: Mapping[str, str] = ()  # type: ignore[assignment]
    wide: bool = False
    lines: bool = False
    short_list: bool = True
    by_head: Callable[[str, str], str] | None = None
    by_units: Mapping[str, tuple[str, str]] = ()  # type: ignore[assignment]

    @property
    def head(self) -> str:
        """What the column is called by whoever measures as this business does."""
        return self.by_units[wording().units][0] if self.by_units else self.label

    @property
    def meant(self) -> str:
        """What it means, in the measures of this business."""
        return self.by_units[wording().units][1] if self.by_units else self.meaning

    def value(self, text: str, units: str) -> Any:
        """Return what a text means in this column; raises `BadInput`."""
        text = text.strip()
        if not text and self.may_be_empty:
            return copy.copy(self.empty)
        return self.read(text, units)


@dataclass(frozen=True)
class Kind:
    """One kind of row. `key` are the columns by which a file's rows are told apart, `made_id`: the id comes from us.

    `check` raises `BadInput` at a column where values that are right alone cannot stand together; `also` gives what
    belongs to rows and stands in other tables, `put` keeps it; `users` are the columns of rows that keep one from
    being deleted, `parts` the tables whose rows go with it; `complete` fills in what a file's row leaves out.
    """

    id: str
    title: str
    noun: str
    table: type[SQLModel]
    words: str
    columns: tuple[KindColumn, ...]
    key: tuple[str, ...] = ("id",)
    made_id: bool = False
    check: Callable[[Session, str | None, Values], None] | None = None
    also: Callable[[Session, Sequence[Any]], dict[Any, Values]] | None = None
    put: Callable[[Session, Any, Values, str, datetime.datetime], None] | None = None
    users: Mapping[str, Any] = ()  # type: ignore[assignment]
    parts: tuple[Any, ...] = ()
    complete: Callable[[Session, dict[str, str]], None] | None = None
    own: tuple[str, ...] = ()  # columns that `put` keeps, not the table
    pieces: tuple[KindColumn, ...] = ()  # what only files have: a first name, a house number
    by_lines: str = ""  # the table of files (customers, sites, visits) that a line is about, with those beside it
    setting: str = ""  # the table of the settings (times, limits) that its files change row by row
    row_at: str = ""  # where a row has its page, with {} for its id; empty: the form that is made of the columns
    new_at: str = ""
    called: str = ""  # one of them, where that is not the noun of the history
    fixed: tuple[str, ...] = ("id",)  # columns that stay as they are once the row is made

    @property
    def primary(self) -> list[str]:
        """Return the table's key."""
        return [column.name for column in sa.inspect(self.table).primary_key]

    @property
    def one(self) -> str:
        """What pages call one row."""
        return self.called or self.noun

    @property
    def in_files(self) -> tuple[KindColumn, ...]:
        """Return the columns that a file may have."""
        return self.columns + self.pieces

    def column(self, name: str) -> KindColumn:
        return next(column for column in self.in_files if column.name == name)


def plain(table: str, name: str, label: str, **more: Any) -> KindColumn:
    """Return a column read by its limit and written as it is."""
    bound = limit(f"{table}.{name}")
    if isinstance(bound, Choice) and "choices" not in more:
        more["choices"] = tuple((word, word) for word in bound.of)
    if isinstance(bound, Text) and bound.least == 0:
        more = {"may_be_empty": True, "empty": ""} | more
    return KindColumn(name, label, lambda text, _: _by_limit(bound, text), **{"hint": bound.attributes(), **more})


def _by_limit(bound: ColumnLimit, text: str) -> Any:
    if isinstance(bound, Whole | Decimal):
        return bound.parse(usual_number(text))
    if isinstance(bound, Date):
        return bound.check(usual_date(text))
    if isinstance(bound, Text) and not text and bound.least:
        raise BadInput("", "must not be empty")
    return bound.parse(text)


def names(name: str, label: str, of: str, **more: Any) -> KindColumn:
    """Return a column that names a row of the kind `of`."""

    def read(text: str, _: str) -> str:
        if not text:
            raise BadInput("", "must be chosen")
        return text

    return KindColumn(name, label, read, of=of, **more)


def day(table: str, name: str, label: str, **more: Any) -> KindColumn:
    """Return a column with a date."""
    bound = limit(f"{table}.{name}")
    return KindColumn(name, label, lambda text, _: _by_limit(bound, text), lambda v, _: v.isoformat() if v else "",
                      hint=bound.attributes(), **more)  # fmt: skip


def money(table: str, name: str, label: str, **more: Any) -> KindColumn:
    """Return a column of cents that people write in dollars."""
    bound = limit(f"{table}.{name}")
    return KindColumn(name, label, lambda text, _: bound.check(cents(text)), lambda v, _: dollars_text(v),
                      hint={"inputmode": "decimal", "maxlength": "14"}, **more)  # fmt: skip


_DRIVEN = {
    "imperial": (to_say("A mile, $"), to_say("such as 0.63/mi")),
    "metric": (to_say("A km, $"), to_say("such as 0.39/km")),
}  # fmt: skip


def driving(table: str, name: str, **more: Any) -> KindColumn:
    """Return a column of cents a km that people write in dollars, by the mile where they measure in feet."""
    bound = limit(f"{table}.{name}")

    def by_head(head: str, cell: str) -> str:
        return f"{cell}/km" if re.search(r"(?i)\bkm\b|kilomet", head) and re.fullmatch(r"[$0-9.,\s]+", cell) else cell

    return KindColumn(name, "A mile or km, $", lambda text, units: bound.check(driving_cents(text, units)),
                      driving_text, hint={"maxlength": "20"}, by_head=by_head, by_units=_DRIVEN, **more)  # fmt: skip


def measure(table: str, name: str, label: str, **more: Any) -> KindColumn:
    """Return a column of millimetres that people write as they measure."""
    bound = limit(f"{table}.{name}")
    return KindColumn(name, label, lambda text, units: in_bounds(bound, office_length(text, units), units),
                      lambda v, units: length_text(v, units), hint={"maxlength": "40"},
                      shown=length, by_head=by_unit_of_head, **more)  # fmt: skip


def weight(table: str, name: str, label: str, **more: Any) -> KindColumn:
    """Return a column of whole kilograms that people write in pounds or kilograms."""
    bound = limit(f"{table}.{name}")

    def write(value: int, units: str) -> str:
        pounds = round(value / LB_KG)
        exact = units == "imperial" and round(pounds * LB_KG) == value
        return f"{pounds} lb" if exact else f"{exact_number(value)} kg"

    return KindColumn(name, label, lambda text, units: in_bounds(bound, office_weight(text, units), units, "kg"), write,
                      hint={"maxlength": "20"}, shown=pounds, by_head=by_unit_of_head, **more)  # fmt: skip


def switch(name: str, label: str, usual: bool, **more: Any) -> KindColumn:
    """Return a column that is yes or no, and `usual` where nothing is said."""

    def read(text: str, _: str) -> bool:
        if text.lower() not in _YES:
            raise BadInput("", f'must be yes or no, is "{text}"')
        return _YES[text.lower()]

    return KindColumn(name, label, read, lambda value, _: "yes" if value else "no", may_be_empty=True,
                      empty=usual, start="yes" if usual else "no", choices=_BOTH, **more)  # fmt: skip


def working_days(table: str, name: str, label: str, **more: Any) -> KindColumn:
    """Return a column of weekdays, kept as digits."""
    return KindColumn(name, label, lambda text, _: "".join(str(d) for d in sorted(weekdays(text))),
                      lambda v, _: weekdays_text(int(d) for d in v), hint={"maxlength": "40"},
                      shown=lambda v: days_written(weekdays_text(int(d) for d in v)), **more)  # fmt: skip


def listed(table: str, name: str, label: str, **more: Any) -> KindColumn:
    """Return a column of words with blanks or commas between."""
    bound = limit(f"{table}.{name}")

    def read(text: str, _: str) -> list[str]:
        return list(dict.fromkeys(bound.parse(word) for word in re.sub(r"[,;/]", " ", text.lower()).split()))

    return KindColumn(name, label, read, lambda v, _: " ".join(v), may_be_empty=True, empty=[],
                      hint={"maxlength": "400"}, wide=True,
                      shown=lambda v: ", ".join(map(skill_name, v)), **more)  # fmt: skip


def several(table: str, name: str, label: str, most: int, **more: Any) -> KindColumn:
    """Return a column of at most `most` texts, each in a line of its own; files may have semicolons between."""
    bound = limit(f"{table}.{name}")

    def read(text: str, _: str) -> list[str]:
        found = [bound.parse(line.strip()) for line in text.replace(";", "\n").splitlines() if line.strip()]
        if len(found) > most or len(set(found)) < len(found):
            raise BadInput("", f"must have at most {most} lines, each once")
        return found

    return KindColumn(name, label, read, lambda v, _: "\n".join(v), may_be_empty=True, empty=[], lines=True,
                      **more)  # fmt: skip


def _counted(value: Mapping[str, int]) -> str:
    return ", ".join(f"{n} × {item_name(what)}" for what, n in sorted(value.items()))


def counted(table: str, name: str, label: str, of: str = "equipment.kind", **more: Any) -> KindColumn:
    """Return a column of how many of each, named as the column `of` is: "ladder-24: 2, scaffold: 1"."""
    bound, item = limit(f"{table}.{name}"), LIMITS[of]

    def read(text: str, _: str) -> dict[str, int]:
        return {item.parse(what): bound.check(n) for what, n in amounts(text).items()}

    return KindColumn(name, label, read, lambda v, _: ", ".join(f"{k}: {n}" for k, n in sorted(v.items())),
                      may_be_empty=True, empty={}, hint={"maxlength": "400"}, wide=True,
                      shown=_counted, **more)  # fmt: skip


def awning_column(table: str, **more: Any) -> KindColumn:
    """Return a column with the number of an awning."""
    bound = limit(f"{table}.awning_id")
    return KindColumn("awning_id", "Awning", lambda text, _: bound.parse(text), hint={"maxlength": "80"},
                      meaning="its number, such as A-1042", **more)  # fmt: skip
