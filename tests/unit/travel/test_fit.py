"""Fitting the estimate to observed drives: what is known comes back, what is not seen stays an assumption."""

import numpy as np
import pytest

from scheduler.errors import BadInput
from scheduler.travel import DEFAULT, Constants, SpeedClass
from scheduler.travel.estimate import estimates
from scheduler.travel.fit import Drives, fitted, spread

TRUE = Constants(
    road_factor=1.27, classes=(SpeedClass(0, 21), SpeedClass(2, 47), SpeedClass(10, 66), SpeedClass(40, 93))
)


def drives(longest_km: float, constants: Constants = TRUE, noise: float = 0.0, many: int = 2000) -> Drives:
    rng = np.random.default_rng(4)
    straight_m = rng.uniform(50, 1000 * longest_km, many)
    road_m, minutes = estimates(straight_m, constants)
    blur = np.exp(noise * rng.standard_normal((2, many)))
    return Drives(straight_m, road_m * blur[0], minutes * blur[1])


def test_known_constants_come_back_exactly_from_clean_drives() -> None:
    fit = fitted(drives(80))
    assert fit.constants.road_factor == pytest.approx(1.27, abs=1e-4)
    assert [c.kmh for c in fit.constants.classes] == pytest.approx([21, 47, 66, 93], abs=0.02)
    assert fit.minutes_after.mean_absolute < 0.01 < fit.minutes_before.mean_absolute


def test_noise_blurs_them_only_a_little() -> None:
    fit = fitted(drives(80, noise=0.1))
    assert fit.constants.road_factor == pytest.approx(1.27, rel=0.01)
    assert [c.kmh for c in fit.constants.classes] == pytest.approx([21, 47, 66, 93], rel=0.08)


def test_classes_that_no_drive_crosses_keep_their_assumption_and_say_so() -> None:
    fit = fitted(drives(3))  # up to 3.8 km of road: not half of the class from 2 to 10 km
    assert fit.constants.classes[0].kmh == pytest.approx(21, abs=0.02)
    assert fit.constants.classes[1:] == DEFAULT.classes[1:]
    assert "fitted" in fit.evidence[1]
    assert all("assumed" in line for line in fit.evidence[2:])


def test_one_far_drive_does_not_move_a_class() -> None:
    near = drives(3)
    far = Drives(
        *(np.append(a, b) for a, b in zip((near.straight_m, near.road_m, near.minutes), (9e4, 9e4, 600), strict=True))
    )
    assert fitted(far).constants.classes[1:] == DEFAULT.classes[1:]


def test_speeds_never_fall_from_class_to_class() -> None:
    falling = Constants(road_factor=1.3, classes=(SpeedClass(0, 80), SpeedClass(2, 40), SpeedClass(10, 30)))
    speeds = [c.kmh for c in fitted(drives(80, falling)).constants.classes]
    assert speeds == sorted(speeds)


def test_an_assumed_speed_below_a_fitted_one_is_raised_with_a_word() -> None:
    quick = Constants(road_factor=1.3, classes=(SpeedClass(0, 95),))
    fit = fitted(drives(3, quick))
    assert [c.kmh for c in fit.constants.classes] == pytest.approx([95] * 4, abs=0.1)
    assert "raised from 80" in fit.evidence[-1]


def test_too_few_drives_are_refused() -> None:
    with pytest.raises(BadInput, match="at least 30 drives"):
        fitted(drives(10, many=29))


def test_drives_between_places_that_coincide_do_not_count() -> None:
    same = Drives(np.zeros(100), np.zeros(100), np.zeros(100))
    with pytest.raises(BadInput, match="there are 0"):
        fitted(same)


def test_lists_of_different_lengths_and_impossible_values_are_refused() -> None:
    one = np.ones(3)
    for bad in (np.ones(2), np.array([1, np.nan, 1]), -one):
        with pytest.raises(BadInput, match="minutes"):
            Drives(one, one, bad)


def test_spread_counts_estimates_that_are_too_short() -> None:
    found = spread(np.array([-2.0, -1.0, 0.0, 5.0]))
    assert (found.pairs, found.mean, found.mean_absolute, found.share_short) == (4, 0.5, 2.0, 0.5)
