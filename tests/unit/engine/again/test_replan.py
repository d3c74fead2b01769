"""Re-planning after an event: what stays, what moves, and the cause told, on a week small enough to know by heart.

One crew of two, one yard; every drive takes 10 minutes, every visit 100. Two visits fit before noon and two after.
"""

from __future__ import annotations

import datetime
import time
from typing import Any

import pytest
from msgspec.structs import replace

from scheduler import (
    Fixed,
    Move,
    Replanned,
    Spot,
    Told,
    as_it_stands,
    begun_by,
    move_sentence,
    plan_week,
    replan,
    told_prices,
    what_changed,
)
from scheduler.audit import audit
from scheduler.errors import BadInput
from scheduler.plan import Plan
from scheduler.price import outings, visits
from scheduler.week import (
    Booking,
    Crew,
    Equipment,
    Job,
    Place,
    Shift,
    Stock,
    Travel,
    Vehicle,
    Week,
    Window,
    Yard,
    checked,
)

MORNING, AFTERNOON = (480, 720), (720, 960)


def job(name: str, *spans: tuple[int, tuple[int, int]], skip: int = 50_000, **more: Any) -> Job:
    """A visit of 100 minutes in the given (day, (start, end))."""
    windows = tuple(Window(d, a, b, 0) for d, (a, b) in spans)
    plain = Job(
        id=name, place=name, yard=None, minutes=100, hands=2, weight_kg=10, box_mm=0, boxes=0, skills=(), equipment={},
        parts={}, ready_day=0, windows=windows, due_day=None, late_cents=0, skip_cents=skip, booked=None,
    )  # fmt: skip
    return replace(plain, **more)


def crew(name: str, days: int = 2) -> Crew:
    shifts = tuple(Shift(d, 450, 990, 0) for d in range(days))
    return Crew(name, "yard", 2, (), shifts, Vehicle(500, 6_000, 4), {}, 1_000, 10, 20, 50)


def week_of(*jobs: Job, crews: tuple[str, ...] = ("Ash",)) -> Week:
    places = ("yard", *(j.place for j in jobs))
    size = len(places)
    minutes = tuple(tuple(0 if a == b else 10 for b in range(size)) for a in range(size))
    metres = tuple(tuple(0 if a == b else 5_000 for b in range(size)) for a in range(size))
    return checked(
        Week(
            format="week/1", id="small", start_date=datetime.date(2027, 4, 5), days=2, timezone="America/Denver",
            places=tuple(Place(p, 40.0, -105.0) for p in places), travel=Travel(minutes, metres), rest=None,
            yards=(Yard("yard", "yard"),), crews=tuple(crew(c) for c in crews), helpers=(), equipment=(), stock=(),
            jobs=jobs, follows=(), broken_cents=40_000,
        )
    )  # fmt: skip


def plan_of(week: Week) -> Plan:
    return plan_week(week, seconds=None, clock=time.monotonic, workers=1)


def spots(week: Week, plan: Plan) -> dict[str, Spot]:
    return {name: Spot(v.crew, v.day, v.start) for name, v in visits(outings(week, plan.routes)).items()}


def again(week: Week, plan: Plan, **event: Any) -> Replanned:
    made = replan(week, plan, clock=time.monotonic, workers=1, **event)
    assert audit(made.week, made.plan).ok
    assert made.plan.bound == made.plan.cost.total
    return made


def moved(made: Replanned, name: str) -> Move:
    return next(m for m in made.moves if m.job == name)


def test_nothing_happened_nothing_moves() -> None:
    week = week_of(job("A", (0, MORNING)), job("B", (0, MORNING), (1, MORNING)))
    plan = plan_of(week)
    made = again(week, plan)
    assert {m.what for m in made.moves} == {"stays"}
    assert spots(week, plan) == spots(made.week, made.plan)


