"""The two tables that a business edits row by row: weather limits and task times."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Mapping, Sequence
from typing import Any, get_args

from sqlmodel import Session

from api.business.measured import A_FOOT, CELSIUS, FAHRENHEIT, INCHES, KMH, InUnits, UsualText, within
from api.business.part import BadValues, Group, Line, Part, words
from api.business.rules import held
from api.http import versions
from api.languages import gettext, to_say
from scheduler.errors import BadInput
from scheduler.times.durations import COLUMNS as TIME_COLUMNS
from scheduler.times.durations import P80, PER, UNCERTAINTY, read_times, task_time_of
from scheduler.times.durations import Kind as VisitKind
from scheduler.weather.limits import COLUMNS as LIMIT_COLUMNS
from scheduler.weather.limits import RANGES, Extra, Kind, limit_of, read_limits

MEASURES = {
    "wind_mph": ("Steady wind, at most", "mph"),
    "gust_mph": ("Gusts, at most", "mph"),
    "rain_mm": ("Rain in an hour, at most", "mm"),
    "rain_chance": ("Chance of rain, at most", "of 1"),
    "thunder_chance": ("Chance of thunder, at most", "of 1"),
    "thunder_wait_min": ("Wait after the last thunder", "min"),
    "heat_index_f": ("Heat index, at most", "°F"),
    "temp_least_c": ("Air, at least", "°C"),
    "daylight_margin_min": ("Away from dawn and dusk", "min"),
}
# In which unit a business that measures so reads and types a limit; the rest as it is kept.
_UNITS = {
    "imperial": {"rain_mm": INCHES, "temp_least_c": FAHRENHEIT},
    "metric": {"wind_mph": KMH, "gust_mph": KMH, "heat_index_f": CELSIUS},
}
NAMES = {
    "install": "Installs", "survey": "Surveys", "repair": "Repairs",
    "tall ladder": "From a tall ladder", "large awning": "Large awnings", "sealant": "With sealant",
}  # fmt: skip
_FOR = {
    "install": "for installs", "survey": "for surveys", "repair": "for repairs", "tall ladder": "from a tall ladder",
    "large awning": "for large awnings", "sealant": "with sealant",
}  # fmt: skip
KEEP = (("", "keep"), ("out", "take out"))
_CAUTION = to_say(
    "A stricter row always wins. These figures never replace the crew lead's judgement on the spot, the maker's "
    "instructions or local rules; no wind limit may be above 30 mph, where handling material in wind ends (OSHA)."
)
_NEW = "new"


def weather(session: Session) -> Part:
    """Return the part with the limits of weather and light, by kind of work and by what makes it touchier."""
    row = held(session)
    limits = read_limits(row.limits).rows
    units: dict[str, InUnits] = {
        name: within(measured, RANGES[name]) for name, measured in _UNITS.get(row.units, {}).items()
    }
    groups = []
    for n, name in enumerate((*get_args(Kind), *get_args(Extra))):
        rows = []
        for limit in limits:
            if limit.applies_to != name:
                continue
            label, unit = MEASURES[limit.measure]
            key, of = f"{name}.{limit.measure}", f"{label}, {_FOR[name]}"
            rows.append((label, (
                Line(f"{key}.value", of, f"{limit.value:.12g}", str, unit, measured=units.get(limit.measure)),
                Line(f"{key}.reason", f"Reason: {of}", limit.reason, words(), wide=True, measured=UsualText()),
                Line(f"{key}.source", f"Source: {of}", limit.source, words(), wide=True, measured=UsualText()),
                Line(f"{key}.out", f"Keep: {of}", "", str, choices=KEEP),
            )))  # fmt: skip
        groups.append(Group(NAMES[name], _CAUTION if n == 0 else "", heads=("Limit", "Reason", "Source", "Row"),
                            rows=tuple(rows)))  # fmt: skip
    names = (("", to_say("no row")), *((name, NAMES[name]) for name in (*get_args(Kind), *get_args(Extra))))
    measures = tuple(
        (measure, f"{gettext(label)} ({gettext(units[measure].unit if measure in units else unit)})")
        for measure, (label, unit) in MEASURES.items()
    )
    groups.append(Group("A further limit", "Left at “no row”, nothing is added.", lines=(
        Line(f"{_NEW}.applies_to", "For", "", str, choices=names),
        Line(f"{_NEW}.measure", "What is limited", measures[0][0], str, choices=measures),
        Line(f"{_NEW}.value", "Limit", "", str, measured_by=(f"{_NEW}.measure", units)),
        Line(f"{_NEW}.reason", "Reason", "", words(least=0), wide=True),
        Line(f"{_NEW}.source", "Source", "", words(least=0), wide=True,
             meaning="Where nothing is published: common practice."),
    )))  # fmt: skip

    def write(session: Session, values: Mapping[str, Any]) -> bool:
        pairs = [(str(r.applies_to), str(r.measure)) for r in limits]
        rows = [(f"{of}.{measure}", {"applies_to": of, "measure": measure}) for of, measure in pairs]
        text = _table(LIMIT_COLUMNS, rows, values, "applies_to", ("value", "reason", "source"), limit_of, read_limits)
        return versions.update(session, row, {"limits": text})

    return Part("weather", "Weather limits", "What wind, rain, thunder, heat, cold and light stop which work.",
                tuple(groups), write)  # fmt: skip


def times(session: Session) -> Part:
    """Return the part with the minutes of each task, by kind of visit."""
    row = held(session)
    tasks = read_times(row.times).rows
    groups = []
    meant = to_say(
        "Minutes for a crew of two, for each of what they are counted by. Shared: 0, more people do not shorten it; 1, "
        "twice the people take half the time. Travel and rest are not in it."
    )
    lengths = {per: A_FOOT for per in PER if per.startswith("metre") and row.units == "imperial"}
    for n, kind in enumerate(get_args(VisitKind)):
        rows = []
        for task in tasks:
            if task.kind != kind:
                continue
            key, uncertain = f"{kind}.{task.task}.{task.per}", task.task == UNCERTAINTY
            label = (
                "What suffices four times in five" if uncertain else f"{task.task}, each {_each(task.per, row.units)}"
            )
            of, unit = f"{label}, {_FOR[kind]}", to_say("times the estimate") if uncertain else "min"
            rows.append((label, (
                Line(f"{key}.value", of, f"{task.value:.12g}", str, unit, measured=lengths.get(task.per)),
                Line(f"{key}.shared", f"Shared: {of}", f"{task.shared:.12g}", str, "of 1"),
                Line(f"{key}.source", f"Source: {of}", task.source, words(), wide=True, measured=UsualText()),
                Line(f"{key}.out", f"Keep: {of}", "", str, choices=KEEP),
            )))  # fmt: skip
        groups.append(Group(NAMES[kind], meant if n == 0 else "", heads=("Time", "Shared", "Source", "Row"),
                            rows=tuple(rows)))  # fmt: skip
    kinds = (("", to_say("no row")), *((kind, NAMES[kind]) for kind in get_args(VisitKind)))
    groups.append(Group("A further task", "Left at “no row”, nothing is added.", lines=(
        Line(f"{_NEW}.kind", "For", "", str, choices=kinds),
        Line(f"{_NEW}.task", "Task", "", words(80, 0)),
        Line(f"{_NEW}.per", "Counted by", "visit", str, choices=tuple((per, _each(per, row.units)) for per in PER)),
        Line(f"{_NEW}.value", "Time", "", str, "min", measured_by=(f"{_NEW}.per", lengths)),
        Line(f"{_NEW}.shared", "Shared", "0", str, "of 1"),
        Line(f"{_NEW}.source", "Source", "", words(least=0), wide=True, meaning="Nothing measured: assumption."),
    )))  # fmt: skip

    def write(session: Session, values: Mapping[str, Any]) -> bool:
        rows = [(f"{t.kind}.{t.task}.{t.per}", {"kind": str(t.kind), "task": t.task, "per": t.per}) for t in tasks]
        text = _table(TIME_COLUMNS, rows, values, "kind", ("value", "shared", "source"), task_time_of, read_times)
        return versions.update(session, row, {"times": text})

    assert P80 not in PER
    return Part("times", "Task times", "How long each task of a visit takes; finished jobs can teach better ones.",
                tuple(groups), write)  # fmt: skip


def _each(per: str, units: str) -> str:
    """Return what a task's minutes are counted by, as people say it: foot of width, hole in wood studs."""
    said = per.replace("-", " ")
    if units == "imperial":
        return said.replace("metre", "foot").replace("2.5 m", "8.2 ft")
    return said.replace("metre", "meter")


