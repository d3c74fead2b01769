"""Crews from people: who rides with whom, against trying every way of pairing them; and a week that stays valid."""

from __future__ import annotations

import itertools
import json
import random
import time
from collections.abc import Iterator
from typing import Any

import msgspec
import pytest
from msgspec.structs import replace

from scheduler import plan_week
from scheduler.audit import audit
from scheduler.errors import BadInput
from scheduler.roster.document import Roster, is_usual, read_roster
from scheduler.roster.forming import Formed, form_crews, with_pairs
from scheduler.roster.repair import repair
from scheduler.week import Booking, Job, Week, Window, checked
from tests.weeks import small_week

DAYS = 2


def _week(wanted: list[tuple[tuple[str, ...], int, tuple[int, ...]]]) -> Week:
    """A week with one job of ten minutes for each (skills, skip cents, days)."""
    base = small_week(random.Random(3), jobs=1, crews=1, days=DAYS, yards=1)
    plain = replace(
        base.jobs[0], yard=None, minutes=10, hands=2, weight_kg=1, box_mm=0, boxes=0, equipment={}, parts={},
        ready_day=0, due_day=None, booked=None,
    )  # fmt: skip
    jobs: list[Job] = [
        replace(
            plain, id=f"job-{n}", skills=skills, skip_cents=cents, windows=tuple(Window(d, 420, 1000, 0) for d in days)
        )
        for n, (skills, cents, days) in enumerate(wanted)
    ]
    return checked(replace(base, jobs=tuple(jobs), follows=(), helpers=(), equipment=(), stock=(), crews=()))


def _person(
    name: str, *, lead: bool = False, skills: tuple[str, ...] = (), off: tuple[int, ...] = (), **more: Any
) -> Any:
    return {
        "id": name.lower(), "name": name, "yard": "yard-1", "lead": lead, "skills": list(skills), "days_off": list(off),
        "usual_with": [], "day_cents": 3_000, "minute_cents": 50, "overtime_minute_cents": 30,
    } | more  # fmt: skip


def _roster(people: list[Any], split_cents: int = 5_000) -> Roster:
    van = {"payload_kg": 500, "rack_mm": 6_000, "boxes": 3}
    leads = [p["id"] for p in people if p["lead"]]
    return read_roster(json.dumps({
        "format": "roster/1", "people": people, "split_cents": split_cents,
        "vans": [{"id": f"van-{x}", "yard": "yard-1", "lead": x, "vehicle": van, "onboard": {}, "km_cents": 60}
                 for x in leads],
        "shifts": [{"day": d, "start": 450, "end": 930, "overtime": 30} for d in range(DAYS)],
    }))  # fmt: skip


def _four(split_cents: int = 5_000, **off: tuple[int, ...]) -> Roster:
    people = [
        _person("Ana", lead=True, skills=("stucco",), usual_with=["tor"]),
        _person("Bea", lead=True, skills=("roof-mount",), usual_with=["uwe"]),
        _person("Tor", skills=("motor-setup",)),
        _person("Uwe", skills=("masonry",)),
    ]
    return _roster([p | {"days_off": list(off.get(p["id"], ()))} for p in people], split_cents)


def _rides(formed: Formed) -> set[tuple[int, str, str]]:
    return {(p.day, p.lead, p.partner) for p in formed.pairings}


def test_usual_partners_ride_together_where_nothing_speaks_against_it() -> None:
    formed = form_crews(_four(), _week([((), 50_000, (0, 1))]))
    assert _rides(formed) == {(d, a, b) for d in range(DAYS) for a, b in (("ana", "tor"), ("bea", "uwe"))}
    assert [c.id for c in formed.week.crews] == ["ana", "bea"]
    assert formed.week.crews[0].skills == ("stucco", "motor-setup")
    assert formed.week.crews[0].hands == 2
    assert formed.week.crews[0].minute_cents == 100
    assert all(p.usual and p.because.endswith("they usually do.") for p in formed.pairings)


def test_a_pair_is_split_on_the_day_when_it_pays_and_on_no_other() -> None:
    week = _week([(("stucco", "masonry"), 50_000, (1,))])
    formed = form_crews(_four(split_cents=5_000), week)
    assert _rides(formed) == {(0, "ana", "tor"), (0, "bea", "uwe"), (1, "ana", "uwe"), (1, "bea", "tor")}
    (told,) = [p for p in formed.pairings if p.partner == "uwe" and p.day == 1]
    assert told.because == "Uwe rides with Ana on Tue Apr 6: masonry is wanted at 1 job."
    assert told.crew == "ana+uwe"
    assert [(c.id, [s.day for s in c.shifts]) for c in formed.week.crews] == [
        ("ana", [0]), ("ana+uwe", [1]), ("bea", [0]), ("bea+tor", [1]),
    ]  # fmt: skip
    dear = form_crews(_four(split_cents=30_000), week)  # twice 300 for a job of 500
    assert all(p.usual for p in dear.pairings)


