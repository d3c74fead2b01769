"""Why a firm or day booking is not kept: what forbids it, or what keeping it would cost."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import msgspec

from scheduler.engine.model.arrays import Model
from scheduler.engine.model.starts import only_at
from scheduler.engine.model.timing import time_route
from scheduler.engine.reasons.alone import RULES, Block, blocks, missing_equipment, missing_stock, ways
from scheduler.engine.reasons.room import Opening, openings
from scheduler.engine.reasons.sentences import (
    SHARED,
    ToldReason,
    amount,
    count,
    follow_words,
    lateness,
    listed,
    over,
    people,
)
from scheduler.engine.search.route_cost import Arrays, arrays
from scheduler.engine.search.state import state_of
from scheduler.price import Visit
from scheduler.promises import broken_promises, promised
from scheduler.week import Booking, Job, Window, clock_time, crew_name

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


def why_broken(model: Model, week: Arrays, routes: Routes, j: int) -> str:
    """Return in one sentence why the firm or day booking of job j is not kept.

    Rules first, each with nothing else planned; then what keeping it takes or costs, the rest of the plan as it is.
    """
    job = model.week.jobs[j]
    booked = job.booked
    if booked is None:
        raise ValueError(f"{job.id} has no booking")
    rest = {k: kept for k, jobs in routes.items() if (kept := [other for other in jobs if other != j])}
    told = ToldReason(model, rest)
    if booked.hold == "firm":
        who = crew_name(model.week, booked.crew)
        name = f"The firm booking of {job.id} ({who} on {told.day(booked.day)}, {clock_time(booked.start)})"
    else:
        name = f"The booking of {job.id} for {told.day(booked.day)}"
    reasons = list(_by_rule(told, job, booked)) or _by_plan(model, week, routes, told, j, booked)
    return f"{name} is not kept: {'; '.join(reasons)}."


def _by_rule(told: ToldReason, job: Job, booked: Booking) -> Iterator[str]:
    asked = job
    if booked.hold == "firm":
        # the visit at that time and no other: what is left of the windows is the promised time, where one holds it
        end = booked.start + job.minutes
        kept = [w for w in job.windows if w.day == booked.day and w.start <= booked.start and end <= w.end][:1]
        windows = tuple(Window(booked.day, booked.start, max(end, booked.start + 1), w.risk_cents) for w in kept)
        asked = msgspec.structs.replace(job, windows=windows)
    found = [
        b
        for b in blocks(told.model, asked, told.visits)
        if b.shift.day == booked.day and (booked.hold == "day" or b.crew.id == booked.crew)
    ]
    if not found:
        firm = f"{crew_name(told.week, booked.crew)} does not work that day"
        yield firm if booked.hold == "firm" else "no crew works that day"
        return
    rules = ways(found)[0]
    nearest = next(b for b in found if b.rules == rules)
    clauses = [_clause(told, asked, booked, nearest, rule) for rule in RULES if rule in rules]
    if len(found) > 1 and clauses:
        clauses[0] = f"no crew that works that day can do it, and as to the nearest to it, {clauses[0]}"
    yield from clauses


def _clause(told: ToldReason, job: Job, booked: Booking, block: Block, rule: str) -> str:
    crew, day, week = block.crew, block.shift.day, told.week
    match rule:
        case "kit_not_ready":
            return (
                f"its kit is complete only on {told.day(job.ready_day)}" if job.ready_day else "its kit is not complete"
            )
        case "no_work_window":
            if booked.hold == "firm":
                hours = f"{clock_time(booked.start)}–{clock_time(booked.start + job.minutes)}"
                return f"customer, daylight and weather leave no work window that holds {hours} that day"
            return "customer, daylight and weather leave no work window that day in which a crew could do it"
        case "no_skills":
            return f"{crew.called} lacks {listed(s for s in dict.fromkeys(job.skills) if s not in crew.skills)}"
        case "no_van":
            return f"the van of {crew.called} has {', '.join(over(job, crew))}"
        case "no_hands":
            there = sum(h.count for h in week.helpers if (h.yard, h.day) == (crew.yard, day))
            most = f"{crew.called} has {crew.hands} and can have {count(there, 'helper')} that day"
            return f"it needs {people(job.hands)}, and {most}"
        case "ladder_out":
            short = {i: n for i, n in missing_equipment(week, job, crew, day).items() if n > 0}
            return f"yard {crew.yard} lacks {listed(f'{n} of {i}' for i, n in short.items())} that day"
        case "stock_out":
            short = {p: n for p, n in missing_stock(told.model, job, crew.yard, day, told.visits).items() if n > 0}
            return f"the shelf of yard {crew.yard} lacks {listed(f'{n} of {p}' for p, n in short.items())} by then"
        case "out_of_reach":
            due = clock_time(booked.start) if booked.hold == "firm" else "its work window"
            return _lower(lateness(told, job, crew, block.shift, due)[1])
        case "other_yard":
            return f"its kit lies at yard {job.yard}, and {crew.called} is of {crew.yard}"
        case _:
            return _lower(follow_words(told, job, crew, day))


def _by_plan(model: Model, week: Arrays, routes: Routes, told: ToldReason, j: int, booked: Booking) -> list[str]:
    days = [
        k
        for k in range(len(model.crew_days))
        if model.day_of[k] == booked.day
        and model.local[k, j] >= 0
        and (booked.hold == "day" or told.crew_of[k].id == booked.crew)
    ]
    if booked.hold == "firm":
        week = arrays(only_at(model, j, days, booked.start))
    state, whole = state_of(model, week, told.routes), state_of(model, week, routes)
    worth = int(whole.total[0] - state.total[0] + model.skip_cost[j])
    places = openings(week, state, j, worth, days)
    if not places:
        return ["no crew that could keep it has the hours left, whichever one job is taken out"]
    return list(_price(told, j, places[0]))


def _price(told: ToldReason, j: int, place: Opening) -> Iterator[str]:
    for bit, code in SHARED.items():
        if place.hindered & bit:
            yield _lower(told.shared(code, j, place))
    others, more = told.jobs_at(place), f"keeping it costs {amount(place.extra)} more"
    if place.extra >= 0 and others:
        yield f"no room: it would push out {others}, and {more}"
    elif place.extra >= 0:
        yield f"{more} than changing it ({told.where(place.k)})"
    elif not place.hindered:
        saved = f"it could be kept and {amount(-place.extra)} saved"
        yield f"{saved}; the search was stopped before: plan again with more time"


def _lower(sentence: str) -> str:
    """Return a sentence as part of another."""
    first = sentence.split(" ", 1)[0]
    return (sentence[0].lower() + sentence[1:] if first in ("It", "The", "Its") else sentence).removesuffix(".")
