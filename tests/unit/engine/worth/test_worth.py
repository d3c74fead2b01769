"""What would pay: every figure against the cheapest plans, found by trying everything, before and after the change."""

from __future__ import annotations

import random
import time

import pytest
from msgspec.structs import replace

from scheduler import build, worth
from scheduler.engine.master.relaxation import Relaxation
from scheduler.engine.worth.carried import Carried
from scheduler.engine.worth.changes import changes
from scheduler.engine.worth.worth import _bound
from scheduler.week import Equipment, Week, checked
from tests.brute import cheapest
from tests.weeks import small_week


def _week(seed: int) -> Week:
    return small_week(random.Random(seed), jobs=3, crews=1 + seed % 2, days=2)


def _savings(week: Week) -> dict[str, int]:
    """What each change saves, by its words, from two plans found by trying everything."""
    before = cheapest(week).cost.total
    return {c.words: before - cheapest(c.week).cost.total for c in changes(week)}


@pytest.mark.parametrize("seed", range(6))
def test_every_figure_is_what_trying_everything_gives(seed: int) -> None:
    week = _week(seed)
    saved = _savings(week)
    told = worth(week, seconds=None, clock=time.monotonic, least_cents=1)
    found = {}
    for w in told:
        words = max((words for words in saved if w.sentence.startswith(words)), key=len)
        assert w.exact, w
        assert w.confirmed
        found[words] = w.at_least_cents
    assert found == {words: saved[words] for words in found}
    # What is left out saves nothing, or no more than a part of it that is told.
    by_key = {c.key: c for c in changes(week)}
    for change in by_key.values():
        if change.words not in found and saved[change.words]:
            parts = [c for c in by_key.values() if c.part_of == change.key]
            assert any(saved[c.words] == saved[change.words] for c in parts), change.words


@pytest.mark.parametrize("seed", range(20, 26))
def test_carried_prices_give_a_bound_on_every_changed_week(seed: int) -> None:
    week = _week(seed)
    relax = Relaxation(build(week), 0, lambda: None, None)
    if relax.days:
        relax.run()
    else:
        relax.solve_lp()
    carried = Carried(relax)
    for change in changes(week):
        yard = [n for n, y in enumerate(week.yards) if y.id == change.yard]
        restocked = frozenset(yard if change.kind == "stock" else [])
        least = cheapest(change.week).cost.total + 0.01
        assert carried.bound(build(change.week), restocked) <= least, change.words
        assert _bound(week, change, carried) <= least, change.words
        checked(change.week)


@pytest.mark.parametrize("seed", range(40, 46))
def test_no_change_makes_a_week_dearer(seed: int) -> None:
    assert min(_savings(_week(seed)).values()) >= 0


def _two_jobs_one_ladder() -> Week:
    """Two crews and two jobs of one day, both of which need the yard's only ladder."""
    for seed in range(1000):
        week = small_week(random.Random(seed), jobs=2, crews=2, days=1, yards=1)
        jobs = tuple(replace(j, equipment={"ladder-24": 1}, parts={}, booked=None) for j in week.jobs)
        crews = tuple(replace(c, onboard={}) for c in week.crews)
        ladder = (Equipment("ladder-24", week.yards[0].id, (1,)),)
        week = replace(week, jobs=jobs, crews=crews, equipment=ladder, follows=(), stock=())
        second = replace(week, equipment=(replace(ladder[0], count=(2,)),))
        if len(cheapest(week).routes) == 1 and len(cheapest(second).routes) == 2 and cheapest(week).skipped:
            return week
    raise AssertionError("no such week was drawn")


def test_a_second_ladder_is_told_with_the_job_that_could_go() -> None:
    week = _two_jobs_one_ladder()
    told = [w for w in worth(week, seconds=None, clock=time.monotonic) if w.kind == "equipment"]
    assert len(told) == 1
    assert told[0].item == "ladder-24"
    assert told[0].planned
    assert told[0].sentence.startswith("One more ladder-24 at yard-1 on Mon Apr 5 would save ")
    assert told[0].sentence.endswith(f"{told[0].planned[0]} could be planned too.")


def test_without_time_nothing_is_claimed() -> None:
    told = worth(_two_jobs_one_ladder(), seconds=0.0, clock=time.monotonic)
    assert all(w.at_least_cents == 0 and not w.exact for w in told)


def test_a_promise_that_cannot_be_kept_costs_its_price() -> None:
    for seed in range(200):
        week = small_week(random.Random(seed), jobs=2, crews=1, days=1)
        broken = cheapest(week).broken
        if broken and week.broken_cents >= 100:
            break
    told = {w.job: w for w in worth(week, seconds=None, clock=time.monotonic) if w.kind == "promise"}
    assert told[broken[0]].at_least_cents >= week.broken_cents
    assert " booking of " in told[broken[0]].sentence
    assert " costs the week " in told[broken[0]].sentence
