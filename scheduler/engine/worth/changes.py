"""What an owner could change about a week for the better: one crew-day more, one ladder, one helper, one promise less.

Every change only adds to what can be done (or takes a promise away), so no plan of the week is lost by it and its
worth is never negative. A change that is a part of a larger one (one day of every day) names it in `part_of`: where the
larger one is worth nothing, so is the smaller.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from msgspec.structs import replace

from scheduler.week import Arrival, Crew, Equipment, Helpers, Job, Reload, Shift, Stock, Week, Week2, day_name

Kind = Literal["crew-day", "crew", "helper", "equipment", "rack", "reload", "stock", "overtime", "promise"]
LOADING_MIN = 30  # that taking on a second load is thought to take, where the week knows no reloads: ours
EXTRA_OVERTIME_MIN = 60


@dataclass(frozen=True)
class WeekChange:
    """One change: what it is in words (the start of a sentence), the week with it, and where it applies (None: all)."""

    key: str
    kind: Kind
    words: str
    week: Week
    part_of: str | None = None
    yard: str | None = None
    day: int | None = None
    crew: str | None = None
    item: str | None = None
    job: str | None = None


def changes(week: Week) -> Iterator[WeekChange]:
    """Yield every change of `week` that is tried, larger ones before their parts."""
    yield from _crew_days(week)
    yield from _crews(week)
    yield from _helpers(week)
    yield from _equipment(week)
    yield from _racks(week)
    yield from _reloads(week)
    yield from _stock(week)
    yield from _overtime(week)
    yield from _promises(week)


def _with_crew(week: Week, crew: Crew) -> Week:
    return replace(week, crews=tuple(crew if c.id == crew.id else c for c in week.crews))


def _crew_days(week: Week) -> Iterator[WeekChange]:
    """One more working day of a crew that is off, with the hours that most crews of the week keep that day."""
    for crew in week.crews:
        works = {s.day for s in crew.shifts}
        for day in range(week.days):
            hours = Counter((s.start, s.end) for c in week.crews for s in c.shifts if s.day == day)
            if day in works or not hours:
                continue
            start, end = max(sorted(hours), key=lambda h: hours[h])
            more = replace(crew, shifts=(*crew.shifts, Shift(day, start, end, 0)))
            words = f"{crew.called} working on {day_name(week, day)} too"
            yield WeekChange(
                f"crew-day {crew.id} {day}",
                "crew-day",
                words,
                _with_crew(week, more),
                yard=crew.yard,
                day=day,
                crew=crew.id,
            )


def _crews(week: Week) -> Iterator[WeekChange]:
    """A second crew like one there is (people, skills, van): all week, then on each of its days."""
    names = {c.id for c in week.crews}
    seen: set[tuple[object, ...]] = set()
    for crew in week.crews:
        alike = (
            crew.yard,
            crew.hands,
            frozenset(crew.skills),
            crew.vehicle,
            tuple(sorted(crew.onboard.items())),
            frozenset(crew.shifts),
            crew.day_cents,
            crew.minute_cents,
            crew.km_cents,
            crew.weekly,
        )
        if alike in seen or not crew.shifts:
            continue
        seen.add(alike)
        name = f"{crew.id} (second)"
        while name in names:
            name += "'"
        whole = f"crew {crew.id}"
        words = f"One more crew like {crew.called} at {crew.yard}"
        yield WeekChange(
            whole,
            "crew",
            f"{words} all week",
            replace(week, crews=(*week.crews, replace(crew, id=name))),
            yard=crew.yard,
            crew=crew.id,
        )
        for shift in crew.shifts if len(crew.shifts) > 1 else ():
            more = replace(crew, id=name, shifts=(shift,))
            yield WeekChange(
                f"{whole} {shift.day}",
                "crew",
                f"{words} on {day_name(week, shift.day)}",
                replace(week, crews=(*week.crews, more)),
                part_of=whole,
                yard=crew.yard,
                day=shift.day,
                crew=crew.id,
            )


def _helpers(week: Week) -> Iterator[WeekChange]:
    """One more helper of a yard: every day, then each day; at the price that most helpers have."""
    if not week.helpers:
        return
    usual = Counter(h.day_cents for h in week.helpers).most_common(1)[0][0]
    for yard in week.yards:
        crewed = sorted({s.day for c in week.crews if c.yard == yard.id for s in c.shifts})
        whole = f"helper {yard.id}"
        for days, words in _all_then_each(week, crewed):
            there = {h.day: h for h in week.helpers if h.yard == yard.id}
            for day in days:
                old = there.get(day, Helpers(yard.id, day, 0, usual))
                there[day] = replace(old, count=old.count + 1)
            others = tuple(h for h in week.helpers if h.yard != yard.id)
            part = len(days) < len(crewed)
            yield WeekChange(
                f"{whole} {days[0]}" if part else whole,
                "helper",
                f"One more helper at {yard.id} {words}",
                replace(week, helpers=(*others, *there.values())),
                part_of=whole if part else None,
                yard=yard.id,
                day=days[0] if len(days) == 1 else None,
            )


def _all_then_each(week: Week, days: list[int]) -> list[tuple[list[int], str]]:
    if not days:
        return []
    whole = [(days, "every day")] if len(days) > 1 else []
    return whole + [([d], f"on {day_name(week, d)}") for d in days]


def _equipment(week: Week) -> Iterator[WeekChange]:
    """One more of an item in a yard, and as many more as one job needs (ladders go in pairs)."""
    items = sorted({i for job in week.jobs for i, n in job.equipment.items() if n})
    for yard in week.yards:
        crewed = sorted({s.day for c in week.crews if c.yard == yard.id for s in c.shifts})
        for item in items:
            wanted = Counter(
                j.equipment[item] for j in week.jobs if j.equipment.get(item) and j.yard in (None, yard.id)
            )
            if not wanted:
                continue
            steps = sorted({1, wanted.most_common(1)[0][0]}, reverse=True)
            parent: str | None = None
            for more in steps:
                whole = f"equipment {item} {yard.id} {more}"
                what = f"{_number(more)} more {item}"
                for days, words in _all_then_each(week, crewed):
                    part = len(days) < len(crewed)
                    yield WeekChange(
                        f"{whole} {days[0]}" if part else whole,
                        "equipment",
                        f"{what} at {yard.id} {words}",
                        _with_item(week, item, yard.id, days, more),
                        part_of=whole if part else parent,
                        yard=yard.id,
                        day=days[0] if len(days) == 1 else None,
                        item=item,
                    )
                parent = whole


def _with_item(week: Week, item: str, yard: str, days: list[int], more: int) -> Week:
    old = next((e for e in week.equipment if (e.id, e.yard) == (item, yard)), Equipment(item, yard, (0,) * week.days))
    new = replace(old, count=tuple(n + more * (d in days) for d, n in enumerate(old.count)))
    others = tuple(e for e in week.equipment if (e.id, e.yard) != (item, yard))
    return replace(week, equipment=(*others, new))


def _number(n: int) -> str:
    return {1: "One", 2: "Two", 3: "Three", 4: "Four"}.get(n, str(n))


def _racks(week: Week) -> Iterator[WeekChange]:
    """A rack of one crew's van for the longest box there is, then for the next length that a job needs."""
    for crew in week.crews:
        longer = sorted(
            {j.box_mm for j in week.jobs if j.boxes and j.box_mm > crew.vehicle.rack_mm and j.yard in (None, crew.yard)}
        )
        whole = f"rack {crew.id} {longer[-1]}" if longer else None
        for length in dict.fromkeys([*longer[-1:], *longer[:1]]):
            van = replace(crew, vehicle=replace(crew.vehicle, rack_mm=length))
            key = f"rack {crew.id} {length}"
            yield WeekChange(
                key,
                "rack",
                f"A rack of {length:,} mm on the van of {crew.called} (now {crew.vehicle.rack_mm:,})",
                _with_crew(week, van),
                part_of=whole if key != whole else None,
                yard=crew.yard,
                crew=crew.id,
            )


