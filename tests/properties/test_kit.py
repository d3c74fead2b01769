"""Rules that a kit keeps whatever happens to it, and whatever is counted."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.errors import BadInput
from scheduler.kit import (
    KitState,
    after_count,
    after_loading,
    compare,
    new_kit,
)

NAMES = ("awning", "bracket", "hood", "shim")
LISTS = st.dictionaries(st.sampled_from(NAMES), st.integers(1, 6), min_size=1)
COUNTS = st.dictionaries(st.sampled_from((*NAMES, "crank")), st.integers(0, 8))
EVENTS = st.lists(
    st.one_of(
        st.tuples(st.just("count"), COUNTS),
        st.tuples(st.just("load"), st.none()),
        st.tuples(st.just("list"), LISTS),
    ),
    max_size=12,
)


@given(LISTS, COUNTS)
def test_short_and_extra_make_the_list_out_of_the_count(listed: dict[str, int], counted: dict[str, int]) -> None:
    count = compare(listed, counted)
    for name in (*listed, *counted):
        if name in counted:
            assert counted[name] + count.short.get(name, 0) - count.extra.get(name, 0) == listed.get(name, 0)
        else:
            assert name in count.uncounted
            assert name not in count.short
    assert not count.short.keys() & count.extra.keys()
    assert all(pieces > 0 for pieces in (*count.short.values(), *count.extra.values()))


@given(LISTS, COUNTS, st.data())
def test_finding_more_never_makes_a_kit_shorter(
    listed: dict[str, int], counted: dict[str, int], data: st.DataObject
) -> None:
    more = {name: pieces + data.draw(st.integers(0, 3)) for name, pieces in counted.items()}
    before, after = compare(listed, counted).short, compare(listed, more).short
    assert all(missing <= before.get(name, 0) for name, missing in after.items())


def happen(state: KitState, listed: dict[str, int], event: tuple[str, object]) -> tuple[KitState, dict[str, int]]:
    kind, what = event
    match kind, what:
        case "list", dict(new):
            return new_kit(new), new
        case "count", dict(counted):
            return after_count(state, compare(listed, counted)), listed
    return after_loading(state), listed


@settings(max_examples=150)
@given(LISTS, EVENTS)
def test_whatever_happens_a_kit_is_in_one_true_condition(
    listed: dict[str, int], events: list[tuple[str, object]]
) -> None:
    state = new_kit(listed)
    for event in events:
        before = state.condition
        try:
            state, listed = happen(state, listed, event)
        except BadInput:
            continue  # refused: the kit is as it was
        if state.condition == "loaded":
            assert (before, event[0]) == ("verified", "load")  # the only way onto the van
        if state.condition in ("verified", "loaded"):
            assert not state.missing
            assert not state.uncounted
        assert (state.condition == "short") == bool(state.missing)
        assert all(pieces > 0 for pieces in state.missing.values())
        if event[0] == "count":
            complete = isinstance(event[1], dict) and all(event[1].get(n, 0) >= q for n, q in listed.items())
            assert (state.condition == "verified") == complete
