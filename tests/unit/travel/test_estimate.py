"""The estimate without data: classes paid out like a tax, whole numbers rounded up, bad input named."""

import numpy as np
import pytest

from scheduler.errors import BadInput
from scheduler.travel import DEFAULT, Constants, SpeedClass, great_circle_m, matrices
from scheduler.travel.estimate import estimates
from scheduler.travel.interface import Matrices

PLAIN = Constants(road_factor=1.5, classes=(SpeedClass(0, 30), SpeedClass(3, 60)))
DEGREE_M = 111_195.08


def test_classes_are_paid_out_one_after_the_other() -> None:
    # 4 km straight, 6 km of road: 3 km at 30 km/h is 6 min, 3 km at 60 km/h is 3 min.
    road_m, minutes = estimates(np.array([0.0, 1000.0, 2000.0, 4000.0]), PLAIN)
    assert road_m.tolist() == [0, 1500, 3000, 6000]
    assert minutes == pytest.approx([0, 3, 6, 9])


def test_minutes_and_metres_are_rounded_up() -> None:
    north = 1000.2 / DEGREE_M  # 1000.2 m: 1500.3 m of road, 3.0006 min
    found = matrices([(0.0, 0.0), (north, 0.0)], constants=PLAIN)
    assert found.metres.tolist() == [[0, 1501], [1501, 0]]
    assert found.minutes.tolist() == [[0, 4], [4, 0]]


def test_exact_minutes_are_not_pushed_up_by_arithmetic_dust() -> None:
    one_km = np.degrees(1000 / 6_371_008.8)
    assert matrices([(0.0, 0.0), (one_km, 0.0)], constants=PLAIN).minutes[0, 1] == 3


@pytest.mark.parametrize("points", [[], [(60.0, 25.0)]])
def test_none_and_one_place(points: list[tuple[float, float]]) -> None:
    found = matrices(points)
    assert found.minutes.shape == found.metres.shape == (len(points), len(points))
    assert not found.minutes.any()


def test_coincident_places_are_no_minutes_apart_and_near_ones_one() -> None:
    found = matrices([(45.0, 7.0), (45.0, 7.0), (45.0 + 2 / DEGREE_M, 7.0)])
    assert found.minutes.tolist() == [[0, 0, 1], [0, 0, 1], [1, 1, 0]]


def test_a_slowdown_acts_before_rounding() -> None:
    north = 1000 / DEGREE_M
    assert matrices([(0.0, 0.0), (north, 0.0)], constants=PLAIN, slowdown=1.3).minutes[0, 1] == 4  # 3.9


def test_the_tables_cannot_be_written_to() -> None:
    found = matrices([(0.0, 0.0), (1.0, 1.0)])
    with pytest.raises(ValueError, match="read-only"):
        found.minutes[0, 1] = 0


def test_speeds_of_the_default_rise_so_that_no_detour_looks_quicker() -> None:
    speeds = [c.kmh for c in DEFAULT.classes]
    assert speeds == sorted(speeds)


@pytest.mark.parametrize(
    ("point", "where"),
    [((90.1, 0.0), "points[1].lat"), ((0.0, -180.5), "points[1].lon"), ((float("nan"), 0.0), "points[1].lat")],
)
def test_a_coordinate_out_of_range_is_named(point: tuple[float, float], where: str) -> None:
    with pytest.raises(BadInput) as fault:
        great_circle_m([(0.0, 0.0), point])
    assert fault.value.where == where


@pytest.mark.parametrize("starts", [(1.0,), (0.0, 5.0, 5.0), (0.0, 5.0, 2.0)])
def test_classes_out_of_order_are_refused(starts: tuple[float, ...]) -> None:
    constants = Constants(road_factor=1.2, classes=tuple(SpeedClass(s, 50) for s in starts))
    with pytest.raises(BadInput, match="from_km"):
        matrices([(0.0, 0.0)], constants=constants)


def test_matrices_with_a_diagonal_or_a_wrong_shape_are_refused() -> None:
    good = np.zeros((2, 2), dtype=np.int64)
    for bad in (np.ones((2, 2), dtype=np.int64), good[:1], good - 1, good.astype(float)):
        with pytest.raises(BadInput):
            Matrices(minutes=good, metres=bad)
