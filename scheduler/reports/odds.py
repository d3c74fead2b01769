"""Will it hold? A plan played many times against the spread of task times and drives, the weather and late parts.

Each play sends every crew out at its planned minute and lets the day run: a drive takes its planned time by a factor of
that crew's day, a visit its median by a factor of its own, both log-normal; the weather is drawn once a day for all, so
that a bad day takes the likelier visits together. A crew begins a visit when it is there, but not more than
`EARLY_MIN` before the planned minute, nor a firm one before the promised minute, nor outside the work window. What
would as a rule not be done by the window's end (`PAST_END_MIN` are forgiven) is put off; what the weather takes or
whose kit has not come is put off too, and the crew drives on. The rest is taken with the drive with which it stands in
the plan, or in the middle of the visit in which it does.

Two crews that meet for a lift wait for each other: it begins when the later one is there, the second crew not before
its planned minute, nor sooner after the begin of the job than that asks. What it comes later than the latest minute of
the lift is added to the job, and both days go on from there. A job that is put off keeps no second crew waiting.

That times are log-normal, independent between visits and alike for a crew's drives of a day are assumptions.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from scheduler.plan import Plan
from scheduler.price import RETIME_FROM_MIN, Outing, Visit, change_cents, outings, price_outings, undone_cents
from scheduler.week import Job, RestRule, Week

EARLY_MIN = RETIME_FROM_MIN  # a customer need not be told of a start that little off
LATE_MIN = RETIME_FROM_MIN
PAST_END_MIN = 15
Z80 = 0.8416212335729143  # the standard normal's 80th percentile

Samples = Any  # an array of one number a play


@dataclass(frozen=True, slots=True)
class Doubts:
    """What is not certain about a week, by job where not said otherwise; a job that is not named has none of it.

    `median_min`: minutes on site that are as often too long as too short (else the planned ones). `p80_factor`: by what
    they are multiplied to suffice four times in five; at least 1. `drive_p80_factor`: the same of all drives.
    `lost`: chance that the weather takes the visit where it is planned. `kit_late`: chance that its kit is not there.
    """

    median_min: Mapping[str, float]
    p80_factor: Mapping[str, float]
    drive_p80_factor: float
    lost: Mapping[str, float]
    kit_late: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class VisitOdds:
    """Chances of one planned visit: `done` that day; `kept`: done and, if firm, begun half an hour late at most.

    `weather` and `kit` are the chances given; `time` that the day runs out before it. `begin_p80` is the minute by
    which it is begun four times in five of those in which it is done (None: never done).
    """

    done: float
    kept: float
    weather: float
    kit: float
    time: float
    begin_p80: int | None


@dataclass(frozen=True, slots=True)
class DayOdds:
    """One crew's day: chances of `overtime` and of being back `past` the most of it that is allowed.

    `back_p80` is the minute by which it is back four times in five, `overtime_min` the mean.
    """

    overtime: float
    past: float
    back_p80: int
    overtime_min: float


@dataclass(frozen=True, slots=True)
class Odds:
    """Visits by job, days by crew and day, and the week's cost in cents as it is to be expected: mean, P10 and P90.

    What the plan weighs for the weather is not in the cost: here the visit is lost or not, at the price of leaving it.
    """

    plays: int
    visits: dict[str, VisitOdds]
    days: dict[tuple[str, int], DayOdds]
    mean_cents: int
    p10_cents: int
    p90_cents: int


def odds(week: Week, plan: Plan, doubts: Doubts, *, plays: int, seed: int) -> Odds:
    """Return how the week turns out in `plays` plays; the same `seed` gives the same.

    plan: keeps the rules of `week`. All plays go through arrays at once: 2,000 of a week of ten crews take a fraction
    of a second.
    """
    chance = np.random.default_rng(seed)
    out = outings(week, plan.routes)
    fixed = price_outings(week, out)
    sky = {day: chance.random(plays) for day in sorted({o.route.day for o in out})}
    # Everything that a play does not change: roads by distance, day rates, helpers, what waits already, changes told.
    cost = np.full(plays, float(fixed.total - fixed.risk - fixed.overtime))
    played, days = dict[str, VisitOdds](), dict[tuple[str, int], DayOdds]()
    for outing, day in zip(out, play_days(week.rest, out, doubts, sky, chance), strict=True):
        route, crew, shift = outing.route, outing.crew, outing.shift
        over = np.maximum(0.0, day.back - shift.end)
        cost += crew.minute_cents * (day.back - route.back) + crew.overtime_minute_cents * over
        most = shift.end + shift.overtime
        days[route.crew, route.day] = DayOdds(
            overtime=float((over > 0).mean()),
            past=float((day.back > most).mean()),
            back_p80=math.ceil(np.quantile(day.back, 0.8)),
            overtime_min=float(over.mean()),
        )
        for (stop, job), begun, done, in_time in zip(outing.stops, day.begun, day.done, day.in_time, strict=True):
            firm = job.booked is not None and job.booked.hold == "firm" and stop.start == job.booked.start
            kept = done & (begun <= stop.start + LATE_MIN) if firm else done
            begins = begun[done]
            played[job.id] = VisitOdds(
                done=float(done.mean()),
                kept=float(kept.mean()),
                weather=doubts.lost.get(job.id, 0.0),
                kit=doubts.kit_late.get(job.id, 0.0),
                time=float((~in_time).mean()),
                begin_p80=math.ceil(np.quantile(begins, 0.8)) if len(begins) else None,
            )
            cost += lost_cents(week, outing, job, Visit(route.crew, route.day, stop.start, stop.end)) * ~done
            if firm:
                cost += week.broken_cents * (done & ~kept)
    low, high = np.quantile(cost, (0.1, 0.9)).round().astype(int).tolist()
    return Odds(plays, played, days, round(float(cost.mean())), low, high)


@dataclass(frozen=True, slots=True)
class PlayedDay:
    """One crew's day in every play: by stop when it begins, whether it is done and whether the hours sufficed."""

    begun: list[Samples]
    done: list[Samples]
    in_time: list[Samples]
    back: Samples


