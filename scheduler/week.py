"""The week document: what there is to do, who can do it, with what, when, and what everything costs.

Times are minutes after local midnight, money cents, lengths millimetres, weights kilograms, distances metres. Days
count from 0 = `start_date`.
"""

from __future__ import annotations

import datetime
import graphlib
import re
import zoneinfo
from collections.abc import Hashable, Iterable, Mapping
from itertools import pairwise
from typing import Any

import msgspec

from scheduler.documents import convert, decode, encode, form_in, shown
from scheduler.errors import BadInput
from scheduler.week_parts import (
    Arrival,
    Assist,
    Booking,
    Cents,
    Count,
    Crew,
    Crew2,
    Day,
    Equipment,
    Follow,
    Helpers,
    Job,
    Job2,
    Latitude,
    Longitude,
    Metres,
    Minute,
    Name,
    NamedCrew,
    NamedCrew2,
    Place,
    RateCents,
    Reload,
    RestRule,
    RestRule2,
    RowFollow,
    Shift,
    Stock,
    Travel,
    Vehicle,
    Week,
    Week2,
    Weekly,
    Window,
    Yard,
)

_SEVERAL = re.compile(r" (?:and|y|e) |[,/&+]")  # a name that reads as several people
_WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")  # not strftime: its words depend on the machine's locale
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")

__all__ = [
    "Arrival",
    "Assist",
    "Booking",
    "Cents",
    "Count",
    "Crew",
    "Crew2",
    "Day",
    "Equipment",
    "Follow",
    "Helpers",
    "Job",
    "Job2",
    "Latitude",
    "Longitude",
    "Metres",
    "Minute",
    "Name",
    "Place",
    "RateCents",
    "Reload",
    "RestRule",
    "RestRule2",
    "Shift",
    "Stock",
    "Travel",
    "Vehicle",
    "Week",
    "Week2",
    "Weekly",
    "Window",
    "Yard",
    "checked",
    "clock_time",
    "crew_name",
    "day_name",
    "names_in",
    "only_first_format",
    "read_week",
    "rows_in",
    "skills_in",
    "week_document",
    "week_from_data",
    "with_names",
    "with_rows",
]


def clock_time(minute: int) -> str:
    """Return minutes after local midnight as people write them: 510 is 8:30; past midnight 25:10 and so on."""
    hours, minutes = divmod(abs(minute), 60)
    return f"{'-' if minute < 0 else ''}{hours}:{minutes:02}"


def crew_name(week: Week, crew_id: str) -> str:
    """Return what people call a crew: its name, its id where it has none or the week does not have it."""
    return next((crew.called for crew in week.crews if crew.id == crew_id), crew_id)


def is_of_several(name: str) -> bool:
    """Say whether a crew's name reads as that of several people."""
    return _SEVERAL.search(name) is not None


def crew_begins(name: str) -> str:
    """Return a crew's name as a sentence begins with it."""
    return f"The crew {name}" if is_of_several(name) else name


def crew_goes_on(name: str) -> str:
    """Return a crew's name as it stands in the middle of a sentence."""
    return f"the crew {name}" if is_of_several(name) else name


SkillsByDay = Mapping[str, Mapping[int, tuple[str, ...]]]  # by crew id, then day


def with_names(week: Week, names: Mapping[str, str], skills: SkillsByDay | None = None) -> Week:
    """Return `week` with its crews called by `names`, name by crew id; a crew without one is called by its id.

    skills: by day, of crews in which not always the same people ride; one must have a name to have any.
    """
    by_day = skills or {}
    crews = tuple(_named(crew, names.get(crew.id, ""), by_day.get(crew.id, {})) for crew in week.crews)
    return msgspec.structs.replace(week, crews=crews)


def names_in(week: Week) -> dict[str, str]:
    """Return what `with_names` called the crews of a week, by id."""
    return {crew.id: crew.name for crew in week.crews if isinstance(crew, NamedCrew | NamedCrew2)}


def skills_in(week: Week) -> dict[str, dict[int, tuple[str, ...]]]:
    """Return the skills of single days that `with_names` put into a week, by crew id and day."""
    return {c.id: dict(c.by_day) for c in week.crews if isinstance(c, NamedCrew | NamedCrew2) and c.by_day}


def with_rows(week: Week, rows: Iterable[tuple[str, str]], worked: Iterable[int]) -> Week:
    """Return `week` in which these follows, first and then, are days in a row of the days `worked` (`RowFollow`)."""
    pairs, days = set(rows), tuple(sorted(worked))
    follows = tuple(
        RowFollow(f.first, f.then, f.min_days, f.max_days, f.same_crew, days) if (f.first, f.then) in pairs else f
        for f in week.follows
    )
    return msgspec.structs.replace(week, follows=follows) if pairs else week


