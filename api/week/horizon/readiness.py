"""From which day a visit can go, looking weeks ahead, and what that rests on: its crate, its parts, its gates."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from api import tables
from api.fields.shown import day_name
from api.ledger.facts.gates import gate_words
from api.ledger.facts.week import Facts
from api.papers.needs import Needs
from api.papers.preparation import JobPapers
from api.papers.stored.making import USUAL_HEIGHT_MM
from scheduler.layout.site.lifting import hands_and_lift
from scheduler.plan import Because

_WEEK = datetime.timedelta(days=7)


@dataclass(frozen=True)
class RestsOn:
    """What a time rests on, in words; `day` is when it is due, `sure` False where nobody has named that day."""

    words: str
    day: datetime.date | None = None
    sure: bool = True


@dataclass(frozen=True)
class Readiness:
    """What planning needs of a visit, its day looked ahead to, and what that day rests on."""

    needs: Needs
    rests: tuple[RestsOn, ...]


def readiness(
    facts: Facts, job: JobPapers, ordered_on: Mapping[str, datetime.date], today: datetime.date, *, asked: bool = False
) -> Readiness:
    """Return from which day a visit can go: when its crate is due and counted, its kit complete, its gates closed.

    ordered_on: the days of orders by id. asked: somebody wants a time for it, so that a part, a gate or a wall of
    which nobody can say when it is settled keeps it off no day, but is told. Else such a visit waits, with its because.
    """
    visit, needs = job.visit, job.needs
    awning = facts.awnings.get(visit.awning_id or "") if visit.kind == "install" else None
    rests: list[RestsOn] = []
    because: list[Because] = []
    on: datetime.date | None = today
    if awning is not None:
        on, rests, because = _kit(facts, job, awning, ordered_on, today)
        if job.kit is None:
            needs = _without_survey(facts, needs, visit, awning)
    elif visit.kind == "install":
        on, because = None, list(needs.because)
    else:
        on, because = needs.ready_on, list(needs.because)
        orders = facts.awaited.get(visit.awning_id or "", ()) if job.work.kit else ()
        rests = [RestsOn(order.what, order.day, order.day is not None) for order in orders]
    if on is None and asked:
        on = today + facts.rules.crate_weeks * _WEEK
    for gate in facts.gates.get(visit.id, ()):
        rests.append(RestsOn(gate.what, gate.due_on, gate.due_on is not None))
        if gate.due_on is not None:
            on = None if on is None else max(on, gate.due_on)
        elif gate.days_before is not None:  # due so long before whatever day it gets: no sooner than that from today
            on = None if on is None else max(on, _days_after(today, gate.days_before))
        elif not asked:
            on = None
            because.append(Because(code="gate", detail=gate_words(gate)))
    on = None if on is None else max(on, visit.from_on or on)
    return Readiness(replace(needs, ready_on=on, because=tuple(because)), tuple(rests))


def unsold(facts: Facts, today: datetime.date) -> tuple[datetime.date, tuple[RestsOn, ...]]:
    """Return the day from which an install that is sold today can go, and what that rests on."""
    due = today + facts.rules.crate_weeks * _WEEK
    words = f"the crate, usually {facts.rules.crate_weeks} weeks after the order"
    return _days_after(due, facts.rules.count_days), (RestsOn(words, due, sure=False),)


def _days_after(day: datetime.date, days: int) -> datetime.date:
    """Return the day so many days later; the last of all days has none (a crate may be noted for the year 9999)."""
    return datetime.date.fromordinal(min(day.toordinal() + days, datetime.date.max.toordinal()))


def _kit(
    facts: Facts, job: JobPapers, awning: tables.Awning, ordered_on: Mapping[str, datetime.date], today: datetime.date
) -> tuple[datetime.date | None, list[RestsOn], list[Because]]:
    state, rules = job.kit_state, facts.rules
    rests: list[RestsOn] = []
    because: list[Because] = []
    if state is None or state.condition == "uncounted":
        due = awning.arrives_on
        if due is None:
            due = max(ordered_on.get(awning.order_id, today) + rules.crate_weeks * _WEEK, today + _WEEK)
            rests.append(RestsOn(f"the crate, no day named, usually {rules.crate_weeks} weeks", due, sure=False))
        elif due > today:
            rests.append(RestsOn("the crate", due))
        else:
            rests.append(RestsOn("the bench count"))
        on: datetime.date | None = _days_after(max(due, today), rules.count_days)
    else:
        on, because = job.needs.ready_on, list(job.needs.because)
        rests += [RestsOn(why.detail.rstrip("."), on if on != today else None, on is not None) for why in because]
    if state is None:
        rests += [RestsOn(why.detail.rstrip("."), None, sure=False) for why in job.needs.because]
        stopped = [why for why in job.needs.because if why.code == "drawing"]
        if stopped:
            return None, rests, stopped
    return on, rests, because


def _without_survey(facts: Facts, needs: Needs, visit: tables.Visit, awning: tables.Awning) -> Needs:
    """Return what an install is likely to need whose wall has not been laid out: by the awning that was sold."""
    lift = hands_and_lift(awning.weight_kg, USUAL_HEIGHT_MM, awning.width_mm)
    motor = ("motor-setup",) if awning.motor is not None else ()
    return replace(
        needs,
        hands=visit.hands or lift.hands,
        skills=tuple(sorted({*needs.skills, *motor})),
        weight_kg=awning.weight_kg,
        box_mm=awning.box_mm,
        boxes=awning.boxes,
        large_awning=awning.width_mm >= facts.rules.large_awning_from_mm,
    )


def rest_words(rests: Sequence[RestsOn]) -> list[str]:
    """Return what a time rests on as a page says it."""
    return [f"{rest.words}{f', due {day_name(rest.day)}' if rest.day else ''}" for rest in rests]
