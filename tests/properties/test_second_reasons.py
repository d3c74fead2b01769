"""Reasons of the second format put to the proof: what each names is undone in the document, and everything is tried."""

from __future__ import annotations

import math
import random
from collections import Counter
from collections.abc import Iterator

import msgspec
import pytest

from scheduler import build
from scheduler.engine.reasons.remedies import LongerDay, NoRest, OpenHours, Remedy
from scheduler.engine.reasons.skipped import CODES, Cause
from scheduler.engine.waiting.second import second_causes
from scheduler.engine.waiting.smallest import LEAST
from scheduler.plan import Plan
from scheduler.price import price
from scheduler.week import Week2
from tests.brute2 import cheapest
from tests.seeds import some_now
from tests.undo import applied, dearer_to_skip, is_planned
from tests.weeks2 import STEP, small_week2, wide_week2

FINEST = 10  # minutes
SECOND = {"no_second_crew", "second_load", "rest_within", "over_weekly"}


def told(seed: int, *, wide: bool = False, jobs: int = 2) -> Iterator[tuple[Week2, Plan, str, Cause]]:
    """Every cause of a random week's cheapest plan, with its job; wide: of a horizon of two weeks."""
    rng = random.Random(seed)
    week = wide_week2(rng) if wide else small_week2(rng, jobs=jobs, crews=2, days=rng.choice((1, 2)))
    plan: Plan = cheapest(week, STEP)
    plan = msgspec.structs.replace(plan, cost=price(week, plan.routes))
    found = second_causes(build(week), plan)
    assert {week.jobs[j].id for j in found} == {s.job for s in plan.skipped}
    for j, causes in found.items():
        assert causes
        for cause in causes:
            yield week, plan, week.jobs[j].id, cause


def proofs(week: Week2, job: str, remedy: Remedy) -> Iterator[str]:
    """Undo all that a remedy names, pay the price that it names, and try everything: "goes" or "false".

    Where the sentence names jobs that would go first, all of them must go where the price is not paid: "first" or
    "false".
    """
    step = math.gcd(STEP, *(undo.start for undo in remedy.undo if isinstance(undo, OpenHours)))
    if step < FINEST:
        return  # trying everything at every minute takes too long
    freed = applied(week, job, remedy)
    assert isinstance(freed, Week2)
    for cents in {remedy.cents, remedy.again_cents} - {None} or {None}:
        paid = freed if cents is None else dearer_to_skip(freed, job, cents + 1)
        assert isinstance(paid, Week2)
        made = cheapest(paid, step)
        yield "goes" if is_planned(made, job) else "false"
    if remedy.rivals and not remedy.served:
        made = cheapest(freed, step)
        first = all(is_planned(made, rival) for rival in remedy.rivals) and not is_planned(made, job)
        yield "first" if first else "false"


# Each has a price with everything planned again that is far below that with the rest as it stands, unless it is wrong.
AGAIN = (51, 78)


@pytest.mark.parametrize("seed", [*AGAIN, *some_now([n for n in range(120) if n not in AGAIN], range(10, 100, 20))])
@pytest.mark.usefixtures("compiled")
def test_undoing_all_that_a_reason_names_frees_the_job(seed: int) -> None:
    _hold(told(seed))


@pytest.mark.parametrize("seed", some_now(range(120), (0, 10)))
@pytest.mark.usefixtures("compiled")
def test_they_hold_over_a_horizon_of_weeks(seed: int) -> None:
    _hold(told(seed, wide=True))


@pytest.mark.long
@pytest.mark.parametrize("first", range(0, 300, 10))
@pytest.mark.usefixtures("compiled")
def test_of_three_hundred_weeks_of_three_jobs_every_reason_holds(first: int) -> None:
    """Enough jobs that two may have to go for the third; a part of the weeks: -k "three_hundred and [40]"."""
    for seed in range(first, first + 10):
        _hold(told(10_000 + seed, jobs=3))


@pytest.mark.usefixtures("compiled")
def test_a_rival_that_another_visit_has_to_move_for_is_found() -> None:
    """Of this week a van with room for two boxes takes another job, after its first one has moved to that crew."""
    _hold(told(10_042, jobs=3))
    causes = [cause for _, _, job, cause in told(10_042, jobs=3) if job == "job-3"]
    assert [cause.remedy.rivals for cause in causes if cause.remedy] == [("job-2",)]


@pytest.mark.usefixtures("compiled")
def test_two_rules_at_once_are_named_where_none_alone_is_enough() -> None:
    """Of this week a job waits that its hours and a rest that must begin at 10:30, amid a lift, keep out together.

    Its crew could also begin sooner instead of it later: either set of two is enough, and the note comes once.
    """
    by_hours, by_day = causes = list(told(22))
    for (week, _, job, cause), kind in zip(causes, (OpenHours, LongerDay), strict=True):
        assert cause.remedy is not None
        assert {type(undo) for undo in cause.remedy.undo} == {kind, NoRest}
        assert set(proofs(week, job, cause.remedy)) == {"goes"}
    told_of = by_hours[3].because
    assert "; with a work window Mon Apr 5 9:00–10:00 and no rest due that day it could go" in told_of[0].detail
    assert "60 minutes of work beside the lift of job-2" in told_of[1].detail
    assert not told_of[-1].detail.endswith(LEAST)
    assert by_day[3].because[-1].detail.endswith(LEAST)


def _hold(causes: Iterator[tuple[Week2, Plan, str, Cause]]) -> None:
    for week, _, job, cause in causes:
        codes = [because.code for because in cause.because]
        assert set(codes) <= set(CODES)
        assert "not_tried" not in codes  # nothing is cheaper than the cheapest plan
        assert all(because.detail.endswith(".") for because in cause.because)
        if cause.remedy is None:
            assert codes == ["no_crew"] or "Nothing that was tried is enough" in cause.because[0].detail
        else:
            assert "false" not in set(proofs(week, job, cause.remedy)), cause


@pytest.mark.long
@pytest.mark.usefixtures("compiled")
def test_a_rival_is_priced_at_the_minute_at_which_it_costs_least() -> None:
    """Of this week the one that would go first costs 19.80 less at 10:30 than where the search has it."""
    rivals = [(w, j, c.remedy) for w, _, j, c in told(10_256, jobs=3) if c.remedy is not None and c.remedy.rivals]
    assert rivals
    for week, job, remedy in rivals:
        assert set(proofs(week, job, remedy)) == {"goes", "first"}


@pytest.mark.long
def test_nearly_every_reason_has_a_remedy_and_those_of_the_second_format_are_among_them() -> None:
    count, without = Counter[str](), 0
    for seed in range(120, 300):
        for *_, cause in told(seed):
            count.update(because.code for because in cause.because)
            without += cause.remedy is None
    assert set(count) >= SECOND, count
    assert without <= sum(count.values()) / 20, count