def test_one_off_is_replaced_and_said_to_be_off() -> None:
    formed = form_crews(_four(tor=(0,), bea=(0,)), _week([((), 50_000, (0, 1))]))
    assert _rides(formed) == {(0, "ana", "uwe"), (1, "ana", "tor"), (1, "bea", "uwe")}
    (told,) = [p for p in formed.pairings if p.day == 0]
    assert told.because.startswith("Uwe rides with Ana on Mon Apr 5 (Tor off)")
    alone = form_crews(_four(tor=(0,), uwe=(0,)), _week([((), 50_000, (0, 1))]))
    assert {(p.lead, p.partner) for p in alone.pairings if p.day == 0} in ({("ana", "bea")}, {("bea", "ana")})


def test_those_without_a_pair_are_named() -> None:
    formed = form_crews(_four(bea=(0,)), _week([]))
    assert formed.unpaired == ((0, "uwe"),)


def test_a_booking_goes_to_the_entry_of_its_lead_that_day() -> None:
    week = _week([(("stucco", "masonry"), 50_000, (1,)), ((), 20_000, (0, 1))])
    booked = Booking("bea", 1, 600, "firm", 0, 0, 0)
    base = form_crews(_four(), week).week  # only to have crews that a booking can name
    named = checked(replace(base, jobs=(week.jobs[0], replace(week.jobs[1], booked=booked))))
    formed = form_crews(_four(), named)
    kept = formed.week.jobs[1].booked
    assert kept is not None
    assert kept.crew == "bea+tor"
    again = form_crews(_four(), formed.week)
    assert again == formed
    plan = plan_week(formed.week, seconds=None, clock=time.monotonic)
    assert audit(formed.week, plan).ok
    assert plan.broken == ()
    assert plan.skipped == ()


