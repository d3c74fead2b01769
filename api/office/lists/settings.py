"""Settings from files as offices have them: a line changes a row of task times or weather limits, or adds one.

Of prices and of how a week is planned it changes a value, which it calls as the page does.
"""

from __future__ import annotations

import csv
import datetime
import io
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, get_args

from sqlmodel import Session

from api import tables
from api.business.choices import PARTS, keep
from api.business.part import BadValues
from api.business.rows import MEASURES, NAMES
from api.fields.files.cells import usual_number
from api.http import versions
from api.ledger.history import note
from api.office.kind import Kind, KindColumn
from api.office.lists.rows import LineTaken
from scheduler.errors import BadInput
from scheduler.times.durations import COLUMNS as TIME_COLUMNS
from scheduler.times.durations import P80, PER, UNCERTAINTY, read_times, task_time_of
from scheduler.times.durations import Kind as VisitKind
from scheduler.weather.limits import COLUMNS as LIMIT_COLUMNS
from scheduler.weather.limits import Extra, Measure, limit_of, read_limits

Cells = dict[str, str]
_UNITS = re.compile(r"(?i)\s*(?:minutes?|mins?|mph|mm|%|°?\s*[fc]|h)\.?$")


def _text(name: str, label: str, **more: Any) -> KindColumn:
    return KindColumn(name, label, lambda text, _: text, may_be_empty=True, empty="", **more)


def _number(name: str, label: str, **more: Any) -> KindColumn:
    """Return a column of numbers, whose unit may stand behind them."""

    def read(text: str, _: str) -> str:
        plain = usual_number(_UNITS.sub("", text))
        float(plain)
        return plain

    def checked(text: str, units: str) -> str:
        try:
            return read(text, units)
        except BadInput:
            raise
        except ValueError:
            raise BadInput("", f'must be a number, is "{text}"') from None

    return KindColumn(name, label, checked, may_be_empty=True, empty="", **more)


_ASSUMED = "what it rests on; empty: assumption"
SETTING_LISTS = {
    kind.id: kind
    for kind in (
        Kind("times", "Task times", "task time", tables.Business, "How long each task of a visit takes.", (
            _text("kind", "For", aliases=("kind", "type", "work", "job type", "visit"),
                  choices=tuple((one, NAMES[one]) for one in get_args(VisitKind))),
            _text("task", "Task", aliases=("step", "what", "activity")),
            _text("per", "Counted by", aliases=("per", "each", "counted", "unit"),
                  choices=tuple((one, one) for one in (*PER, P80))),
            _number("value", "Time", aliases=("minutes", "min", "time min", "value", "duration")),
            _number("shared", "Shared", aliases=("split", "share")),
            _text("source", "Source", meaning=_ASSUMED, aliases=("from", "note", "remarks")),
        ), key=("kind", "task", "per"), setting="times"),
        Kind("weather", "Weather limits", "weather limit", tables.Business, "What weather stops which work.", (
            _text("applies_to", "For", aliases=("kind", "type", "work", "applies to"),
                  choices=tuple((one, NAMES[one]) for one in (*get_args(VisitKind), *get_args(Extra)))),
            _text("measure", "What is limited", aliases=("measure", "limit of", "weather"),
                  choices=tuple((one, MEASURES[one][0]) for one in get_args(Measure))),
            _number("value", "Limit", aliases=("value", "at most", "most")),
            _text("reason", "Reason", aliases=("why", "because")),
            _text("source", "Source", meaning=_ASSUMED, aliases=("from", "note", "remarks")),
        ), key=("applies_to", "measure"), setting="limits"),
        *(Kind(part, title, one, tables.Business, words, (
            _text("what", "What", aliases=("name", "price of", "setting", "rule")),
            _text("value", "Value", aliases=("price", "amount", "cost", "dollars", "new")),
        ), key=("what",), setting=part) for part, title, one, words in (
            ("prices", "Prices", "price", "What the planner weighs."),
            ("week", "The week", "rule of the week", "Which days are planned, and how."),
        )),
    )
}  # fmt: skip
_READ: dict[str, tuple[tuple[str, ...], Callable[[str, Cells], Any], Callable[[str], Any]]] = {
    "times": (TIME_COLUMNS, task_time_of, read_times),
    "limits": (LIMIT_COLUMNS, limit_of, read_limits),
}


