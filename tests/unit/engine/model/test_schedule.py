"""The step from a partial route to the next, against every minute of leaving the yard."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.engine.model.schedule import AFTER, BEFORE, NOT_HERE, Rest, extend, home

START, LATEST = 0, 60
minutes = st.integers(0, 12)
visits = st.lists(
    st.tuples(minutes, st.integers(0, 40), st.integers(0, 20), minutes, st.sampled_from([NOT_HERE, BEFORE, AFTER])),
    min_size=1,
    max_size=4,
)
rests = st.builds(Rest, st.just(0), st.integers(1, 6), st.integers(5, 25), st.integers(25, 45))


def left_at(depart: int, stops: list[tuple[int, int, int, int, int]], rest: Rest) -> int | None:
    """Return when the last step ends at the earliest, left at `depart`; None where a start or the rest is missed."""
    clock = depart
    for drive, first, width, service, when in stops:
        clock += drive
        for begins, ends, lasts, here in (
            (rest.earliest, rest.latest, rest.length, when == BEFORE),
            (first, first + width, service, True),
            (rest.earliest, rest.latest, rest.length, when == AFTER),
        ):
            if here:
                if clock > ends:
                    return None
                clock = max(clock, begins) + lasts
    return clock


@settings(max_examples=400, deadline=None)
@given(visits, rests, minutes)
def test_a_label_says_when_a_route_ends_whenever_the_crew_leaves(
    stops: list[tuple[int, int, int, int, int]], rest: Rest, drive_home: int
) -> None:
    possible, early, work, late = True, START, 0, LATEST
    for drive, first, width, service, when in stops:
        possible, early, work, late = extend(early, work, late, drive, first, first + width, service, rest, when)
        if not possible:
            break
    ends = {t: end for t in range(START, LATEST + 1) if (end := left_at(t, stops, rest)) is not None}
    assert possible == (START in ends)
    if possible:
        assert ends == {t: max(early, t + work) for t in range(START, late + 1)}
        back, out = home(early, work, late, drive_home)
        assert back == min(ends.values()) + drive_home
        assert out == min(end + drive_home - t for t, end in ends.items() if end + drive_home == back)
