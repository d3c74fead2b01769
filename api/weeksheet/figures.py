"""Figures of the week sheet: money to run it, prices that only weigh, and what is left of hours, tools and people."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from api.languages import to_say
from scheduler.plan import Plan
from scheduler.price import risks
from scheduler.reports.sheet import Sheet
from scheduler.week import Week


@dataclass(frozen=True)
class Figure:
    """An amount in cents with the visits that it is for; none named where it is for all of them."""

    words: str
    cents: int
    visits: tuple[str, ...] = ()


@dataclass(frozen=True)
class Left:
    """What a day has left: free crew minutes by yard, and (what, yard, used, of how many) of tools and helpers."""

    free_min: tuple[tuple[str, int], ...]
    tools: tuple[tuple[str, str, int, int], ...]
    people: tuple[tuple[str, int, int], ...]


def to_run(plan: Plan, laid_out: Sheet) -> tuple[Figure, ...]:
    """Return what is paid for the week, by kind, without what is zero."""
    cells, cost = laid_out.cells, plan.cost
    over = [entry.job for cell in cells if cell.overtime_min for entry in cell.visits[-1:]]
    extra = [entry.job for cell in cells if cell.helpers for entry in cell.visits]
    return _there(
        Figure(to_say("crews"), cost.crews),
        Figure(to_say("road"), cost.travel),
        Figure(to_say("overtime"), cost.overtime, tuple(over)),
        Figure(to_say("past the week's hours"), cost.weekly),
        Figure(to_say("helpers"), cost.helpers, tuple(extra)),
    )


def weighed(week: Week, plan: Plan, laid_out: Sheet) -> tuple[Figure, ...]:
    """Return the prices that weigh in the choice and are not spent, by kind, without what is zero."""
    jobs = {job.id: job for job in week.jobs}
    stops = [(cell.day, entry) for cell in laid_out.cells for entry in cell.visits]
    risky = [e.job for day, e in stops if min(risks(jobs[e.job], day, e.start, e.end), default=0)]
    late = [e.job for _, e in stops if any(mark.endswith("late") for mark in e.marks)]
    moved = [e.job for _, e in stops if {"moved", "day broken", "firm broken", "other crew", "other time"} & {*e.marks}]
    waits = [waiting.job for waiting in laid_out.waiting]
    told = [waiting.job for waiting in laid_out.waiting if waiting.hold]
    return _there(
        Figure(to_say("weather"), plan.cost.risk, tuple(risky)),
        Figure(to_say("lateness"), plan.cost.late, tuple(late)),
        Figure(to_say("promises moved"), plan.cost.changes, (*told, *moved)),
        Figure(to_say("jobs left waiting"), plan.cost.skipped, tuple(waits)),
    )


def by_the_visit(laid_out: Sheet, names: Mapping[str, str], visit_cents: Mapping[str, int]) -> tuple[Figure, ...]:
    """Return what subcontractors get for their visits of the week, by crew; `visit_cents` is the price of one each."""
    found = []
    for crew, cents in visit_cents.items():
        visits = tuple(entry.job for cell in laid_out.cells if cell.crew == crew for entry in cell.visits)
        found.append(Figure(names.get(crew, crew), cents * len(visits), visits))
    return _there(*found)


def _there(*figures: Figure) -> tuple[Figure, ...]:
    return tuple(figure for figure in figures if figure.cents)


def left(week: Week, laid_out: Sheet, day: int) -> Left:
    """Return what day `day` has left once its crews are out; hours of a crew in the yard count as free."""
    cells = [cell for cell in laid_out.cells if cell.day == day]
    out = {cell.crew: (cell.depart, cell.back) for cell in cells}
    free = dict.fromkeys((yard.id for yard in week.yards), 0)
    for crew in week.crews:
        for shift in crew.shifts:
            if shift.day == day:
                begin, end = out.get(crew.id, (shift.start, shift.start))
                busy = max(0, min(end, shift.end) - max(begin, shift.start))
                free[crew.yard] += shift.end - shift.start - busy
    tools = [
        (item.id, item.yard, used, item.count[day])
        for item in week.equipment
        if (used := sum(cell.from_pool.get(item.id, 0) for cell in cells if cell.yard == item.yard))
    ]
    people = [
        (helpers.yard, sum(cell.helpers for cell in cells if cell.yard == helpers.yard), helpers.count)
        for helpers in week.helpers
        if helpers.day == day
    ]
    return Left(tuple(free.items()), tuple(tools), tuple(people))
