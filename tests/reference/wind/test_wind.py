"""Wind classes and velocity pressures: see source.md beside this file."""

from __future__ import annotations

import pytest

from scheduler.layout.statics.loads import CLASS_PRESSURE_PA, PSF_PA, velocity_pressure_psf, wind_speed_mps


def test_class_two_pressure_as_a_speed() -> None:
    speed = wind_speed_mps(CLASS_PRESSURE_PA[2])
    assert speed == pytest.approx(10.58, abs=0.05)


@pytest.mark.parametrize(("number", "printed_mps"), [(1, 7.8), (2, 10.6), (3, 13.6)])
def test_class_pressures_are_those_of_the_printed_speeds(number: int, printed_mps: float) -> None:
    # The manual's speeds are the tops of Beaufort 4, 5 and 6, rounded; its pressures 40, 70, 110 N/m² are rounded too.
    assert wind_speed_mps(CLASS_PRESSURE_PA[number]) == pytest.approx(printed_mps, rel=0.03)


def test_class_two_pressure_in_pounds_a_square_foot() -> None:
    assert CLASS_PRESSURE_PA[2] / PSF_PA == pytest.approx(1.462, abs=0.001)


def test_velocity_pressure_of_asce_7() -> None:
    assert velocity_pressure_psf(115, kz=0.85, kzt=1.0, kd=0.85) == pytest.approx(24.46, abs=0.01)


def test_both_forms_agree_on_the_speed_of_class_two() -> None:
    # 24 mph: 0.00256 V² = 1.475 psf, within a few percent of 70 Pa (the two take different air).
    assert velocity_pressure_psf(24, 1, 1, 1) == pytest.approx(1.475, abs=0.001)
    assert velocity_pressure_psf(24, 1, 1, 1) * PSF_PA == pytest.approx(70, rel=0.02)
