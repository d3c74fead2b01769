"""What a means of closing the gap has won decides its share of the turns."""

from __future__ import annotations

from collections import Counter

from scheduler.engine.watch import ENOUGH, Watch

BOTH = {"cuts": True, "dives": True}


def turns(watch: Watch, won: dict[str, float], count: int) -> Counter[str]:
    """Play turns of one second each that win these shares of the gap; return how many each has had."""
    had = Counter[str]()
    for _ in range(count):
        name = watch.next(BOTH)
        watch.note(name, 1.0, won[name])
        had[name] += 1
    return had


def test_who_closes_much_goes_on_and_who_does_not_gives_way() -> None:
    watch = Watch({"cuts": 0.0, "dives": 0.0})
    assert watch.next(BOTH) == "cuts"
    watch.note("cuts", 1.0, 2 * ENOUGH)
    assert watch.next(BOTH) == "cuts"
    watch.note("cuts", 1.0, ENOUGH / 2)
    assert watch.next(BOTH) == "dives"
    watch.note("dives", 1.0, 0.0)
    assert watch.next({"cuts": False, "dives": True}) == "dives"


def test_the_share_follows_what_was_won_and_nobody_is_forgotten() -> None:
    had = turns(Watch({"cuts": 0.0, "dives": 0.0}), {"cuts": ENOUGH, "dives": 0.0}, 100)
    assert had["cuts"] > 4 * had["dives"]
    assert had["dives"] >= 3


def test_who_no_longer_wins_loses_the_share() -> None:
    watch = Watch({"cuts": 0.0, "dives": 0.0})
    turns(watch, {"cuts": ENOUGH, "dives": 0.0}, 50)
    had = turns(watch, {"cuts": 0.0, "dives": ENOUGH}, 100)
    assert had["dives"] > had["cuts"]


def test_a_first_turn_can_be_put_off() -> None:
    watch = Watch({"cuts": 0.0, "dives": 5.0})
    had = turns(watch, {"cuts": ENOUGH, "dives": 0.0}, 4)
    assert had["dives"] == 0
    assert turns(watch, {"cuts": 0.0, "dives": 0.0}, 20)["dives"] > 0


def test_many_short_turns_are_worth_what_one_long_one_is() -> None:
    """Dives of a tenth of a second win a tenth of what cuts win in a second: of the time both have half."""
    watch = Watch({"cuts": 0.0, "dives": 0.0})
    had = {"cuts": 0.0, "dives": 0.0}
    for _ in range(2_000):
        name = watch.next(BOTH)
        long = 1.0 if name == "cuts" else 0.1
        watch.note(name, long, 0.05 * long)
        had[name] += long
    assert abs(had["cuts"] - had["dives"]) < 0.1 * had["cuts"]