def _reloads(week: Week) -> Iterator[WeekChange]:
    """A second load taken on at the yard in mid-day, where the week could say so and does not."""
    if isinstance(week, Week2) and week.reload is None:
        words = f"A second load from the yard in mid-day, {LOADING_MIN} minutes to take on,"
        yield WeekChange("reload", "reload", words, replace(week, reload=Reload(LOADING_MIN)))


def _stock(week: Week) -> Iterator[WeekChange]:
    """One job's worth more of a part on a yard's shelf, from the first day and by each later delivery."""
    for part in sorted({p for job in week.jobs for p, n in job.parts.items() if n}):
        for yard in week.yards:
            uses = Counter(j.parts[part] for j in week.jobs if j.parts.get(part) and j.yard in (None, yard.id))
            if not uses:
                continue
            more = max(sorted(uses), key=lambda n: uses[n])
            old = next((s for s in week.stock if (s.id, s.yard) == (part, yard.id)), Stock(part, yard.id, 0, ()))
            others = tuple(s for s in week.stock if (s.id, s.yard) != (part, yard.id))
            whole = f"stock {part} {yard.id}"
            words = f"{more} more {part} on the shelf of {yard.id}"
            first = replace(old, on_hand=old.on_hand + more)
            yield WeekChange(
                whole,
                "stock",
                f"{words} from the first day",
                replace(week, stock=(*others, first)),
                yard=yard.id,
                item=part,
            )
            for day in sorted({a.day for a in old.arrivals if a.day > 0}):
                then = replace(old, arrivals=(*old.arrivals, Arrival(day, more)))
                yield WeekChange(
                    f"{whole} {day}",
                    "stock",
                    f"{words} by {day_name(week, day)}",
                    replace(week, stock=(*others, then)),
                    part_of=whole,
                    yard=yard.id,
                    day=day,
                    item=part,
                )


