"""Why a firm or day booking is not kept: what forbids it, or what keeping it would cost."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from functools import cache

from msgspec.structs import replace

from scheduler.engine.model.arrays import Model
from scheduler.engine.model.build import build
from scheduler.engine.model.fixed import NOTHING, Fixed, Spot
from scheduler.engine.model.timing import time_route
from scheduler.engine.reasons.anew import DEAR, Again, as_planned
from scheduler.engine.reasons.opened import HOURS, REST, OpenedPlan
from scheduler.engine.reasons.sentences import ToldReason, amount, plain
from scheduler.engine.reasons.surely import Sure
from scheduler.engine.reasons.ways import Plans, Way, look, ways
from scheduler.price import Visit
from scheduler.reports.promises import broken_promises, promised
from scheduler.week import Booking, Job, Week, clock_time, crew_name, day_name

Routes = Mapping[int, Sequence[int]]


def broken_by(model: Model, routes: Routes) -> list[int]:
    """Return the jobs whose firm or day booking the plan does not keep, in the week's order."""
    week, done = model.week, dict[str, Visit]()
    at_stake = {model.number[job.id] for job in promised(week)}
    for k, jobs in routes.items():
        if at_stake.isdisjoint(jobs) or (times := time_route(model, k, list(jobs))) is None:
            continue
        crew, day = week.crews[int(model.crew_of[k])].id, int(model.day_of[k])
        for j, start in zip(jobs, times.starts, strict=True):
            done[week.jobs[j].id] = Visit(crew, day, start, start + week.jobs[j].minutes)
    return [model.number[name] for name in broken_promises(week, done)]


def why_broken(model: Model, plans: Plans, j: int, rounds: int, sure: Sure) -> str:
    """Return in one sentence why the firm or day booking of job j is not kept.

    It is looked for on the promised day (firm: with the crew, at the time), the rest of the plan as it is. rounds: of
    a search with everything planned again, for the least that keeping it costs, `sure` after; 0: it is not looked for.
    """
    week, job = model.week, model.week.jobs[j]
    booked = job.booked
    if booked is None:
        raise ValueError(f"{job.id} has no booking")
    return f"{named(week, job, booked)} is not kept: {'; '.join(_why(model, plans, j, booked, sure, rounds))}."


def named(week: Week, job: Job, booked: Booking) -> str:
    """Return the booking as the beginning of a sentence."""
    day = day_name(week, booked.day)
    if booked.hold == "firm":
        who = crew_name(week, booked.crew)
        return f"The firm booking of {job.id} ({who} on {day}, {clock_time(booked.start)})"
    return f"The booking of {job.id} for {day}"


def forbidden(week: Week, job: Job, booked: Booking) -> str:
    """Return what of crews' days and the job's work windows forbids keeping the booking in any plan; empty: nothing."""
    crews = {crew.id for crew in week.crews if any(s.day == booked.day for s in crew.shifts)}
    if booked.hold == "firm" and booked.crew not in crews:
        return f"{crew_name(week, booked.crew)} does not work on {day_name(week, booked.day)}"
    return _shut(week, job, booked) if crews else "no crew works that day"


def no_crew_can(week: Week, booked: Booking) -> str:
    """Return that no crew can keep the booking, whatever of the rules on crews, kits and yards is undone."""
    day = day_name(week, booked.day)
    return f"no crew that works on {day} can do it in its work windows, even with a longer day"


def _why(model: Model, plans: Plans, j: int, booked: Booking, sure: Sure, rounds: int) -> Iterator[str]:
    week = model.week
    if never := forbidden(week, week.jobs[j], booked):
        yield never
        return
    firm = booked.hold == "firm"

    @cache
    def loose(rules: int) -> OpenedPlan:
        costs = loose(0).cost_by_route() if rules else None
        opened = plans.loose(rules).without(j, costs)
        return opened.only_at(j, days(opened), booked.start) if firm else opened

    def days(opened: OpenedPlan) -> Collection[int]:
        found = [k for k in range(len(opened.crew_of)) if opened.model.crew_days[k].day == booked.day]
        if not firm:
            return found
        mine = [k for k in found if opened.crew_of[k].id == booked.crew]
        return opened.holding(j, mine, booked.start)

    worth = _worth(plans, loose(0), j)
    found = ways(loose, j, worth, look(loose(0), j, worth, days), days, by_time=(HOURS, REST))
    if not found:
        yield no_crew_can(week, booked)
        return
    way = found[0]
    told = ToldReason(j, way, booked.start if firm else None)
    facts = [plain(fact) for _, fact in told.facts()]
    yield from facts
    if facts:
        yield told.could_be_kept()
    asked = rounds > 0 and way.place.extra >= 0 and not way.place.hindered
    again = _extra_anew(model, plans, j, way, rounds, sure) if asked else None
    yield from price_of_keeping(told, way.place.extra, bool(way.place.hindered), again)


