"""The smallest sets that are enough, against trying every set there is."""

from __future__ import annotations

import random
from itertools import combinations

import pytest

from scheduler.engine.waiting.smallest import LEAST, Sets, smallest

KINDS = tuple("abcdefgh")


class Enough:
    """A set is enough where it holds one of `ways`; where all hold, the first of them is what is needed."""

    def __init__(self, *ways: str) -> None:
        self.ways, self.asked = [frozenset(way) for way in ways], 0

    def tried(self, some: frozenset[str]) -> tuple[str, frozenset[str]] | None:
        self.asked += 1
        way = next((way for way in self.ways if way <= some), None)
        return None if way is None else ("".join(sorted(way)), way)

    def found(self, most: int = 400) -> Sets[str] | None:
        return smallest(KINDS, self.tried, lambda: True, most)


def test_the_smallest_set_is_found_though_none_of_the_first_is_needless() -> None:
    assert Enough("abcd", "efg").found() == Sets(("efg",), 3, 1 + 4 + 4 + 28 + 56 - 4, least=True)


def test_all_that_are_as_small_are_found() -> None:
    found = Enough("abc", "ade", "fgh").found()
    assert found is not None
    assert (set(found.found), found.size, found.note) == ({"abc", "ade", "fgh"}, 3, LEAST)


def test_what_is_in_all_of_them_is_not_tried_without() -> None:
    """Each of a to d is needed: all eight, all but the four needless, all but each of the four."""
    enough = Enough("abcd")
    assert enough.found() == Sets(("abcd",), 4, enough.asked, least=True)
    assert enough.asked <= 1 + len(KINDS) + 4


def test_where_the_work_ends_what_is_found_is_told_with_how_many_sets_were_tried() -> None:
    found = Enough("abcd", "efg").found(most=20)
    assert found == Sets(("abcd",), 4, 20, least=False)
    assert found.note == "Fewer may do: 20 sets were tried, not all that there are."
    assert Enough("ab").found(most=1) == Sets(("ab",), 2, 1, least=False)


def test_nothing_is_found_where_all_together_are_too_little() -> None:
    assert Enough().found() is None


@pytest.mark.parametrize("seed", range(20))
def test_they_are_those_of_trying_every_set(seed: int) -> None:
    rng = random.Random(seed)
    enough = Enough(*("".join(rng.sample(KINDS, rng.randint(2, 5))) for _ in range(rng.randint(1, 5))))
    size = next(n for n in range(2, 9) for some in combinations(KINDS, n) if enough.tried(frozenset(some)))
    every = {made[0] for some in combinations(KINDS, size) if (made := enough.tried(frozenset(some))) is not None}
    found = enough.found()
    assert found is not None
    assert (set(found.found), found.size, found.least) == (every, size, True)