@dataclass
class SettingLines:
    """Takes the lines of one file in, one after the other: each names a row by its key."""

    session: Session
    kind: Kind
    by: str
    now: datetime.datetime
    _met: set[tuple[str, ...]] = field(default_factory=set)

    def take(self, texts: Cells) -> LineTaken:
        """Take one line in; raises `BadValues` where something of it cannot stand."""
        if self.kind.setting not in _READ:
            return self._value(texts)
        columns, read_row, read_all = _READ[self.kind.setting]
        business = self.session.get_one(tables.Business, 1)
        rows = list(csv.DictReader(io.StringIO(getattr(business, self.kind.setting).removeprefix("\ufeff"))))
        said = {name: self._said(name, text) for name, text in texts.items()}
        if self.kind.setting == "times" and not said.get("per"):
            said["per"] = P80 if said.get("task") == UNCERTAINTY else "visit"
        key = tuple(said.get(name, "") for name in self.kind.key)
        if key in self._met:
            raise BadValues([("", f"{', '.join(key)} stands already further up")])
        self._met.add(key)
        old = next((row for row in rows if tuple(row[name] for name in self.kind.key) == key), None)
        usual = {"shared": "0", "source": "assumption", "reason": "set by the business"}
        new = {name: said.get(name) or (old or usual).get(name, "") for name in columns}
        if old is not None and "value" in said and said["value"] and float(said["value"]) == float(old["value"]):
            new["value"] = old["value"]  # 30.0 is 30
        try:
            read_row("", new)
        except BadInput as fault:
            raise BadValues([(fault.where.rpartition(", ")[2], fault.problem)]) from None
        fields = {
            self.kind.column(name).head: (old[name] if old else "", new[name])
            for name in columns
            if old is None or old[name] != new[name]
        }
        if fields:
            self._keep(business, [new if row is old else row for row in rows] + ([] if old else [new]), read_all)
            detail = {
                f"{'.'.join(key)}.{name}": [old[name] if old else "", new[name]]
                for name in columns
                if name not in self.kind.key and (old is None or old[name] != new[name])
            }
            note(self.session, self.now, self.by, "changed", "settings", self.kind.id, detail)
        return LineTaken(", ".join(key), old is None, fields)

    def _value(self, texts: Cells) -> LineTaken:
        """Take in a line that names one value of a part, as the page calls it."""
        part = PARTS[self.kind.setting](self.session)
        what, text = texts.get("what", "").strip(), texts.get("value", "").strip()
        line = next((one for one in part.lines if what.casefold() in (one.label.casefold(), one.name)), None)
        if line is None:
            known = ", ".join(one.label for one in part.lines)
            raise BadValues([("what", f'must be one of {known}, is "{what}"')])
        if (line.name,) in self._met:
            raise BadValues([("", f"{line.label} stands already further up")])
        self._met.add((line.name,))
        text = next((value for value, words in line.choices if text.casefold() == words.casefold()), text)
        try:
            kept = keep(self.session, part, {line.name: text}, PARTS[self.kind.setting], by=self.by, now=self.now)
        except BadValues as fault:
            raise BadValues([("value", problem) for _, problem in fault.faults]) from None
        if kept is None:
            raise BadValues([("", "the settings were changed at the same moment: look again")])
        return LineTaken(line.label, False, {line.label: kept.fields[line.name]} if kept.fields else {})

    def _said(self, name: str, text: str) -> str:
        try:
            column = self.kind.column(name)
            if column.choices and text and text not in dict(column.choices):
                raise BadInput("", f'must be one of {", ".join(words for _, words in column.choices)}, is "{text}"')
            return str(column.value(text, ""))
        except BadInput as fault:
            raise BadValues([(name, fault.problem)]) from None

    def _keep(self, business: tables.Business, rows: list[Cells], read_all: Callable[[str], Any]) -> None:
        out = io.StringIO()
        writer = csv.DictWriter(out, _READ[self.kind.setting][0], lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
        try:
            read_all(out.getvalue())
        except BadInput as fault:
            raise BadValues([("", fault.problem)]) from None
        if not versions.update(self.session, business, {self.kind.setting: out.getvalue()}):
            raise BadValues([("", "the settings were changed at the same moment: look again")])


def table_of(session: Session, kind: Kind) -> tuple[list[str], list[list[str]]]:
    """Return heads and rows of a table of the settings, in a form that can be taken in again."""
    heads = [column.head for column in kind.columns]
    if kind.setting not in _READ:
        return heads, [[line.label, line.text] for line in PARTS[kind.setting](session).lines]
    text = getattr(session.get_one(tables.Business, 1), kind.setting).removeprefix("\ufeff")
    return heads, [[row[column.name] for column in kind.columns] for row in csv.DictReader(io.StringIO(text))]
