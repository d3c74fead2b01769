"""The cheapest plan of a tiny week of the second format, by trying everything.

Written from the text of the rules alone; shares nothing with the engine, the auditor or the price. Each crew and day
takes the routes of `tests.routes2`; of each day every way in which the crews meet is kept, then the days are put
together under what they share.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from functools import lru_cache

import msgspec

from scheduler.plan import Because, Cost2, Plan2, Route2, Skipped, Stop2
from scheduler.week import Job, Week2
from tests.routes2 import Span, Stand, Way, ways_of


def cheapest(week: Week2, step: int) -> Plan2:
    """Return a plan of least cost, its bound equal to its cost; all times of `week` are multiples of `step`."""
    best: tuple[int, tuple[Way, ...]] = (sum(undone(week, j) for j in week.jobs), ())
    free = tuple(msgspec.structs.replace(job, skip_cents=0) for job in week.jobs)  # no route hangs on that price
    by_day = _every_day(msgspec.json.encode(msgspec.structs.replace(week, jobs=free)), step)

    def extend(day: int, chosen: tuple[Way, ...], done: frozenset[int], cents: int) -> None:
        nonlocal best
        if cents >= best[0]:
            return
        if day == week.days:
            left = sum(undone(week, job) for n, job in enumerate(week.jobs) if n not in done)
            total = cents + left + weekly_more(week, chosen)
            if total < best[0] and agree(week, chosen):
                best = total, chosen
            return
        for ways, jobs, spent in by_day[day]:
            if not jobs & done:
                extend(day + 1, (*chosen, *ways), done | jobs, cents + spent)

    extend(0, (), frozenset(), 0)
    return _written(week, *best)


def undone(week: Week2, job: Job) -> int:
    b = job.booked
    return job.skip_cents + (0 if b is None else b.move_cents if b.hold == "soft" else week.broken_cents)


def weekly_more(week: Week2, ways: tuple[Way, ...]) -> int:
    cents = 0
    for crew in week.crews:
        for first in range(0, week.days, 7):
            out = sum(w.out for w in ways if w.crew.id == crew.id and first <= w.day < first + 7)
            cents += max(0, out - crew.weekly.minutes) * crew.weekly.cents if crew.weekly else 0
    return cents


@lru_cache(maxsize=2)
def _every_day(written: bytes, step: int) -> list[list[tuple[tuple[Way, ...], frozenset[int], int]]]:
    """Return the meetings of each day of the week written so; asked again where only leaving out is dearer."""
    week = msgspec.json.decode(written, type=Week2)
    return [_meetings(week, day, step) for day in range(week.days)]


def _meetings(week: Week2, day: int, step: int) -> list[tuple[tuple[Way, ...], frozenset[int], int]]:
    """Return every choice of the crews' routes of a day that meet where they must: routes, jobs done, cents."""
    crews = [(c, s) for c in week.crews for s in c.shifts if s.day == day]
    return together(week, day, [[None, *ways_of(week, crew, shift, step)] for crew, shift in crews])


def together(
    week: Week2, day: int, choices: list[list[Way | None]]
) -> list[tuple[tuple[Way, ...], frozenset[int], int]]:
    """Return the same where each crew of the day has these ways alone (None: it stays in)."""
    helpers = {h.yard: h.count for h in week.helpers if h.day == day}
    pool = {(e.id, e.yard): e.count[day] for e in week.equipment}
    found: dict[object, tuple[tuple[Way, ...], frozenset[int], int]] = {}
    for out in _fitting(week, choices):
        own = [s.job for w in out for s in w.stands if not s.assist]
        if not _met(week, out):
            continue
        hired: Counter[str] = Counter()
        taken: Counter[tuple[str, str]] = Counter()
        for way in out:
            hired[way.crew.yard] += way.helpers
            jobs = [week.jobs[s.job] for s in way.stands if not s.assist]
            for item in {e for j in jobs for e in j.equipment}:
                most = max(j.equipment.get(item, 0) for j in jobs)
                taken[item, way.crew.yard] += max(0, most - way.crew.onboard.get(item, 0))
        if any(n > helpers.get(y, 0) for y, n in hired.items()) or any(n > pool.get(k, 0) for k, n in taken.items()):
            continue
        cents = sum(w.cents for w in out)
        # of two with the same jobs by the same crews and the same minutes out only the cheaper is of use
        key = tuple((w.crew.id, w.out, frozenset(s.job for s in w.stands if not s.assist)) for w in out)
        if key not in found or cents < found[key][2]:
            found[key] = out, frozenset(own), cents
    return list(found.values())


def _fitting(week: Week2, choices: list[list[Way | None]]) -> Iterator[tuple[Way, ...]]:
    """Yield every choice of ways that do no job twice, and after which no assist lacks its job nor a job its assist."""
    known: dict[object, list[Way | None]] = {}

    def sides(way: Way | None) -> tuple[frozenset[int], frozenset[int], frozenset[int]]:
        """Return the jobs that a way does, those of them that need an assist, and those that it assists."""
        stands = () if way is None else way.stands
        own = frozenset(s.job for s in stands if not s.assist)
        return own, frozenset(j for j in own if week.jobs[j].assist), frozenset(s.job for s in stands if s.assist)

    listed = [[(way, *sides(way)) for way in ways] for ways in choices]

    def extend(
        out: tuple[Way, ...], done: frozenset[int], needs: frozenset[int], helps: frozenset[int], n: int
    ) -> Iterator[tuple[Way, ...]]:
        if n == len(listed):
            yield out
            return
        last, key = n == len(listed) - 1, (n, done, needs, helps)
        if key not in known:
            known[key] = [
                way
                for way, own, wants, assists in listed[n]
                if not own & done and not assists & helps and (not last or needs | wants == helps | assists)
            ]
        for way in known[key]:
            own, wants, assists = sides(way)
            chosen = out if way is None else (*out, way)
            yield from extend(chosen, done | own, needs | wants, helps | assists, n + 1)

    return extend((), frozenset(), frozenset(), frozenset(), 0)


