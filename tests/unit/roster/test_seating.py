"""Who rides with whom each half day: against trying every way, the rules that always hold, and the words for it."""

from __future__ import annotations

import datetime
import itertools
import random
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import replace

import pytest

from scheduler.roster.apart import apart_cents
from scheduler.roster.seating import Seated, seat
from scheduler.roster.seats import CrewWork, Rider, Rides, RosterCase, RosterPrices, SeatedCrew
from scheduler.roster.told import reasons
from scheduler.roster.verdict import verdict

MONDAY = datetime.date(2027, 4, 12)
HALF_MIN = 240


def _crew(crew_id: str, *usual: str, days: int = 1, first: int = 0) -> SeatedCrew:
    minutes = {(d, h): HALF_MIN for d in range(first, first + days) for h in range(2)}
    return SeatedCrew(crew_id, crew_id.title(), "north", usual, minutes)


def _rider(name: str, *, lead: bool = False, skills: str = "", away: str = "", **more: object) -> Rider:
    """`away`: half days such as "0m 1a", both with the reason "sick"."""
    gone = {(int(one[0]), "ma".index(one[1])): "sick" for one in away.split()}
    return Rider(name.lower(), name, "north", lead, skills=frozenset(skills.split()), away=gone, **more)  # type: ignore[arg-type]


def _work(work_id: str, crew: str, day: int, skills: str = "", cents: int = 50_000, halves: str = "ma") -> CrewWork:
    spans = frozenset("ma".index(half) for half in halves)
    return CrewWork(work_id, work_id, crew, day, spans, 100, frozenset(skills.split()), cents)


def _case(
    riders: list[Rider], crews: list[SeatedCrew], works: list[CrewWork] | None = None, **more: object
) -> RosterCase:
    return RosterCase(MONDAY, 7, tuple(riders), tuple(crews), tuple(works or ()), **more)  # type: ignore[arg-type]


ANA = _rider("Ana", lead=True, skills="masonry", away="0m 0a")
TOM, LEE, KIM = _rider("Tom"), _rider("Lee", lead=True), _rider("Kim", skills="masonry")


def test_who_is_left_rides_with_a_lead_who_is_left_alone() -> None:
    lee, kim = _rider("Lee", lead=True, skills="masonry"), _rider("Kim", away="0m 0a")
    case = _case([ANA, TOM, lee, kim], [_crew("river", "ana", "tom"), _crew("hill", "lee", "kim")],
                 [_work("J1", "river", 0, "masonry")])  # fmt: skip
    found = seat(case, seconds=None)
    assert found.proven
    # one crew goes out; Tom or Lee changes vans, and J1 is done either way: in its own crew's van it costs no more
    assert found.rides == {(0, half, "river"): ("lee", "tom") for half in range(2)}
    assert reasons(case, found)[0, 0, "river"] == (
        "Ana is away (sick): Tom rides with Lee, who leads; it keeps J1 (masonry)."
    )
    assert reasons(case, found)[0, 1, "hill"] == (
        "Hill is in the yard on Mon Apr 12, afternoon: Lee rides with River, Kim is away (sick), "
        "and nobody else who leads is free."
    )


def test_nobody_is_split_for_less_than_it_pays() -> None:
    """Kim could bring masonry into River: two change vans for two half days each, 4 × 1500."""
    ana = _rider("Ana", lead=True)
    crews = [_crew("river", "ana", "tom"), _crew("hill", "lee", "kim")]
    for cents, split in ((5_900, False), (6_100, True)):
        # no crew of the yard has the skill otherwise; J2 holds Lee and Kim's van to its own day
        case = _case([ana, TOM, LEE, KIM], crews, [_work("J1", "river", 0, "masonry", cents)],
                     prices=RosterPrices(recrew_cents=10_000))  # fmt: skip
        assert (seat(case, seconds=None).rides != case.usual()) is split


def test_a_learner_rides_with_an_experienced_lead_only() -> None:
    new = _rider("Lee", lead=True, experienced=False)
    pupil = _rider("Kim", learner=True, skills="masonry")
    case = _case([new, pupil], [_crew("hill", "lee", "kim")], [_work("J1", "hill", 0)])
    found = seat(case, seconds=None)
    assert found.rides == {}
    assert "a learner with an experienced lead" in reasons(case, found)[0, 0, "hill"]
    assert verdict(case, case.usual()).broken[0] == (
        "Kim is learning, and on Mon Apr 12, morning nobody in Hill is an experienced lead."
    )