def test_a_waiting_job_fills_the_hole_of_a_lost_one() -> None:
    week = week_of(
        job("A", (0, (480, 600))), job("B", (0, (480, 600)), skip=20_000), job("C", (0, (600, 720)), skip=60_000)
    )  # fmt: skip
    plan = plan_of(week)
    assert set(spots(week, plan)) == {"A", "C"}
    made = again(week, plan, lost={"A": None})
    assert moved(made, "A").what == "dropped"
    assert moved(made, "A").cause == "lost this week"
    assert moved(made, "B").what == "newly planned"
    assert moved(made, "B").cause == "fills the hole that A left"
    assert moved(made, "C").what == "stays"
    assert made.moves[-1].job == "C"  # those that stay come last
    assert move_sentence(week, moved(made, "B")).startswith("B: newly planned, Mon Apr 5 ")


def test_a_lost_job_that_is_ready_later_moves_to_that_day() -> None:
    week = week_of(job("A", (0, MORNING), (1, MORNING)), job("B", (0, MORNING)))
    plan = plan_of(week)
    made = again(week, plan, lost={"A": 1})
    assert moved(made, "A").what == "other day"
    assert moved(made, "A").cause == "cannot be done before Tue Apr 6"


def test_a_crew_away_hands_its_visit_over_and_another_makes_room() -> None:
    dear = job("A", (0, (480, 600)), skip=90_000)
    easy = job("B", (0, (480, 600)), (1, (480, 600)), skip=90_000)
    week = week_of(dear, easy, crews=("Ash", "Elm"))
    plan = plan_of(week)
    at = spots(week, plan)
    if at["B"].day == 1:  # cheaper for one crew to go out twice: book B on the first day
        easy = replace(easy, booked=Booking("Elm" if at["A"].crew == "Ash" else "Ash", 0, 490, "soft", 20_000, 0, 500))
        week = week_of(dear, easy, crews=("Ash", "Elm"))
        plan = plan_of(week)
        at = spots(week, plan)
    assert at["A"].day == at["B"].day == 0
    made = again(week, plan, away=[(at["A"].crew, 0)])
    assert moved(made, "A").what == "other crew"
    assert moved(made, "A").cause == f"crew {at['A'].crew} is away on Mon Apr 5"
    assert moved(made, "B").what == "other day"
    assert moved(made, "B").cause == "makes room for A"
    assert moved(made, "B").others == ("A",)


def test_room_is_made_for_a_job_of_another_crew_that_needs_the_same_ladder() -> None:
    """Two crews, one ladder: what A leaves on the second day B has to leave on the first."""
    ladder = {"equipment": {"ladder-24": 1}}
    a = job("A", (0, MORNING), (1, MORNING), skip=90_000, skills=("roof",), **ladder)
    b = job("B", (0, MORNING), (1, MORNING), skip=90_000, skills=("stone",), **ladder)
    week = week_of(a, b, crews=("Ash", "Elm"))
    crews = (replace(week.crews[0], skills=("roof",)), replace(week.crews[1], skills=("stone",)))
    week = replace(week, crews=crews, equipment=(Equipment("ladder-24", "yard", (1, 1)),))
    plan = plan_of(week)
    at = spots(week, plan)
    made = again(week, plan, away=[("Ash", at["A"].day)])
    assert moved(made, "A").what == "other day"
    assert moved(made, "B").cause == "makes room for A, which also needs ladder-24"


def test_what_both_need_and_the_yard_has_plenty_of_is_no_cause() -> None:
    """As above, and both take nails, of which there are 100: they keep nobody off the other day."""
    shared = {"equipment": {"ladder-24": 1}, "parts": {"nail": 2}}
    a = job("A", (0, MORNING), (1, MORNING), skip=90_000, skills=("roof",), **shared)
    b = job("B", (0, MORNING), (1, MORNING), skip=90_000, skills=("stone",), **shared)
    week = week_of(a, b, crews=("Ash", "Elm"))
    crews = (replace(week.crews[0], skills=("roof",)), replace(week.crews[1], skills=("stone",)))
    ladder, nails = Equipment("ladder-24", "yard", (1, 1)), Stock("nail", "yard", 100, ())
    week = replace(week, crews=crews, equipment=(ladder,), stock=(nails,))
    plan = plan_of(week)
    made = again(week, plan, away=[("Ash", spots(week, plan)["A"].day)])
    assert moved(made, "B").cause == "makes room for A, which also needs ladder-24"


