"""Cover cuts: true for every choice that fits, and broken by the fractions that asked for them."""

from __future__ import annotations

import itertools

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.engine.master.cover_cuts import cover_cut

sizes = st.lists(st.integers(0, 12), min_size=1, max_size=8)


@settings(max_examples=300, deadline=None)
@given(sizes, st.integers(0, 30), st.data())
def test_a_cut_holds_for_every_choice_that_fits_and_not_for_the_fractions(
    uses: list[int], cap: int, data: st.DataObject
) -> None:
    taken = np.array([data.draw(st.floats(0, 1)) for _ in uses])
    found = cover_cut(np.array(uses), cap, taken)
    if found is None:
        return
    weight, most = found
    assert weight @ taken > most
    for choice in itertools.product((0, 1), repeat=len(uses)):
        if np.dot(uses, choice) <= cap:
            assert weight @ np.array(choice) <= most


def test_three_eights_do_not_fit_into_twenty() -> None:
    found = cover_cut(np.array([8, 8, 8, 1]), 20, np.array([0.9, 0.9, 0.7, 0.0]))
    assert found is not None
    assert found[0].tolist() == [1, 1, 1, 0]
    assert found[1] == 2


def test_where_all_fits_there_is_nothing_to_cut() -> None:
    assert cover_cut(np.array([8, 8]), 16, np.array([1.0, 1.0])) is None