def test_weekend_turns_go_round() -> None:
    riders = [_rider(n, lead=True) for n in ("Ana", "Lee")] + [_rider(n) for n in ("Tom", "Kim")]
    weekend = SeatedCrew("w", "Weekend", "north", ("ana", "tom"), {(d, h): 240 for d in (5, 6) for h in range(2)})
    case = _case(riders, [weekend], prices=RosterPrices(move_cents=0))
    worked = {who for pair in seat(case, seconds=None).rides.values() for who in pair}
    assert worked == {"ana", "lee", "tom", "kim"}
    # without the others the usual two work both days all the same
    alone = seat(_case([riders[0], riders[2]], [weekend]), seconds=None)
    assert len(alone.rides) == 4


def test_weekly_hours_hold() -> None:
    tom = _rider("Tom", weekly_min=3 * HALF_MIN)
    case = _case([LEE, tom], [_crew("river", "lee", "tom", days=2)])
    assert len(seat(case, seconds=None).rides) == 3
    assert verdict(case, case.usual()).broken == ("Tom works 16 hours in the week of Mon Apr 12, and 12 is the most.",)


def test_what_is_set_by_hand_stands() -> None:
    ana = _rider("Ana", lead=True)
    case = _case([ana, TOM, LEE, KIM], [_crew("river", "ana", "tom"), _crew("hill", "lee", "kim")],
                 fixed={(0, 0, "kim"): "river"})  # fmt: skip
    found = seat(case, seconds=None)
    assert found.rides[0, 0, "river"] == ("ana", "kim")
    assert found.rides[0, 1, "river"] == ("ana", "kim")  # two who change vans at noon would cost more
    assert "put there by hand" in reasons(case, found)[0, 0, "river"]


@pytest.mark.parametrize(
    ("rides", "sentence"),
    [
        ({(0, 0, "river"): ("ana", "tom")}, "Ana is away (sick), and rides with River on Mon Apr 12, morning."),
        ({(0, 0, "river"): ("lee", "tom"), (0, 0, "hill"): ("lee", "kim")},
         "Lee rides with River and Hill at once on Mon Apr 12, morning."),
        ({(0, 0, "river"): ("lee", "tom", "kim")},
         "3 ride with River on Mon Apr 12, morning (Lee, Tom, Kim), and it goes out with 2 people."),
        ({(3, 0, "river"): ("lee", "tom")}, "River does not go out on Thu Apr 15, morning: it has no hours then."),
    ],
)  # fmt: skip
def test_the_verdict_names_a_broken_rule(rides: Rides, sentence: str) -> None:
    case = _case([ANA, TOM, LEE, KIM], [_crew("river", "ana", "tom"), _crew("hill", "lee", "kim")])
    assert verdict(case, rides).broken == (sentence,)


def test_the_verdict_says_what_stays_in_and_what_is_left_undone() -> None:
    case = _case([ANA, TOM, LEE, KIM], [_crew("river", "ana", "tom"), _crew("hill", "lee", "kim")],
                 [_work("J1", "river", 0, halves="m"), _work("J2", "hill", 0, "masonry", halves="a")])  # fmt: skip
    judged = verdict(case, {(0, 0, "river"): ("tom", "kim"), (0, 1, "hill"): ("lee", "tom")})
    assert judged.broken == ()
    assert judged.stays_in[0, 0, "river"] == "neither Tom nor Kim leads"
    assert judged.undone == {
        "J1": "J1: River is in the yard on Mon Apr 12, morning: neither Tom nor Kim leads.",
        "J2": "J2 needs masonry, and neither Lee nor Tom can do that on Mon Apr 12.",
    }


# The same rules and prices in other words, for trying every roster.


def _ways(case: RosterCase, day: int, half: int) -> Iterator[Rides]:
    """Yield every way to send the crews out for a half day."""
    crews = [key for key in case.seats() if key[:2] == (day, half)]
    there = [r for r in case.riders if (day, half) not in r.away]

    def place(rest: list[tuple[int, int, str]], free: list[Rider]) -> Iterator[Rides]:
        if not rest:
            yield {}
            return
        yield from place(rest[1:], free)
        for pair in itertools.combinations(free, 2):
            leads = [r for r in pair if r.lead and not r.learner]
            if not leads or (any(r.learner for r in pair) and not any(r.experienced for r in leads)):
                continue
            for others in place(rest[1:], [r for r in free if r not in pair]):
                yield {rest[0]: tuple(r.id for r in pair)} | others

    return place(crews, there)