def test_one_job_alone_is_named_where_leaving_it_out_is_enough() -> None:
    """B and C both come to where A was; without either of them A would still fit there."""
    week = week_of(
        job("A", (0, (480, 960)), (1, (480, 960)), skip=90_000), job("X", (1, (480, 960)), skip=90_000),
        job("B", (0, (480, 960)), (1, (480, 960)), skip=90_000),
        job("C", (0, (480, 960)), (1, (480, 960)), skip=90_000),
        crews=("Ash", "Elm"),
    )  # fmt: skip
    plan = plan_of(week)
    for crew, day in {s[:2] for s in spots(week, plan).values()}:
        made = again(week, plan, away=[(crew, day)])
        for move in made.moves:
            if move.cause.startswith("makes room for"):
                assert set(move.others) == set(move.cause.removeprefix("makes room for ").split(",")[0].split(" and "))


def test_what_has_begun_stays_and_nothing_new_begins_before() -> None:
    late = job("C", (0, (600, 960)), skip=1_000)
    week = week_of(job("A", (0, (480, 600))), job("B", (0, (600, 720))), late, job("D", (1, MORNING)))
    plan = plan_of(week)
    assert begun_by(week, plan, None) == set()
    assert begun_by(week, plan, (0, 500)) == {"A"}
    assert begun_by(week, plan, (1, 0)) == {"A", "B"}
    made = again(week, plan, lost={"B": 1}, freeze_until=(0, 650))
    assert made.fixed.visits.keys() == {"A"}
    assert moved(made, "A").cause == "done or under way"
    for name, spot in spots(made.week, made.plan).items():
        assert name == "A" or spot >= Spot("Ash", 0, 660)  # 650 and the drive from A


def test_a_crew_under_way_takes_nothing_more_when_it_falls_out() -> None:
    week = week_of(job("A", (0, (480, 600))), job("B", (0, (600, 720)), (1, MORNING)))
    plan = plan_of(week)
    assert spots(week, plan)["B"].day == 0
    made = again(week, plan, away=[("Ash", 0)], freeze_until=(0, 520))
    assert spots(made.week, made.plan)["A"] == spots(week, plan)["A"]
    assert moved(made, "B").what == "other day"
    assert moved(made, "B").cause == "crew Ash is away on Mon Apr 5"


def test_told_visits_take_the_middle_price_of_the_weeks_bookings() -> None:
    booking = Booking("Ash", 0, 490, "soft", 700, 70, 7)
    week = week_of(job("A", (0, MORNING), booked=booking), job("B", (0, MORNING)))
    assert told_prices(week, Told()) == (700, 70, 7)
    assert told_prices(week, Told(move_cents=1)) == (1, 70, 7)
    assert told_prices(week_of(job("A", (0, MORNING))), Told()) == (12_000, 2_500, 1_500)
    plan = plan_of(week)
    made = again(week, plan, told=Told("day"))
    booked = {j.id: j.booked for j in made.week.jobs}
    assert booked["A"] == booking
    at = spots(week, plan)["B"]
    assert booked["B"] == Booking(at.crew, at.day, at.start, "day", 700, 70, 7)


def test_a_posted_plan_is_what_customers_know() -> None:
    booking = Booking("Ash", 1, 490, "soft", 700, 70, 7)
    week = week_of(job("A", (0, MORNING), booked=booking), job("B", (0, MORNING)))
    plan = plan_of(week)
    at = spots(week, plan)["A"]
    assert {j.id: j.booked for j in again(week, plan).week.jobs}["A"] == booking
    posted = again(week, plan, told=Told(posted=True)).week
    assert {j.id: j.booked for j in posted.jobs}["A"] == replace(booking, crew=at.crew, day=at.day, start=at.start)