def _met(week: Week2, out: tuple[Way, ...]) -> bool:
    assists = Counter(s.job for w in out for s in w.stands if s.assist)
    for way in out:
        for own in way.stands:
            wanted = week.jobs[own.job].assist
            if own.assist or wanted is None:
                continue
            if assists.pop(own.job, 0) != 1:
                return False
            other = next(s for w in out for s in w.stands if s.assist and s.job == own.job)
            if not own.start + wanted.from_min <= other.start <= own.start + wanted.to_min or other.end > own.end:
                return False
            if own.paused and not _moments(week, way, other):
                return False
    return not assists


def _moments(week: Week2, way: Way, other: Stand | None) -> list[Span]:
    """Return when the rest of the route may begin, apart from an assist of the job that it interrupts."""
    assert week.rest is not None
    assert way.rest is not None
    found = []
    for lo, hi in way.rest:
        if other is None:
            found.append((lo, hi))
        else:
            found += [(lo, min(hi, other.start - week.rest.length)), (max(lo, other.end), hi)]
    return [(lo, hi) for lo, hi in found if lo <= hi]


def agree(week: Week2, out: tuple[Way, ...]) -> bool:
    """Whether the routes of all days share stock and keep every follow."""
    at = {week.jobs[s.job].id: w for w in out for s in w.stands if not s.assist}
    for yard in week.yards:
        for part in {p for j in week.jobs for p in j.parts}:
            for day in range(week.days):
                there = sum(
                    s.on_hand + sum(a.qty for a in s.arrivals if a.day <= day)
                    for s in week.stock
                    if (s.id, s.yard) == (part, yard.id)
                )
                used = [
                    j.parts.get(part, 0)
                    for j in week.jobs
                    if j.id in at and at[j.id].crew.yard == yard.id and at[j.id].day <= day
                ]
                if sum(used) > there:
                    return False
    for f in week.follows:
        if f.then not in at:
            continue
        if f.first not in at:
            return False
        way_1, way_2 = at[f.first], at[f.then]
        days = way_2.day - way_1.day
        if days < f.min_days or (f.max_days is not None and days > f.max_days):
            return False
        if way_1.crew.id != way_2.crew.id and (f.same_crew or days == 0):
            return False
    return True


def _written(week: Week2, total: int, out: tuple[Way, ...]) -> Plan2:
    """Write the plan down; its cost by kind is not worked out here, only the total."""
    routes = []
    place = {p.id: n for n, p in enumerate(week.places)}
    for way in out:
        paused = next((s for s in way.stands if s.paused), None)
        other = None
        if paused is not None and week.jobs[paused.job].assist:
            other = next(s for w in out for s in w.stands if s.assist and s.job == paused.job)
        rest = None if way.rest is None else _moments(week, way, other)[0][0]
        home = next(place[y.place] for y in week.yards if y.id == way.crew.yard)
        stops: list[Stop2] = []
        for n, s in enumerate(way.stands):
            job = week.jobs[s.job]
            if s.loads:
                before = way.stands[n - 1]
                assert week.reload is not None
                leaves = before.end
                at = leaves + week.travel.minutes[place[week.jobs[before.job].place]][home]
                if rest is not None and week.rest is not None and paused is None and before.end <= rest <= s.start:
                    on = week.travel.minutes[home][place[job.place]]
                    if (
                        rest
                        + week.rest.length
                        + week.travel.minutes[place[week.jobs[before.job].place]][home]
                        + (week.reload.minutes + on)
                        <= s.start
                        and rest < at
                    ):
                        at = rest + week.rest.length + at - leaves
                    elif at <= rest < at + week.reload.minutes:
                        at = rest + week.rest.length
                stops.append(Stop2(reload=True, start=at, end=at + week.reload.minutes))
            if s.assist:
                stops.append(Stop2(assist=job.id, start=s.start, end=s.end))
            else:
                stops.append(Stop2(job=job.id, start=s.start, end=s.end))
        routes.append(Route2(way.crew.id, way.day, way.depart, way.back, way.helpers, rest, tuple(stops)))
    at_job = {s.job: (r.crew, r.day, s.start) for r in routes for s in r.stops if s.job}
    broken = []
    for job in week.jobs:
        if (b := job.booked) is not None and b.hold != "soft":
            v = at_job.get(job.id)
            if v is None or v[1] != b.day or (b.hold == "firm" and v != (b.crew, b.day, b.start)):
                broken.append(job.id)
    because = (Because("dearer", "every plan with this job costs more or breaks a rule"),)
    return Plan2(
        format="plan/2",
        week=week.id,
        engine="everything tried",
        seconds=0.0,
        routes=tuple(routes),
        skipped=tuple(Skipped(job.id, because) for job in week.jobs if job.id not in at_job),
        broken=tuple(broken),
        cost=Cost2(total, 0, 0, 0, 0, 0, 0, 0, 0, 0),
        bound=total,
    )