def _worth(case: RosterCase, rides: Rides) -> int | None:
    """Return what a roster of one day is worth, None where somebody works too long."""
    prices, cents = case.prices, _open(case, rides)
    vans: dict[str, dict[int, str]] = defaultdict(dict)
    for (_, half, crew), pair in rides.items():
        for who in pair:
            vans[who][half] = crew
    for who, by_half in vans.items():
        rider, home = case.rider(who), case.home(who)
        cents -= sum(prices.move_cents for crew in by_half.values() if home is not None and crew != home.id)
        if 0 in by_half and by_half.get(1) != by_half[0] and (0, 1) not in rider.away:
            cents -= prices.midday_cents
        if rider.weekly_min is not None and len(by_half) * HALF_MIN > rider.weekly_min:
            return None
    best = 0
    for doers in itertools.product([None, *(c.id for c in case.crews)], repeat=len(case.works)):
        room = {c.id: HALF_MIN * sum((0, h, c.id) in rides for h in range(2)) for c in case.crews}
        won = 0
        for work, doer in zip(case.works, doers, strict=True):
            if doer is None:
                continue
            pairs = [rides[0, h, doer] for h in range(2) if (0, h, doer) in rides]
            brought = [{s for w in p if not case.rider(w).learner for s in case.rider(w).skills} for p in pairs]
            room[doer] -= work.minutes
            if any((0, h, doer) not in rides for h in work.halves) or not all(work.skills <= s for s in brought):
                break
            won += work.cents - (prices.recrew_cents if doer != work.crew else 0)
        else:
            if min(room.values()) >= 0:
                best = max(best, won)
    return cents + best


def _open(case: RosterCase, rides: Rides) -> int:
    return case.prices.open_cents * len(rides)


def _random_case(chance: random.Random) -> RosterCase:
    names = ["Ana", "Tom", "Lee", "Kim", "Max"]
    riders = []
    for n, name in enumerate(names):
        away = " ".join(f"0{half}" for half in "ma" if chance.random() < 0.25)
        skills = " ".join(skill for skill in ("masonry", "roof") if chance.random() < 0.4)
        lead, learner = n % 2 == 0 and chance.random() < 0.9, n % 2 == 1 and chance.random() < 0.3
        most = chance.choice([None, None, HALF_MIN])
        experienced = chance.random() < 0.6
        riders.append(_rider(name, lead=lead, skills=skills, away=away, learner=learner, experienced=experienced,
                             weekly_min=most))  # fmt: skip
    works = [
        _work(f"J{n}", chance.choice(["river", "hill"]), 0, chance.choice(["", "masonry", "roof"]),
              chance.choice([3_000, 20_000]), chance.choice(["m", "a", "ma"]))
        for n in range(3)
    ]  # fmt: skip
    return _case(riders, [_crew("river", "ana", "tom"), _crew("hill", "lee", "kim")], works)


@pytest.mark.parametrize("seed", range(12))
def test_no_way_is_worth_more(seed: int) -> None:
    case = _random_case(random.Random(seed))
    found = seat(case, seconds=None)
    ways = itertools.product(list(_ways(case, 0, 0)), list(_ways(case, 0, 1)))
    best = max(worth for m, a in ways if (worth := _worth(case, m | a)) is not None)
    assert found.proven
    assert found.cents == best == _worth(case, found.rides)
    _keeps_every_rule(case, found)
    assert found.cents == _work_done(case, found) + _open(case, found.rides) - apart_cents(case, found.rides)


@pytest.mark.parametrize("seed", range(4))
def test_days_solved_apart_are_worth_what_they_are_worth_together(seed: int) -> None:
    """A limit of hours that nobody comes near binds all days of a yard into one model."""
    chance = random.Random(seed)
    days = range(4, 8)  # Friday to Monday
    riders = [
        _rider(name, lead=n % 2 == 0, skills="masonry" if chance.random() < 0.5 else "",
               away=" ".join(f"{day}{half}" for day in days for half in "ma" if chance.random() < 0.2))
        for n, name in enumerate(["Ana", "Tom", "Lee", "Kim", "Max"])
    ]  # fmt: skip
    crews = [_crew("river", "ana", "tom", days=4, first=4), _crew("hill", "lee", "kim", days=4, first=4)]
    works = [_work(f"J{day}", "river", day, "masonry") for day in days]
    apart = replace(_case(riders, crews, works), days=14)
    together = replace(apart, riders=tuple(replace(rider, weekly_min=100_000) for rider in riders))
    found = seat(apart, seconds=None)
    assert found.proven
    assert found.cents == seat(together, seconds=None).cents
    _keeps_every_rule(apart, found)
    assert found.cents == _work_done(apart, found) + _open(apart, found.rides) - apart_cents(apart, found.rides)


def _work_done(case: RosterCase, found: Seated) -> int:
    works = {work.id: work for work in case.works}
    return sum(
        works[name].cents - (case.prices.recrew_cents if crew != works[name].crew else 0)
        for name, crew in found.done.items()
    )


def _keeps_every_rule(case: RosterCase, found: Seated) -> None:
    judged = verdict(case, found.rides)
    assert judged.broken == ()
    assert set(judged.stays_in).isdisjoint(found.rides)
    assert set(reasons(case, found)) == {
        key for key in case.seats() if set(found.rides.get(key, ())) != set(case.crew(key[2]).usual)
    }
    own = {work for work, crew in found.done.items() if crew == next(w.crew for w in case.works if w.id == work)}
    assert own.isdisjoint(judged.undone)
