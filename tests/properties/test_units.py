from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.errors import BadInput
from scheduler.units import INCH_MM, exact_length, exact_number, feet_inches, parse_force, parse_length, parse_weight

SIXTEENTH = INCH_MM / 16


@given(st.integers(-400_000, 400_000))
def test_every_sixteenth_is_read_as_it_is_written(sixteenths: int) -> None:
    assert parse_length(feet_inches(sixteenths * SIXTEENTH)) == pytest.approx(sixteenths * SIXTEENTH, abs=1e-6)


@given(st.floats(-600_000, 600_000))
def test_writing_rounds_by_half_a_sixteenth_at_most(length_mm: float) -> None:
    assert abs(parse_length(feet_inches(length_mm)) - length_mm) <= SIXTEENTH / 2 + 1e-6


@given(st.decimals(0, 900_000, places=3))
def test_millimetres_centimetres_and_metres_agree(length: object) -> None:
    value = float(str(length))
    assert parse_length(f"{length:f} mm") == pytest.approx(value)
    assert parse_length(f"{length:f}") == pytest.approx(value)


@given(st.text(max_size=40) | st.text("0123456789 '\"/-.ftinm½′″", max_size=20))
def test_any_text_is_a_length_or_refused(text: str) -> None:
    try:
        length_mm = parse_length(text)
    except BadInput:
        return
    assert abs(length_mm) <= 1_000_000


@given(st.floats(-900_000, 900_000).filter(lambda x: x == 0 or abs(x) > 1e-20), st.sampled_from(["imperial", "metric"]))
def test_an_exact_length_is_read_as_itself(length_mm: float, units: str) -> None:
    assert parse_length(exact_length(length_mm, units)) == length_mm


@given(st.floats(0, 10_000_000, allow_subnormal=False).filter(lambda x: x == 0 or x > 1e-20))
def test_an_exact_number_is_read_as_itself(value: float) -> None:
    assert parse_weight(f"{exact_number(value)} kg") == value == parse_force(f"{exact_number(value)} N")
