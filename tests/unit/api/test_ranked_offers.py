"""Other times for a visit: those that disturb fewest people come first, three at most."""

from __future__ import annotations

from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from api.rebooking.shown import MOST_FIRST, ranked


def an_offer(kind: str, cents: int, *told: bool) -> dict[str, Any]:
    moves = [{"visit": f"J-{n}", "told": one} for n, one in enumerate(told)]
    return {"kind": kind, "extra_cents": cents} | ({} if kind in ("later", "wait", "fill") else {"moves": moves})


def test_nobody_moved_comes_before_a_cheaper_time_that_moves_somebody_told() -> None:
    offers = [
        an_offer("moves", -500, True),
        an_offer("moves", 0, False),
        an_offer("stays", 900),
        an_offer("later", 400),
        an_offer("moves", -9_000, False, False),
        an_offer("wait", 0),
    ]
    first, more = ranked(offers)
    assert [o["extra_cents"] for o in first] == [400, 900, 0]
    assert [o["extra_cents"] for o in more] == [-9_000, -500]


OFFERS = st.lists(
    st.builds(
        lambda kind, cents, told: an_offer(kind, cents, *told),
        st.sampled_from(["stays", "moves", "later", "wait", "fill"]),
        st.integers(-100_000, 100_000),
        st.lists(st.booleans(), max_size=3),
    ),
    max_size=12,
)


@given(OFFERS)
def test_every_time_is_shown_once_and_none_of_the_first_moves_two(offers: list[dict[str, Any]]) -> None:
    first, more = ranked(offers)
    assert len(first) <= MOST_FIRST
    assert all(len(o.get("moves", [])) <= 1 for o in first)
    times = [o for o in offers if o["kind"] in ("stays", "later") or (o["kind"] == "moves" and o["moves"])]
    assert len(first) + len(more) == len(times)
    few = [o for o in more if len(o.get("moves", [])) <= 1]
    assert not few or len(first) == MOST_FIRST