def _shut(week: Week, job: Job, booked: Booking) -> str:
    """Return that no work window holds what was promised; empty where one does."""
    here = [w for w in job.windows if w.day == booked.day]
    by = "customer, daylight, weather, crews at work"
    if booked.hold == "firm":
        end = booked.start + job.minutes
        if any(w.start <= booked.start and end <= w.end for w in here):
            return ""
        hours = f"{clock_time(booked.start)}–{clock_time(end)}"
        return f"no work window ({by}) holds {hours} on {day_name(week, booked.day)}"
    if any(w.end - w.start >= job.minutes for w in here):
        return ""
    return f"no work window ({by}) on {day_name(week, booked.day)} is as long as its {job.minutes} minutes"


def _worth(plans: Plans, without: OpenedPlan, j: int) -> int:
    """Return what the plan as it is costs more than without job j, its own place's cost and price counted."""
    skip = int(without.arrays.skip[j])
    at = next((at for at, jobs in plans.routes.items() if j in jobs), None)
    if at is None:
        return skip
    kept = without.cost_by_route().get(at, 0)
    return plans.base.cost_by_route()[at] - kept


def _extra_anew(model: Model, plans: Plans, j: int, way: Way, rounds: int, sure: Sure) -> int | None:
    """Return what the cheapest plan found that keeps the booking of job j costs more than the plan as it is, in cents.

    Everything is planned again, from the plan as it is with the job where it was promised. None: none was found.
    """
    week, job = model.week, model.week.jobs[j]
    booked = job.booked
    assert booked is not None
    at = way.opened.at(way.place.k)
    begin = {
        x: kept for x, jobs in plans.routes.items() if (kept := [i for i in jobs if i != j and i not in way.place.out])
    }
    begin[at] = way.order
    fixed, held = NOTHING, week
    if booked.hold == "firm":
        fixed = Fixed(visits={job.id: Spot(booked.crew, booked.day, booked.start)})
    else:
        there = replace(job, windows=tuple(w for w in job.windows if w.day == booked.day))
        held = replace(week, jobs=(*week.jobs[:j], there, *week.jobs[j + 1 :]))
    again = Again(held, [as_planned(begin)] * 2, build(held, fixed=fixed))
    free = fixed is NOTHING
    found = sure.cheapest(again, rounds, j, DEAR) if free else again.cheapest(rounds, {j: DEAR})
    planned = {i for jobs in plans.routes.values() for i in jobs}
    present = sum(plans.base.cost_by_route().values())
    present += sum(int(cents) for i, cents in enumerate(model.skip_cost) if i not in planned)
    return found.cost - present if job.id in found.jobs else None


def price_of_keeping(told: ToldReason, extra: int, hindered: bool, again: int | None = None) -> Iterator[str]:
    """Yield what keeping the promise as told costs; `hindered`: something has to be undone for it.

    again: what it costs with everything planned again, None where that was not looked for.
    """
    others = told.out()
    more = f"keeping it costs {amount(extra)} more"
    least = ""
    if again is not None and again < 0:
        least = f", while everything planned again with it would save {amount(-again)}: plan again with more time"
    elif again is not None:
        anew = f"at most {amount(again)}" if again < extra else "no less, as far as was found"
        least = f", with everything planned again {anew}"
    if extra >= 0 and others:
        yield f"no room: it would push out {others}, and {more}{least}"
    elif extra >= 0:
        yield f"{more} than changing it ({told.crew.called} on {told.day}){least}"
    elif not hindered:
        yield f"it could be kept and {amount(-extra)} saved: plan again"
