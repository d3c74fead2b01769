"""A stored week document as it is read again, with what stands beside it because the format has no key for it."""

from __future__ import annotations

import datetime
import hashlib
import threading
from collections import OrderedDict
from collections.abc import Mapping
from typing import Any

import msgspec

from api import tables
from scheduler.documents import form_in
from scheduler.plan import Because, Plan, Plan2, Skipped
from scheduler.week import Week, Week2, names_in, rows_in, skills_in, with_names, with_rows

_MOST_READ = 3  # weeks held: of the largest one takes some 20 MB
_read: OrderedDict[bytes, Week] = OrderedDict()
_lock = threading.Lock()


class DrivesTimed(msgspec.Struct, frozen=True):
    """Who timed the drives, from which day to which, and which drives it did not time but the estimate.

    `estimated` has a row for each place: the numbers of the places to which the drive from there is estimated. Where
    `first` and `last` are None all drives are, and it is empty.
    """

    by: str
    first: datetime.date | None
    last: datetime.date | None
    estimated: tuple[tuple[int, ...], ...]


class TimeSpread(msgspec.Struct, frozen=True):
    """What is not certain of the times of a week, as `scheduler.reports.odds.Doubts` and `Recourse` have it.

    `pace` is by crew by what its times on site are multiplied; `late_cents` what it costs to come late where nothing
    firm was promised.
    """

    median_min: dict[str, float]
    p80_factor: dict[str, float]
    drive_p80_factor: float
    pace: dict[str, float]
    late_cents: int


class WeekNotes(msgspec.Struct, frozen=True):
    """What stands beside a week document: what people call its crews, by id, and who timed its drives.

    `skills` are those of crews in which not always the same people ride, by crew and day. `rows` are follows that are
    days of one job in a row, first and then, `worked` the days of the week on which somebody works. `spread` is there
    where a run is to weigh late arrivals.
    """

    crews: dict[str, str] = {}
    timed: DrivesTimed | None = None
    skills: dict[str, dict[int, tuple[str, ...]]] = {}
    rows: tuple[tuple[str, str], ...] = ()
    worked: tuple[int, ...] = ()
    spread: TimeSpread | None = None

    def put(self, week: Week) -> Week:
        """Return `week` with what stands beside it."""
        return with_rows(with_names(week, self.crews, self.skills), self.rows, self.worked)


def beside(row: tables.StoredPlan | tables.PlanRun) -> WeekNotes:
    """Return what stands beside the week document of a row."""
    return notes_from_data(row.beside)


def notes_from_data(data: dict[str, Any]) -> WeekNotes:
    """Return what `as_data` made plain."""
    return msgspec.convert(data, WeekNotes, str_keys=True, strict=False)


def as_data(week: Week, timed: DrivesTimed | None, spread: TimeSpread | None = None) -> dict[str, Any]:
    """Return what is to stand beside the document of `week`, as a row keeps it."""
    notes = WeekNotes(names_in(week), timed, skills_in(week), *rows_in(week), spread)
    made: dict[str, Any] = msgspec.to_builtins(notes, str_keys=True)
    return made


def plan_in(row: tables.StoredPlan) -> Plan:
    """Return the plan of a row, with the reasons found since; it was audited before it was stored."""
    kind: type[Plan] = Plan2 if form_in(row.plan) == "plan/2" else Plan
    return reasoned(msgspec.json.decode(row.plan, type=kind), row.reasons)


def reasoned(plan: Plan, reasons: Mapping[str, Any]) -> Plan:
    """Return `plan` with the reasons that a row's `reasons` has of its waiting jobs, in place of its own."""
    if not reasons:
        return plan
    found = because_from_data(reasons)
    skipped = tuple(Skipped(skip.job, found.get(skip.job, skip.because)) for skip in plan.skipped)
    return msgspec.structs.replace(plan, skipped=skipped)


def because_as_data(because: Mapping[str, tuple[Because, ...]]) -> dict[str, Any]:
    """Return the reasons as plain data, as a row keeps them."""
    return {job: [msgspec.to_builtins(why) for why in reasons] for job, reasons in because.items()}


def because_from_data(data: Mapping[str, Any]) -> dict[str, tuple[Because, ...]]:
    """Return the reasons that `because_as_data` made plain."""
    return {job: msgspec.convert(reasons, tuple[Because, ...]) for job, reasons in data.items()}


def week_in(row: tables.StoredPlan | tables.PlanRun) -> Week:
    """Return the week of a row, its crews called by their names; it was checked before it was stored.

    From memory where it was read a moment ago: plans made of each other by hand are all of the same week.
    """
    digest = hashlib.blake2b(msgspec.json.encode([row.week, row.beside])).digest()
    with _lock:
        if digest in _read:
            _read.move_to_end(digest)
            return _read[digest]
    kind: type[Week] = Week2 if form_in(row.week) == "week/2" else Week
    week = beside(row).put(msgspec.json.decode(row.week, type=kind))
    with _lock:
        _read[digest] = week
        while len(_read) > _MOST_READ:
            _read.popitem(last=False)
    return week