def _table(
    columns: Sequence[str],
    rows: Sequence[tuple[str, dict[str, str]]],
    values: Mapping[str, Any],
    first: str,
    edited: Sequence[str],
    read_row: Callable[[str, dict[str, str]], Any],
    read_all: Callable[[str], Any],
) -> str:
    """Return the table as CSV text: kept rows as sent, and the further one; raises `BadValues` with every fault."""
    kept = [
        (key, cells | {name: values[f"{key}.{name}"] for name in edited})
        for key, cells in rows
        if values[f"{key}.out"] != "out"
    ]  # fmt: skip
    if values[f"{_NEW}.{first}"]:
        kept.append((_NEW, {name: values[f"{_NEW}.{name}"] for name in columns}))
    faults = []
    for key, cells in kept:
        try:
            read_row(key, cells)
        except BadInput as fault:
            faults.append((f"{key}.{fault.where.rpartition(', ')[2]}", fault.problem))
    if faults:
        raise BadValues(faults)
    out = io.StringIO()
    writer = csv.DictWriter(out, columns, lineterminator="\n")
    writer.writeheader()
    writer.writerows(cells for _, cells in kept)
    try:
        read_all(out.getvalue())
    except BadInput as fault:
        raise BadValues([("", f"{fault.where}: {fault.problem}" if fault.where else fault.problem)]) from None
    return out.getvalue()