def _overtime(week: Week) -> Iterator[WeekChange]:
    """An hour more overtime allowed: for all crews, for each crew, for each crew and day."""

    def longer(crew: Crew, day: int | None = None) -> Crew:
        return replace(
            crew,
            shifts=tuple(
                replace(s, overtime=s.overtime + EXTRA_OVERTIME_MIN) if day in (None, s.day) else s for s in crew.shifts
            ),
        )

    words = "An hour more overtime allowed"
    if not week.crews:
        return
    yield WeekChange(
        "overtime",
        "overtime",
        f"{words} to every crew on every day",
        replace(week, crews=tuple(longer(c) for c in week.crews)),
    )
    for crew in week.crews:
        whole = f"overtime {crew.id}"
        yield WeekChange(
            whole,
            "overtime",
            f"{words} to {crew.called} on every day",
            _with_crew(week, longer(crew)),
            part_of="overtime",
            yard=crew.yard,
            crew=crew.id,
        )
        for shift in crew.shifts if len(crew.shifts) > 1 else ():
            yield WeekChange(
                f"{whole} {shift.day}",
                "overtime",
                f"{words} to {crew.called} on {day_name(week, shift.day)}",
                _with_crew(week, longer(crew, shift.day)),
                part_of=whole,
                yard=crew.yard,
                day=shift.day,
                crew=crew.id,
            )


def _promises(week: Week) -> Iterator[WeekChange]:
    """A booking taken away: what the promise costs the week."""
    for n, job in enumerate(week.jobs):
        if job.booked is None:
            continue
        free: Job = replace(job, booked=None)
        jobs = (*week.jobs[:n], free, *week.jobs[n + 1 :])
        words = f"The {job.booked.hold} booking of {job.id} on {day_name(week, job.booked.day)}"
        yield WeekChange(
            f"promise {job.id}",
            "promise",
            words,
            replace(week, jobs=jobs),
            day=job.booked.day,
            crew=job.booked.crew,
            job=job.id,
        )
