"""Why promises of the second format are not kept, put to the proof: everything is tried with what is said undone."""

from __future__ import annotations

import random
from collections import Counter

import msgspec
import pytest

from scheduler import build, why_not_kept
from scheduler.engine.reasons.remedies import Remedy
from scheduler.engine.waiting.promised import promise_causes
from scheduler.plan import Plan
from scheduler.price import price
from scheduler.week import Job2, Week2
from tests.brute2 import cheapest
from tests.seeds import some_now
from tests.undo import DEAR, applied, dearer_to_skip, is_planned, kept_to_promise
from tests.weeks2 import STEP, small_week2


def broken(seed: int) -> tuple[Week2, Plan]:
    """Return a random week with the cheapest plan, in which breaking a promise costs little."""
    rng = random.Random(seed)
    week = small_week2(rng, jobs=2, crews=2, days=rng.choice((1, 2)))
    week = msgspec.structs.replace(week, broken_cents=rng.choice((0, 3_000)))
    jobs = tuple(
        msgspec.structs.replace(
            job, booked=job.booked and msgspec.structs.replace(job.booked, hold=rng.choice(("firm", "day")))
        )
        for job in week.jobs
    )
    week = msgspec.structs.replace(week, jobs=jobs)
    plan: Plan = cheapest(week, STEP)
    return week, msgspec.structs.replace(plan, cost=price(week, plan.routes))


def least_kept(week: Week2, job: str) -> int | None:
    """Return the cost of the cheapest plan that keeps the promise to `job`, no other being one; None: none does."""
    others = tuple(j if j.id == job or j.booked is None else msgspec.structs.replace(j, booked=None) for j in week.jobs)
    made = cheapest(msgspec.structs.replace(week, jobs=others, broken_cents=DEAR), STEP)
    return None if job in made.broken else made.cost.total


def proof(seed: int, told: Counter[str]) -> None:
    """Try what is said of every promise that the cheapest plan breaks, and count what it was."""
    week, plan = broken(seed)
    found = promise_causes(build(week), plan)
    assert {week.jobs[j].id for j in found} == set(plan.broken) == set(why_not_kept(week, plan))
    for j, cause in found.items():
        job, remedy = week.jobs[j].id, cause.remedy
        sentence = cause.because[0].detail
        assert job in sentence
        if remedy is None:
            assert least_kept(week, job) is None, sentence
            told["never"] += 1
            continue
        freed = applied(week, job, remedy)
        assert isinstance(freed, Week2)
        least = least_kept(freed, job)
        assert least is not None, sentence
        if remedy.undo:
            assert "it could be kept" in sentence
        else:
            assert remedy.cents is not None, sentence  # the plan is the cheapest
            assert remedy.again_cents is not None, sentence
            assert "everything planned again" in sentence
            _no_dearer_than_told(week, plan, job, remedy)
        told["undone" if remedy.undo else "pushed out" if remedy.out else "dear"] += 1


def _no_dearer_than_told(week: Week2, plan: Plan, job: str, remedy: Remedy) -> None:
    """Hold the job to its promise in the document: the cheapest plan then costs at most what either price says."""
    own = next(j for j in week.jobs if j.id == job)
    assert isinstance(own, Job2)
    assert own.booked is not None
    assert remedy.cents is not None
    assert remedy.again_cents is not None
    assert remedy.again_cents <= remedy.cents
    if own.booked.hold == "firm" and own.pausable and week.rest is not None and week.rest.within:
        return  # no work window holds a start alone where the work may be paused
    held = dearer_to_skip(kept_to_promise(week, job), job, DEAR)
    assert isinstance(held, Week2)
    made = cheapest(held, STEP)
    assert is_planned(made, job)
    assert made.cost.total - plan.cost.total <= remedy.again_cents


@pytest.mark.parametrize("seed", some_now(range(60), (4, 5, 14, 22, 26)))
def test_undoing_what_is_said_keeps_the_promise(seed: int) -> None:
    proof(seed, Counter())
