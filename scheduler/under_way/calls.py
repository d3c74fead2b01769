"""What a crew under way comes to, in the order in which it does: its visits, the lifts at others', its loads."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from scheduler.plan import Stop, Stop2, loading_for_some
from scheduler.under_way.expected import DayPlan, Expected, ExpectedDay, Kind, Taps
from scheduler.week import Week

BEGUN = ("over", "there", "on the way")


@dataclass(frozen=True, slots=True)
class Call:
    """One thing that a crew comes to: a visit, a lift at `job`, or a load (`job` is empty)."""

    kind: Kind
    job: str


@dataclass(frozen=True, slots=True)
class CrewUnderWay:
    """A crew's day under way: planned, noted, and as it goes (`scheduler.under_way.expected`); minutes after midnight.

    `loads` are what it noted of the loads of mid-day, by number.
    """

    plan: DayPlan
    noted: Mapping[str, Taps]
    out: int | None
    back: int | None
    day: ExpectedDay
    loads: Mapping[int, Taps] = field(default_factory=dict)

    @property
    def begun(self) -> tuple[str, ...]:
        """The visits that are done, under way or being driven to, in the order in which they were begun."""
        return tuple(one.job for one in self.day.visits if one.state in BEGUN)

    @property
    def ahead(self) -> tuple[str, ...]:
        """The visits that nothing is noted of and that are still to come, in order."""
        return tuple(one.job for one in self.day.visits if one.state == "ahead")

    @property
    def calls_begun(self) -> tuple[Expected, ...]:
        """All that is done, under way or being driven to, in order."""
        return tuple(one for one in in_order(self.day) if one.state in BEGUN)

    @property
    def calls_ahead(self) -> tuple[Call, ...]:
        """All that is still to come, in order."""
        return tuple(Call(one.kind, one.job) for one in in_order(self.day) if one.state == "ahead")

    @property
    def lifts_begun(self) -> frozenset[str]:
        """The visits of other crews at whose lift the crew is, or has been."""
        return frozenset(one.job for one in self.calls_begun if one.kind == "lift")

    @property
    def is_out(self) -> bool:
        """Whether the crew has left the yard."""
        return self.out is not None or bool(self.calls_begun)

    @property
    def paused(self) -> Stop | None:
        """The planned stop in the middle of which the crew rests; None: it rests between stops, or not at all."""
        rule, at = self.plan.rest, self.plan.route.rest
        if rule is None or not rule.within or at is None:
            return None
        return next((s for s in self.plan.route.stops if s.job and s.start < at and at + rule.length < s.end), None)


def in_order(day: ExpectedDay) -> list[Expected]:
    """Return all calls as the crew comes to them: a load that is over before what it was planned before.

    A lift that is passed by is needed no more, and left out.
    """
    found = [one for one in day.calls if one.kind != "load" or one.state != "over"]
    for load in (one for one in day.calls if one.kind == "load" and one.state == "over"):
        at = next((n for n, one in enumerate(found) if one.stop > load.stop), len(found))
        found.insert(at, load)
    return [one for one in found if one.kind != "lift" or one.state != "passed by"]


def needed(calls: Sequence[Call]) -> list[Call]:
    """Return the calls without loads that are taken on for nothing."""
    stops = [Stop2(reload=True, start=n, end=n) if one.kind == "load" else Stop2(job="visit", start=n, end=n)
             for n, one in enumerate(calls)]  # fmt: skip
    kept = {stop.start for stop in loading_for_some(stops)}
    return [one for n, one in enumerate(calls) if n in kept]


def drives(week: Week, crew: str) -> Callable[[str | None, str | None], int]:
    """Return what gives the minutes from one visit or lift to another; None is the crew's yard."""
    place = {p.id: n for n, p in enumerate(week.places)}
    jobs = {job.id: place[job.place] for job in week.jobs}
    yard = next(one.yard for one in week.crews if one.id == crew)
    home = next(place[one.place] for one in week.yards if one.id == yard)

    def minutes(a: str | None, b: str | None) -> int:
        return week.travel.minutes[home if a is None else jobs[a]][home if b is None else jobs[b]]

    return minutes


def timed_stops(week: Week, crew: str, running: CrewUnderWay, day: ExpectedDay) -> list[Stop]:
    """Return the stops of a day as it goes; one that was reached sooner than its drive says begins as late as that.

    A load takes its minutes, whatever is noted of it: where it took fewer, the visit before it ends so much sooner.
    """
    drive = drives(week, crew)
    found: list[Stop] = []
    calls, load = in_order(day), 1
    for n, one in enumerate(calls):
        start, end = one.start, max(one.start, _end(one, calls[n + 1 :], running, load))
        if one.kind == "load":
            load += 1
            takes = 0 if week.reload is None else week.reload.minutes
            start = end - takes
            if found and one.state == "over":
                by = drive(found[-1].job or found[-1].assist, None)
                if load not in running.loads:  # nobody said when: as soon as it may be
                    start = found[-1].end + by
                elif found[-1].job:
                    last = max(found[-1].start, min(found[-1].end, start - by))
                    found[-1] = _stop(week, "visit", found[-1].job, found[-1].start, last)
            end = start + takes
        if found:
            before = found[-1].job or found[-1].assist or None
            reached = found[-1].end + drive(before, one.job or None)
            if reached > start:
                start, end = reached, reached + end - start if one.kind != "visit" else max(reached, end)
        if one.kind == "lift":
            end = max(end, start + 1)
        found.append(_stop(week, one.kind, one.job, start, end))
    return found


def _stop(week: Week, kind: Kind, job: str, start: int, end: int) -> Stop:
    if week.format != "week/2":
        return Stop(job, start, end)
    if kind == "load":
        return Stop2(reload=True, start=start, end=end)
    return Stop2(assist=job, start=start, end=end) if kind == "lift" else Stop2(job=job, start=start, end=end)


def _end(one: Expected, later: Sequence[Expected], running: CrewUnderWay, load: int) -> int:
    """Return when a stop ended: at the latest when the next one that is noted began, whatever was noted of it.

    load: the number of the load that the crew has with it there.
    """
    begun = []
    for other in later[:1]:
        if other.state in ("over", "there") and (other.kind != "load" or load + 1 in running.loads):
            begun.append(other.start)
    return min([one.end, *begun])


def places_of(week: Week, crew: str, calls: Sequence[Expected | Call]) -> list[str]:
    """Return the ids of the places of calls: a load is at the crew's yard."""
    yard = next(one.yard for one in week.crews if one.id == crew)
    home = next(one.place for one in week.yards if one.id == yard)
    at = {job.id: job.place for job in week.jobs}
    return [home if one.kind == "load" else at[one.job] for one in calls]
