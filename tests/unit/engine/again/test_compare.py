"""Two plans laid against each other."""

from __future__ import annotations

from msgspec.structs import replace

from scheduler import Off, Put, by_hand, compare
from scheduler.week import Booking, checked
from tests.two_crews import job, planned, week_of


def test_a_plan_against_itself_differs_in_nothing() -> None:
    week = week_of(job("a"), job("b"))
    plan = planned(week)
    laid = compare(week, plan, week, plan)
    assert (laid.moves, laid.saves.total, laid.same_week) == ((), 0, True)


def test_who_moves_is_told_with_from_and_to_and_what_it_saves() -> None:
    week = week_of(job("a"), job("b"), job("c"))
    old = planned(week)
    one = old.routes[0]
    other = "south" if one.crew == "north" else "north"
    new = by_hand(week, old, Put("a", other, one.day, 600)).plan
    new = by_hand(week, new, Off("b")).plan
    laid = compare(week, new, week, old)
    assert {m.job: m.what for m in laid.moves} | {"c": "stays"} == {"a": "other crew", "b": "dropped", "c": "stays"}
    moved = next(m for m in laid.moves if m.job == "a")
    assert moved.before is not None
    assert moved.before.crew == one.crew
    assert moved.sentence.endswith(
        f"→ Mon Apr 5 10:00 with {other}" if one.day == 0 else f"Tue Apr 6 10:00 with {other}"
    )
    assert next(m for m in laid.moves if m.job == "b").sentence.endswith("→ the waiting pile")
    assert laid.saves.total == old.cost.total - new.cost.total
    assert laid.saves.skipped == -100_000
    back = compare(week, old, week, new)
    assert {m.job: m.what for m in back.moves} | {"c": "stays"} == {
        "a": "other crew",
        "b": "newly planned",
        "c": "stays",
    }
    assert back.saves.total == -laid.saves.total


def test_a_few_minutes_are_told_last_and_as_staying() -> None:
    week = week_of(job("a"))
    old = by_hand(week, planned(week), Put("a", "north", 0, 600)).plan
    (move,) = compare(week, by_hand(week, old, Put("a", "north", 0, 620)).plan, week, old).moves
    assert (move.what, move.sentence) == ("stays", "a: 20 minutes later, Mon Apr 5 10:00 with north → 10:20")


def test_promises_kept_by_one_alone() -> None:
    week = week_of(job("a", booked=Booking("north", 0, 600, "day", 0, 0, 0)))
    old = planned(week)
    new = by_hand(week, old, Put("a", "north", 1)).plan
    assert compare(week, new, week, old).broken == ("a",)
    assert compare(week, old, week, new).kept == ("a",)
    assert compare(week, new, week, new).broken_in_both == ("a",)


def test_plans_of_two_documents_are_priced_by_the_first() -> None:
    week = week_of(job("a"), job("b"))
    old = planned(week)
    dearer = checked(replace(week, jobs=(replace(week.jobs[0], skip_cents=300_000), week.jobs[1])))
    laid = compare(dearer, by_hand(dearer, planned(dearer), Off("a")).plan, week, old)
    assert not laid.same_week
    assert laid.saves.skipped == -300_000
    fewer = checked(replace(week, jobs=week.jobs[1:]))
    gone = compare(fewer, planned(fewer), week, old)
    assert [(m.job, m.what) for m in gone.moves if m.what != "stays"][:1] == [("a", "dropped")]
