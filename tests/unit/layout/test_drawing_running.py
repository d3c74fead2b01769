"""Running dimensions: every figure belongs to one mark, covers no other, and no line runs through it."""

from __future__ import annotations

import random
from itertools import combinations, pairwise

import pytest

from scheduler.layout.drawing.paper.lettering import width_of
from scheduler.layout.drawing.paper.sheet import FIGURE, SMALL
from scheduler.layout.drawing.wall.running import Mark, Running, lay_out

GAP = 1.2  # mm that stay free beside a label
ROW = 1.12 * (FIGURE + SMALL) + 0.5
LEFT, RIGHT = 10.0, 260.0


def mark(x: float, number: int, ringed: bool = True) -> Mark:
    return Mark(x, f"{20 * x:.0f}", f"{x:.0f}' 1 1/2\"", str(number) if ringed else "right end", ringed)


def laid(xs: list[float]) -> Running:
    marks = [mark(x, n) for n, x in enumerate(xs[:-1], 1)] + [mark(xs[-1], 0, ringed=False)]
    return lay_out(marks, "From here", None, LEFT, RIGHT)


def test_a_label_is_as_wide_as_its_wider_line() -> None:
    ring = 2 * 2.35 + 0.8
    short = Mark(50, "813", "2'", "1", True)
    assert short.wide == pytest.approx(ring + width_of("813", FIGURE, True))
    long = Mark(50, "8", "12' 10 1/16\"", "1", True)
    assert long.wide == pytest.approx(width_of("12' 10 1/16\"", SMALL))
    end = Mark(50, "4000", "13' 1 1/2\"", "right end", False)
    assert end.wide == pytest.approx(width_of("right end 13' 1 1/2\"", SMALL))
    assert Mark(50, "4000", "4", "", False).wide == pytest.approx(width_of("4000", FIGURE, True))


def test_labels_with_room_stand_in_one_row_centred_on_their_marks() -> None:
    found = laid([40, 90, 140, 200])
    assert not found.turned
    assert {label.row for label in found.labels} == {0}
    for label in found.labels:
        assert label.left + label.mark.wide / 2 == pytest.approx(label.mark.x)
    assert found.height == pytest.approx(2.6 + ROW + SMALL * 1.32 + 0.6)


def test_a_label_at_the_edge_moves_inwards() -> None:
    first, last = laid([LEFT + 1, 120, RIGHT - 1]).labels[-1], laid([60, 120, RIGHT - 1]).labels[0]
    assert first.left == pytest.approx(LEFT + 1 + GAP)
    assert last.left + last.mark.wide == pytest.approx(RIGHT - 1 - GAP)


def test_two_marks_too_near_for_one_row_take_two() -> None:
    found = laid([100, 103, 106, 200])
    assert not found.turned
    assert max(label.row for label in found.labels) == 1
    assert found.height == pytest.approx(2.6 + 2 * ROW + SMALL * 1.32 + 0.6)


@pytest.mark.parametrize("seed", range(60))
def test_no_label_covers_another_or_a_line(seed: int) -> None:
    rng = random.Random(seed)
    xs = sorted(rng.uniform(LEFT + 5, RIGHT - 5) for _ in range(rng.randint(2, 12)))
    found = laid(xs)
    assert sorted(label.mark.x for label in found.labels) == xs
    if found.turned:
        at = [label.left for label in found.labels]
        assert [label.mark.x for label in found.labels] == xs
        assert all(
            b - a >= min(1.08 * FIGURE + 1.1 * SMALL + GAP, (RIGHT - LEFT) / len(xs)) - 1e-9 for a, b in pairwise(at)
        )
        return
    for label in found.labels:
        assert label.left >= LEFT
        assert label.left + label.mark.wide <= RIGHT
        assert 0 <= label.row <= 2
    for a, b in combinations(found.labels, 2):
        apart = a.left >= b.left + b.mark.wide + GAP or b.left >= a.left + a.mark.wide + GAP
        assert a.row != b.row or apart
        for one, other in ((a, b), (b, a)):  # a line runs from the base line past all rows up to its own label's
            beside = not one.left - GAP < other.mark.x < one.left + one.mark.wide + GAP
            assert beside or other.row < one.row


def test_marks_too_near_for_three_rows_are_turned_and_spread() -> None:
    xs = [100 + 2.0 * n for n in range(16)]
    found = laid(xs)
    pitch = 1.08 * FIGURE + 1.1 * SMALL + GAP
    assert found.turned
    assert {label.row for label in found.labels} == {0}
    at = [label.left for label in found.labels]
    assert all(b - a == pytest.approx(pitch) for a, b in pairwise(at))
    assert at[0] == pytest.approx(xs[0])  # as little moved as can be
    longest = 2 * 2.35 + 1 + max(
        *(width_of(label.mark.first, FIGURE, True) for label in found.labels),
        *(width_of(label.mark.other, SMALL) for label in found.labels[:-1]),
        width_of(f"right end {found.labels[-1].mark.other}", SMALL),
    )  # fmt: skip
    assert found.height == pytest.approx(2.6 + 6 + longest + SMALL * 1.32 + 1)


def test_a_turned_label_is_as_long_as_its_longer_line() -> None:
    marks = [Mark(100 + n, "12' 10 1/16\"", "3913", str(n), True) for n in range(12)]
    found = lay_out(marks, "From here", None, LEFT, RIGHT)
    assert found.turned
    long = 2 * 2.35 + 1 + width_of("12' 10 1/16\"", FIGURE, True)
    assert found.height == pytest.approx(2.6 + 6 + long + SMALL * 1.32 + 1)


def test_turned_labels_stay_between_the_ends_and_share_the_room() -> None:
    left = laid([LEFT + 0.5 * n for n in range(16)])
    assert left.turned
    assert left.labels[0].left == pytest.approx(LEFT + (1.08 * FIGURE + 1.1 * SMALL + GAP) / 2)
    found = laid([250 + 0.5 * n for n in range(16)])
    pitch = 1.08 * FIGURE + 1.1 * SMALL + GAP
    assert found.turned
    assert found.labels[-1].left == pytest.approx(RIGHT - pitch / 2)
    assert all(b.left - a.left == pytest.approx(pitch) for a, b in pairwise(found.labels))
    full = laid([12 + 4.0 * n for n in range(60)])
    assert full.turned
    at = [label.left for label in full.labels]
    assert all(b - a == pytest.approx((RIGHT - LEFT) / 60) for a, b in pairwise(at))
    assert min(at) >= LEFT
    assert max(at) <= RIGHT