def test_changes_are_named_as_a_customer_would() -> None:
    spot = Spot("Ash", 0, 480)
    assert what_changed(None, None) is None
    assert what_changed(None, spot) == "newly planned"
    assert what_changed(spot, None) == "dropped"
    assert what_changed(spot, Spot("Ash", 0, 510)) == "stays"
    assert what_changed(spot, Spot("Ash", 0, 511)) == "other time"
    assert what_changed(spot, Spot("Elm", 0, 480)) == "other crew"
    assert what_changed(spot, Spot("Elm", 1, 480)) == "other day"


@pytest.mark.parametrize(
    ("event", "words"),
    [
        ({"lost": {"X": None}}, 'lost: no job has the id "X"'),
        ({"lost": {"A": 7}}, "lost: the day of A must be one of this week, 0 to 1, is 7"),
        ({"away": [("Oak", 0)]}, 'away: no crew has the id "Oak"'),
        ({"away": [("Ash", 5)]}, "away: crew Ash does not work on Sat Apr 10 anyway"),
        ({"freeze_until": (2, 0)}, "freeze_until: must be a day of this week, 0 to 1, is 2"),
    ],
)
def test_an_event_outside_the_week_is_refused(event: dict[str, Any], words: str) -> None:
    week = week_of(job("A", (0, MORNING)))
    with pytest.raises(BadInput) as fault:
        replan(week, plan_of(week), clock=time.monotonic, **event)
    assert str(fault.value) == words


def test_a_plan_of_another_week_is_refused() -> None:
    week = week_of(job("A", (0, MORNING)))
    plan = plan_of(week)
    with pytest.raises(BadInput, match=r'^plan: is of week "small", not of "other"$'):
        replan(replace(week, id="other"), plan, clock=time.monotonic)


def test_a_job_under_way_is_offered_no_other_time() -> None:
    week = week_of(job("A", (0, MORNING)))
    with pytest.raises(BadInput, match="A is done or under way by then"):
        as_it_stands(week, plan_of(week), "A", freeze_until=(1, 0))


@pytest.mark.parametrize(
    ("held", "words"),
    [
        ({"X": Spot("Ash", 0, 490)}, 'fixed.X: no job has the id "X"'),
        ({"A": Spot("Oak", 0, 490)}, 'fixed.A: no crew has the id "Oak"'),
        ({"A": Spot("Ash", 5, 490)}, "fixed.A: crew Ash does not work on Sat Apr 10"),
        ({"A": Spot("Ash", 1, 490)}, "fixed.A: cannot stay where it is fixed: .*window"),
        ({"A": Spot("Ash", 0, 490), "B": Spot("Ash", 0, 550)}, "fixed.B: .*with A until 9:50 and with B from 9:10"),
        ({"A": Spot("Ash", 0, 490), "B": Spot("Ash", 0, 595)}, "fixed.[AB]: cannot stay .*leave no way"),
    ],
)
def test_fixed_visits_that_cannot_be_are_refused_by_name(held: dict[str, Spot], words: str) -> None:
    week = week_of(job("A", (0, MORNING)), job("B", (0, MORNING)))
    with pytest.raises(BadInput, match=f"^{words}"):
        plan_week(week, seconds=None, clock=time.monotonic, workers=1, fixed=Fixed(held))


def test_cost_and_bound_of_a_plan_with_fixed_visits_are_true_cents() -> None:
    week = week_of(job("A", (0, MORNING), skip=0), job("B", (1, MORNING)))
    assert "A" not in spots(week, plan_of(week))  # not worth going for
    held = Fixed({"A": Spot("Ash", 0, 500)})
    plan = plan_week(week, seconds=None, clock=time.monotonic, workers=1, fixed=held)
    assert audit(week, plan).ok
    # a day 10.00, 120 minutes at 0.10, 10 km at 0.50: 27.00 for A, as for B
    assert plan.cost.total == plan.bound == 2 * (1_000 + 120 * 10 + 500)