def play_days(
    rest: RestRule | None, out: Sequence[Outing], doubts: Doubts, sky: Mapping[int, Samples],
    chance: np.random.Generator,
) -> list[PlayedDay]:  # fmt: skip
    """Return the days of crews of whom two that meet for a lift wait for each other; `sky`: draws of weather by day."""
    return _play(rest, out, [_draw(outing, doubts, sky[outing.route.day], chance) for outing in out], doubts)


def play_day(
    rest: RestRule | None, outing: Outing, doubts: Doubts, sky: Samples, chance: np.random.Generator,
    begun: Mapping[str, int | None] = {}, now: int = 0,
) -> PlayedDay:  # fmt: skip
    """Return a crew's day in as many plays as `sky` has draws of the weather; nobody waits for another crew.

    begun: for a day under way, visits that have begun at their planned minute and when they ended, None where they go
    on at the minute `now`; all that follows comes after `now`.
    """
    (day,) = _play(rest, (outing,), (_draw(outing, doubts, sky, chance, begun),), doubts, begun, now)
    return day


@dataclass(frozen=True, slots=True)
class _Drawn:
    """What chance gives a crew's day in every play: by what its drives are multiplied (`road`), and by visit its time.

    `there`: by visit whether weather and kit let it be done at all.
    """

    road: Samples
    there: dict[str, Samples]
    factor: dict[str, Samples]


def _draw(
    outing: Outing, doubts: Doubts, sky: Samples, chance: np.random.Generator, begun: Mapping[str, int | None] = {}
) -> _Drawn:  # fmt: skip
    plays = len(sky)
    drawn = _Drawn(_factor(doubts.drive_p80_factor, plays, chance), {}, {})
    for _, job in outing.stops:
        if job.id not in begun:
            late = doubts.kit_late.get(job.id, 0.0)
            drawn.there[job.id] = (sky >= doubts.lost.get(job.id, 0.0)) & (chance.random(plays) >= late)
        drawn.factor[job.id] = _factor(doubts.p80_factor.get(job.id, 1.0), plays, chance)
    return drawn


@dataclass(frozen=True, slots=True)
class _Lifts:
    """Jobs at which two crews of the same day meet; by job when the second one is `there`, and when it begins."""

    met: frozenset[str]
    there: dict[str, Samples]
    begun: dict[str, Samples]


def _play(
    rest: RestRule | None, out: Sequence[Outing], drawn: Sequence[_Drawn], doubts: Doubts,
    begun: Mapping[str, int | None] = {}, now: int = 0,
) -> list[PlayedDay]:  # fmt: skip
    """Return the days of the crews, each played as far as it waits for no other, in turn until all are over."""
    does = {job.id for outing in out for _, job in outing.stops}
    helps = {job.id for outing in out for _, job in outing.assists}
    lifts = _Lifts(frozenset(does & helps - begun.keys()), {}, {})
    days = [PlayedDay([], [], [], one.road) for one in drawn]
    going = [
        _played(rest, outing, one, doubts, begun, now, lifts, day)
        for outing, one, day in zip(out, drawn, days, strict=True)
    ]
    backs: dict[int, Samples] = {}
    while len(backs) < len(going):
        known = len(backs), len(lifts.there), len(lifts.begun)
        for n, one in enumerate(going):
            if n not in backs and (back := next(one)) is not None:
                backs[n] = back
        if known == (len(backs), len(lifts.there), len(lifts.begun)):
            raise ValueError("two crews of the plan wait for each other for ever")
    return [PlayedDay(day.begun, day.done, day.in_time, backs[n]) for n, day in enumerate(days)]