def rows_in(week: Week) -> tuple[tuple[tuple[str, str], ...], tuple[int, ...]]:
    """Return what `with_rows` put into a week: its pairs, and the days on which somebody works."""
    rows = [f for f in week.follows if isinstance(f, RowFollow)]
    return tuple((f.first, f.then) for f in rows), rows[0].worked if rows else ()


def week_document(week: Week) -> bytes:
    """Return `week` as its document, in which crews have no names and days no rows: the format knows none."""
    plain = tuple(Follow(f.first, f.then, f.min_days, f.max_days, f.same_crew) for f in week.follows)
    return encode(msgspec.structs.replace(with_names(week, {}), follows=plain))


def _named(crew: Crew, name: str, by_day: Mapping[int, tuple[str, ...]]) -> Crew:
    second = isinstance(crew, Crew2)
    plain, named = (Crew2, NamedCrew2) if second else (Crew, NamedCrew)
    values: dict[str, Any] = {key: getattr(crew, key) for key in plain.__struct_fields__}
    return named(**values, name=name, by_day=dict(by_day)) if name else plain(**values)


def day_name(week: Week, day: int) -> str:
    """Return day `day` of `week` as people write it: Mon Mar 15; a number where the calendar has no such day."""
    try:
        date = week.start_date + datetime.timedelta(days=day)
    except OverflowError:
        return f"day {day}"
    return f"{_WEEKDAYS[date.weekday()]} {_MONTHS[date.month - 1]} {date.day}"


def only_first_format(week: Week, what: str) -> None:
    """Raise `BadInput` for a week of the second format, which cannot be asked for `what` yet."""
    if week.format != "week/1":
        raise BadInput("format", f"is {week.format}: {what} is for week/1 alone so far; plan this week anew")


def read_week(data: bytes | str) -> Week:
    """Return the week in JSON text `data`; raises `BadInput` naming the first key that is wrong."""
    return checked(decode(data, Week2 if form_in(data) == "week/2" else Week, "week file"))


def week_from_data(value: object) -> Week:
    """Return the week held as plain data (dicts and lists); raises `BadInput` as `read_week` does."""
    second = isinstance(value, dict) and value.get("format") == "week/2"
    return checked(convert(value, Week2 if second else Week, "week"))


def checked(week: Week) -> Week:
    """Return `week` itself where its values agree with each other; raises `BadInput` otherwise."""
    if (week.format == "week/2") != isinstance(week, Week2):
        raise BadInput("format", f"does not go with the keys of this week: it is {shown(week.format)}")
    if type(week.start_date) is not datetime.date:  # a datetime is a date too
        raise BadInput("start_date", "must be a date such as 2027-03-15")
    try:
        zoneinfo.ZoneInfo(week.timezone)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
        raise BadInput("timezone", f"{shown(week.timezone)} is not an IANA zone such as America/Denver") from None
    places, yards = {p.id for p in week.places}, {y.id for y in week.yards}
    crews, jobs = {c.id for c in week.crews}, {j.id for j in week.jobs}
    for name in ("places", "yards", "crews", "jobs"):
        _unique(name, ((x.id,) for x in getattr(week, name)), "id")
    _check_travel(week)
    if week.rest is not None and week.rest.latest < week.rest.earliest:
        raise BadInput("rest.latest", f"must not come before earliest ({week.rest.earliest}), is {week.rest.latest}")
    for n, yard in enumerate(week.yards):
        _find(f"yards[{n}].place", yard.place, places, "place")
    for n, crew in enumerate(week.crews):
        _check_crew(f"crews[{n}]", crew, week.days, yards)
    _unique("helpers", ((h.yard, h.day) for h in week.helpers), "yard and day")
    for n, helper in enumerate(week.helpers):
        _find(f"helpers[{n}].yard", helper.yard, yards, "yard")
        _in_week(f"helpers[{n}].day", helper.day, week.days)
    _unique("equipment", ((e.id, e.yard) for e in week.equipment), "id and yard")
    for n, item in enumerate(week.equipment):
        _find(f"equipment[{n}].yard", item.yard, yards, "yard")
        if len(item.count) != week.days:
            problem = f"must hold one number a day ({week.days}), holds {len(item.count)}"
            raise BadInput(f"equipment[{n}].count", problem)
    _unique("stock", ((s.id, s.yard) for s in week.stock), "id and yard")
    for n, stock in enumerate(week.stock):
        _find(f"stock[{n}].yard", stock.yard, yards, "yard")
        for m, arrival in enumerate(stock.arrivals):
            _in_week(f"stock[{n}].arrivals[{m}].day", arrival.day, week.days)
    for n, job in enumerate(week.jobs):
        _check_job(f"jobs[{n}]", job, week.days, places, yards, crews)
        _check_assist(f"jobs[{n}].assist", job, week.rest)
    _check_follows(week, jobs)
    return week