def _ways(roster: Roster, day: int) -> Iterator[tuple[tuple[str, str], ...]]:
    """Yield every set of pairs that can ride on a day."""
    there = [p for p in roster.people if day not in p.days_off]
    pairs = [(a.id, b.id) for a in there for b in there if a.lead and a != b]
    for n in range(len(there) // 2 + 1):
        for chosen in itertools.combinations(pairs, n):
            who = [x for pair in chosen for x in pair]
            if len(who) == len(set(who)):
                yield chosen


def _value(roster: Roster, week: Week, ways: tuple[tuple[tuple[str, str], ...], ...]) -> int:
    """Skip cents of all jobs that some pair of some day has the skills for (hours are plenty), and the usual pairs."""
    people = {p.id: p for p in roster.people}
    total = 0
    for job in week.jobs:
        days = {w.day for w in job.windows}
        total += job.skip_cents * any(
            set(job.skills) <= {*people[a].skills, *people[b].skills} for d in days for a, b in ways[d]
        )
    return total + roster.split_cents * sum(is_usual(people[a], people[b]) for way in ways for a, b in way)


@pytest.mark.parametrize("seed", range(10))
def test_no_other_pairing_is_worth_more(seed: int) -> None:
    rng = random.Random(seed)
    skills = ("masonry", "stucco", "roof-mount", "motor-setup")
    names = ["Ana", "Bea", "Tor", "Uwe", "Cyd"]
    people = [
        _person(n, lead=k < 2 or rng.random() < 0.3, skills=tuple(s for s in skills if rng.random() < 0.4),
                off=tuple(d for d in range(DAYS) if rng.random() < 0.15),
                usual_with=[rng.choice([m.lower() for m in names if m != n])])
        for k, n in enumerate(names)
    ]  # fmt: skip
    roster = _roster(people, split_cents=10_000)
    wanted = [
        (tuple(s for s in skills if rng.random() < 0.4), 10_000 * rng.randint(1, 6) + rng.randint(1, 999) * 7,
         tuple(d for d in range(DAYS) if rng.random() < 0.7))
        for _ in range(6)
    ]  # fmt: skip
    week = _week(wanted)
    formed = form_crews(roster, week)
    mine = tuple(tuple((p.lead, p.partner) for p in formed.pairings if p.day == d) for d in range(DAYS))
    best = max(_value(roster, week, ways) for ways in itertools.product(*(list(_ways(roster, d)) for d in range(DAYS))))
    trifles = 200 * DAYS  # what the choice gives for going out at all and for leads left free to lead
    assert _value(roster, week, mine) >= best - trifles


def test_the_document_is_read_strictly() -> None:
    data = json.loads(msgspec.json.encode(_four()))
    assert read_roster(json.dumps(data)) == _four()

    def refused(change: Any) -> str:
        spoilt = json.loads(json.dumps(data))
        change(spoilt)
        with pytest.raises(BadInput) as caught:
            read_roster(json.dumps(spoilt))
        return str(caught.value)

    assert refused(lambda r: r.update(note="x")).startswith("note: is not a key")
    assert refused(lambda r: r["people"][0].pop("lead")).startswith("people[0].lead: is missing")
    assert refused(lambda r: r["people"][1].update(id="ana")).startswith("people[1].id: ")
    assert refused(lambda r: r["people"][1].update(id="a+b")).startswith("people[1].id: ")
    assert refused(lambda r: r["people"][0].update(usual_with=["zoe"])).startswith("people[0].usual_with[0]: ")
    assert refused(lambda r: r["vans"][0].update(lead="tor")).startswith("vans[0].lead: ")
    assert refused(lambda r: r["vans"][1].update(lead="ana")).startswith("vans[1].lead: ")
    assert refused(lambda r: r["shifts"][1].update(day=0)).startswith("shifts[1].day: ")
    assert refused(lambda r: r["shifts"][1].update(end=450)).startswith("shifts[1].end: ")


def test_yards_days_and_booked_leads_must_be_in_both_documents() -> None:
    week = _week([((), 20_000, (0,))])
    with pytest.raises(BadInput, match=r"people\[0\]\.yard"):
        form_crews(replace(_four(), people=(replace(_four().people[0], yard="yard-9"),)), week)
    with pytest.raises(BadInput, match=r"shifts\[0\]\.day"):
        form_crews(replace(_four(), shifts=(replace(_four().shifts[0], day=5),)), week)
    stranger = replace(week.jobs[0], booked=Booking("zoe", 0, 600, "day", 0, 0, 0))
    with pytest.raises(BadInput, match=r"jobs\[0\]\.booked\.crew"):
        form_crews(_four(), replace(week, jobs=(stranger,)))


def test_partners_are_exchanged_where_the_plan_saves_more_than_the_split() -> None:
    """Both jobs want two skills that no usual pair has, far beyond what the price of a split would be worth."""
    week = _week([(("stucco", "masonry"), 50_000, (1,))])
    usual = [(d, a, b) for d in range(DAYS) for a, b in (("ana", "tor"), ("bea", "uwe"))]
    roster = _four(split_cents=5_000)
    found = repair(roster, week, with_pairs(roster, week, usual), seconds=None, clock=time.monotonic)
    assert found.finished
    assert _rides(found.formed) == {(0, "ana", "tor"), (0, "bea", "uwe"), (1, "ana", "uwe"), (1, "bea", "tor")}
    assert found.plan.skipped == ()
    assert audit(found.formed.week, found.plan).ok
    assert len(found.exchanges) == 1
    assert found.exchanges[0].startswith("Ana and Bea exchange partners on Tue Apr 6: the plan costs ")
    dear = _four(split_cents=30_000)
    assert repair(dear, week, with_pairs(dear, week, usual), seconds=None, clock=time.monotonic).exchanges == ()


def test_an_entry_named_after_a_partner_is_of_that_partner() -> None:
    """Tor and Uwe bring the same to Ana, each on another day than her usual partner."""
    people = [
        _person("Ana", lead=True, skills=("stucco",), usual_with=["cyd"]),
        _person("Cyd", skills=("masonry",), off=(0, 1)),
        _person("Tor", skills=("motor-setup",), off=(1, 2)),
        _person("Uwe", skills=("motor-setup",), off=(0, 2)),
    ]
    base = _week([])
    week = checked(replace(base, days=5))
    shifts = tuple(replace(_roster(people).shifts[0], day=d) for d in range(5))
    formed = form_crews(replace(_roster(people), shifts=shifts), week)
    assert {(p.day, p.crew, p.partner) for p in formed.pairings} == {
        (0, "ana+tor", "tor"), (1, "ana+uwe", "uwe"), (2, "ana", "cyd"), (3, "ana", "cyd"), (4, "ana", "cyd"),
    }  # fmt: skip