def _played(
    rest: RestRule | None, outing: Outing, drawn: _Drawn, doubts: Doubts, begun: Mapping[str, int | None], now: int,
    lifts: _Lifts, day: PlayedDay,
) -> Iterator[Samples | None]:  # fmt: skip
    """Play a crew's day into `day`: give None while another crew has to be played first, at last when it is back."""
    route, plays, road = outing.route, len(drawn.road), drawn.road
    clock = np.full(plays, float(route.depart))
    paused = outing.paused(rest)
    rests = {} if paused is not None else _rests(outing)
    for n, (stop, job) in enumerate(outing.calls):
        if job is None or stop.assist:  # a load taken on, or another crew's lift: as long as planned, not sooner
            clock = _driven(clock, outing.drives_min[n] * road, rest, rests.get(n))
            clock = np.maximum(clock, stop.start)
            if stop.assist in lifts.met:
                lifts.there[stop.assist] = clock
                while stop.assist not in lifts.begun:
                    yield None
                clock = lifts.begun[stop.assist]
            clock = clock + (stop.end - stop.start)
            continue
        pause = rest.length if rest is not None and stop is paused else 0  # the rest in the middle of the work
        usual = doubts.median_min.get(job.id, stop.end - stop.start - pause)
        factor = drawn.factor[job.id]
        if job.id in begun:
            ended = begun[job.id]
            goes_on = np.maximum(stop.start + (usual * factor + pause), now)
            clock = goes_on if ended is None else np.full(plays, float(ended))
            day.begun.append(np.full(plays, float(stop.start)))
            day.done.append(np.ones(plays, bool))
            day.in_time.append(np.ones(plays, bool))
            continue
        clock = np.maximum(clock, now)
        clock = _driven(clock, outing.drives_min[n] * road, rest, rests.get(n))
        begins = np.maximum(clock, _opens(job, route.day, stop.start))
        closes = _closes(job, route.day, stop.start, stop.end) + PAST_END_MIN
        waits, lift = np.zeros(plays), None
        if job.id in lifts.met and job.assist is not None:
            while job.id not in lifts.there:
                yield None
            lift = np.maximum(lifts.there[job.id], begins + job.assist.from_min)
            waits = np.maximum(0.0, lift - (begins + job.assist.to_min))
        in_time = begins + usual + pause + waits <= closes
        done = in_time & drawn.there[job.id]
        if lift is not None:
            lifts.begun[job.id] = np.where(done, lift, lifts.there[job.id])
        clock = np.where(done, begins + usual * factor + pause + waits, clock)
        day.begun.append(begins)
        day.done.append(done)
        day.in_time.append(in_time)
    yield _driven(clock, outing.drives_min[-1] * road, rest, rests.get(len(outing.calls)))


def _factor(p80: float, plays: int, chance: np.random.Generator) -> Samples:
    """Return log-normal factors with median 1, four of five of which are at most `p80`."""
    drawn = chance.standard_normal(plays)  # drawn even where it has no effect, so that all else stays the same
    return np.exp(math.log(max(1.0, p80)) / Z80 * drawn)


def _rests(outing: Outing) -> dict[int, bool]:
    """Return the number of the drive that the rest goes with, and whether it comes before it (else on arrival)."""
    at = outing.route.rest
    if at is None:
        return {}
    drive = sum(stop.end <= at for stop, _ in outing.calls)
    leaves = outing.calls[drive - 1][0].end if drive else outing.route.depart
    return {drive: at < leaves + outing.drives_min[drive] or drive == len(outing.calls)}


def _driven(clock: Samples, drive: Samples, rest: RestRule | None, rest_first: bool | None) -> Samples:
    """Return the minute of arrival, with the rest before or after the drive where there is one (None: none)."""
    if rest is None or rest_first is None:
        return clock + drive
    if rest_first:
        return np.maximum(clock, rest.earliest) + rest.length + drive
    return np.maximum(clock + drive, rest.earliest) + rest.length


def _opens(job: Job, day: int, start: int) -> int:
    """Return the minute before which nobody begins: the window's, and half an hour before what the customer expects."""
    opens = max((w.start for w in job.windows if w.day == day and w.start <= start), default=start)
    firm = job.booked is not None and job.booked.hold == "firm" and start == job.booked.start
    return start if firm else max(opens, start - EARLY_MIN)


def _closes(job: Job, day: int, start: int, end: int) -> int:
    return max((w.end for w in job.windows if w.day == day and w.start <= start and end <= w.end), default=end)


def lost_cents(week: Week, outing: Outing, job: Job, visit: Visit) -> int:
    """Return what it costs to leave the job after all, above what the plan's own cost has for it."""
    told = 0 if job.booked is None else change_cents(job.booked, visit, week.broken_cents)
    late = 0 if job.due_day is None else job.late_cents * max(0, outing.route.day - job.due_day)
    return undone_cents(week, job) - told - late
