"""What holds for estimated travel between any places, poles and the date line included."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from scheduler.travel import DEFAULT, Constants, Slowdowns, SpeedClass, great_circle_m, matrices, week_factor
from scheduler.travel.estimate import EARTH_RADIUS_M, estimates
from scheduler.travel.fit import Drives, fitted

LATITUDES = st.sampled_from([-90.0, 90.0, 0.0]) | st.floats(-90, 90)
LONGITUDES = st.sampled_from([-180.0, 180.0, 0.0]) | st.floats(-180, 180)
POINTS = st.lists(st.tuples(LATITUDES, LONGITUDES), max_size=8)


@st.composite
def any_constants(draw: st.DrawFn, *, rising: bool = False) -> Constants:
    starts = sorted(draw(st.sets(st.floats(0.5, 500), max_size=4)))
    speeds = draw(st.lists(st.floats(5, 200), min_size=len(starts) + 1, max_size=len(starts) + 1))
    classes = zip([0.0, *starts], sorted(speeds) if rising else speeds, strict=True)
    return Constants(road_factor=draw(st.floats(1, 3)), classes=tuple(SpeedClass(s, v) for s, v in classes))


@given(POINTS, any_constants())
def test_whole_symmetric_never_negative_zero_on_the_diagonal(points: list[tuple[float, float]], c: Constants) -> None:
    found = matrices(points, constants=c)
    for table in (found.minutes, found.metres):
        assert table.shape == (len(points), len(points))
        assert table.dtype == np.int64
        assert (table >= 0).all()
        assert (table == table.T).all()
        assert not np.diagonal(table).any()


@given(POINTS, any_constants(rising=True))
def test_no_way_through_a_third_place_is_shorter(points: list[tuple[float, float]], c: Constants) -> None:
    """Holds where speeds rise with distance; a unit of slack for rounding in nearly straight triples."""
    found = matrices(points, constants=c)
    for table in (found.minutes, found.metres):
        through = (table[:, :, None] + table[None, :, :]).min(axis=1) if len(points) else table
        assert (table <= through + 1).all()


@given(st.lists(st.floats(0, 2.1e7), min_size=2, max_size=20), any_constants())
def test_farther_is_never_nearer_or_quicker(straight_m: list[float], c: Constants) -> None:
    road_m, minutes = estimates(np.sort(np.array(straight_m)), c)
    assert (np.diff(road_m) >= 0).all()
    assert (np.diff(minutes) >= -1e-9 * minutes.max()).all()


@given(LATITUDES, LONGITUDES, LONGITUDES)
def test_every_longitude_is_the_same_place_at_a_pole(lat: float, lon: float, other: float) -> None:
    found = great_circle_m([(90.0, lon), (90.0, other), (lat, lon), (-90.0, other)])
    assert found[0, 1] < 1e-6
    assert abs(found[0, 2] - found[1, 2]) < 1e-3
    assert abs(found[0, 3] - np.pi * EARTH_RADIUS_M) < 1e-3


@given(POINTS, LATITUDES)
def test_both_sides_of_the_date_line_are_one(points: list[tuple[float, float]], lat: float) -> None:
    found = great_circle_m([*points, (lat, 180.0), (lat, -180.0)])
    assert found[-1, -2] < 1e-6
    assert np.allclose(found[-1], found[-2], atol=0.5)  # near the antipodes arcsine loses digits


@given(POINTS, st.floats(-179, 179))
def test_turning_the_globe_changes_nothing(points: list[tuple[float, float]], turn: float) -> None:
    turned = [(lat, (lon + turn + 180) % 360 - 180) for lat, lon in points]
    assert np.allclose(great_circle_m(points), great_circle_m(turned), atol=0.5)


@given(POINTS)
def test_a_place_named_twice_has_the_same_rows(points: list[tuple[float, float]]) -> None:
    found = matrices(points + points).minutes
    half = len(points)
    assert (found[:half] == found[half:]).all()
    assert not np.diagonal(found[:half, half:]).any()


@given(POINTS, st.floats(1, 5))
def test_a_slowdown_never_makes_a_drive_shorter(points: list[tuple[float, float]], factor: float) -> None:
    plain, slowed = matrices(points), matrices(points, slowdown=factor)
    assert (slowed.minutes >= plain.minutes).all()
    # What is less than a millionth of a minute counts as none, so that twice as much may count as one minute.
    assert (slowed.minutes <= np.maximum(np.ceil(factor * plain.minutes), plain.metres > 0)).all()
    assert (slowed.metres == plain.metres).all()


@given(st.dictionaries(st.integers(0, 23).map(str), st.floats(0.5, 5)), st.integers(0, 1439), st.integers(1, 1440))
def test_the_weeks_factor_lies_between_the_hours_factors(by_hour: dict[str, float], start: int, length: int) -> None:
    end = min(1440, start + length)
    mean, worst = (week_factor(Slowdowns(by_hour), start, end, rule) for rule in ("mean", "worst"))
    assert min([1.0, *by_hour.values()]) - 1e-9 <= mean <= worst + 1e-9
    assert worst <= max([1.0, *by_hour.values()])


@given(st.integers(0, 2**32 - 1), any_constants(rising=True))
def test_a_fit_is_never_worse_in_distance_than_what_it_started_from(seed: int, truth: Constants) -> None:
    rng = np.random.default_rng(seed)
    straight_m = rng.uniform(10, 60_000, 60)
    road_m, minutes = estimates(straight_m, truth)
    road_m *= np.exp(0.2 * rng.standard_normal(60))
    fit = fitted(Drives(straight_m, np.maximum(road_m, straight_m), minutes))
    before = np.abs(DEFAULT.road_factor * straight_m - np.maximum(road_m, straight_m)).sum()
    after = np.abs(fit.constants.road_factor * straight_m - np.maximum(road_m, straight_m)).sum()
    assert after <= before * (1 + 1e-3)  # the factor is given to four digits
    speeds = [c.kmh for c in fit.constants.classes]
    assert speeds == sorted(speeds)