def _unique(where: str, keys: Iterable[tuple[Hashable, ...]], what: str) -> None:
    seen: dict[tuple[Hashable, ...], int] = {}
    for n, key in enumerate(keys):
        if key in seen:
            values = " and ".join(shown(k) for k in key)
            raise BadInput(f"{where}[{n}].{what.split()[0]}", f"{what} {values} stands already in {where}[{seen[key]}]")
        seen[key] = n


def _find(where: str, name: str, known: set[str], what: str) -> None:
    if name not in known:
        raise BadInput(where, f"no {what} has the id {shown(name)}")


def _in_week(where: str, day: int, days: int) -> None:
    if day >= days:
        raise BadInput(where, f"must be a day of this week, 0 to {days - 1}, is {day}")


def _ordered(where: str, start: int, end: int) -> None:
    if end <= start:
        raise BadInput(f"{where}.end", f"must come after start ({start}), is {end}")


def _check_travel(week: Week) -> None:
    size = len(week.places)
    for name in ("minutes", "metres"):
        matrix = getattr(week.travel, name)
        if len(matrix) != size:
            raise BadInput(f"travel.{name}", f"must have one row a place ({size}), has {len(matrix)}")
        for n, row in enumerate(matrix):
            if len(row) != size:
                raise BadInput(f"travel.{name}[{n}]", f"must have one number a place ({size}), has {len(row)}")
            if row[n] != 0:
                raise BadInput(f"travel.{name}[{n}][{n}]", f"must be 0, from a place to itself, is {row[n]}")


def _check_crew(where: str, crew: Crew, days: int, yards: set[str]) -> None:
    _find(f"{where}.yard", crew.yard, yards, "yard")
    _unique(f"{where}.shifts", ((s.day,) for s in crew.shifts), "day")
    for n, shift in enumerate(crew.shifts):
        _in_week(f"{where}.shifts[{n}].day", shift.day, days)
        _ordered(f"{where}.shifts[{n}]", shift.start, shift.end)


def _check_job(where: str, job: Job, days: int, places: set[str], yards: set[str], crews: set[str]) -> None:
    _find(f"{where}.place", job.place, places, "place")
    if job.yard is not None:
        _find(f"{where}.yard", job.yard, yards, "yard")
    if job.ready_day is not None:
        _in_week(f"{where}.ready_day", job.ready_day, days)
    for n, window in enumerate(job.windows):
        _in_week(f"{where}.windows[{n}].day", window.day, days)
        _ordered(f"{where}.windows[{n}]", window.start, window.end)
    if job.booked is not None:
        _find(f"{where}.booked.crew", job.booked.crew, crews, "crew")
        _in_week(f"{where}.booked.day", job.booked.day, days)


def _check_assist(where: str, job: Job, rest: RestRule | None) -> None:
    if (assist := job.assist) is None:
        return
    if assist.from_min > assist.to_min:
        raise BadInput(f"{where}.to", f"must not come before from ({assist.from_min}), is {assist.to_min}")
    longest = job.minutes + (rest.length if rest is not None and rest.within and job.pausable else 0)
    if assist.to_min + assist.minutes > longest:
        problem = f"must leave the {assist.minutes} minutes of the assist within the job's {longest}"
        raise BadInput(f"{where}.to", f"{problem}, is {assist.to_min}")


def _check_follows(week: Week, jobs: set[str]) -> None:
    _unique("follows", ((f.first, f.then) for f in week.follows), "first and then")
    graph: dict[str, set[str]] = {}
    for n, follow in enumerate(week.follows):
        _find(f"follows[{n}].first", follow.first, jobs, "job")
        _find(f"follows[{n}].then", follow.then, jobs, "job")
        if follow.max_days is not None and follow.max_days < follow.min_days:
            where = f"follows[{n}].max_days"
            raise BadInput(where, f"must not be less than min_days ({follow.min_days}), is {follow.max_days}")
        graph.setdefault(follow.then, set()).add(follow.first)
    try:
        graphlib.TopologicalSorter(graph).prepare()
    except graphlib.CycleError as fault:
        circle: list[str] = fault.args[1]  # each follows the one before; the first stands again at the end
        on_it = set(pairwise(circle))
        last = max(n for n, follow in enumerate(week.follows) if (follow.first, follow.then) in on_it)
        problem = f"closes a circle ({' → '.join(circle)}); take one of these follows out"
        raise BadInput(f"follows[{last}]", problem) from None
