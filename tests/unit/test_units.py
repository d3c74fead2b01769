from __future__ import annotations

import pytest

from scheduler.errors import BadInput
from scheduler.units import (
    both,
    exact_length,
    feet_inches,
    parse_force,
    parse_length,
    parse_weight,
)


@pytest.mark.parametrize(
    ("length_mm", "text"),
    [
        (3822.7, "12' 6 1/2\""), (3810, "12' 6\""), (3657.6, "12'"), (165.1, "6 1/2\""), (12.7, "1/2\""), (0, "0\""),
        (304.7, "1'"), (3670.3, "12' 0 1/2\""), (-76.2, "-3\""), (-0.1, "0\""), (1.5875, "1/16\""), (0.79, "0\""),
        (412.8, "1' 4 1/4\""),
    ],
)  # fmt: skip
def test_a_length_is_written_to_the_nearest_sixteenth(length_mm: float, text: str) -> None:
    assert feet_inches(length_mm) == text


def test_sentences_show_both_measures() -> None:
    assert both(3822.7) == "12' 6 1/2\" (3823 mm)"


@pytest.mark.parametrize(
    "text",
    [
        "12' 6 1/2\"", "12'6 1/2\"", "12' 6-1/2\"", "12'-6 1/2\"", "12-6-1/2", "12-6 1/2", "12ft 6.5in",
        "12 ft. 6.5 in.", "12 feet, 6 1/2 inches", "150 1/2 in", "150.5\"", "150-1/2 in", "12′ 6½″", "12’ 6 ½”",
        "12' 6 1⁄2''", "12' 6.5", " 12'  6 1/2\" ",
        "12 FT 6 1/2 IN", "3822.7 mm", "3822.7", "382.27 cm", "3.8227 m", "3.8227m", "12-6-8", "3.8227 metres",
        "382.27 centimeters", "3822.7 Millimetres",
    ],
)  # fmt: skip
def test_the_usual_ways_of_writing_a_length_are_read(text: str) -> None:
    assert parse_length(text) == pytest.approx(3822.7, abs=1e-9)


@pytest.mark.parametrize(
    ("text", "length_mm"),
    [
        ('-3"', -76.2), ("− 3 in", -76.2), ("½ in", 12.7), (".5 in", 12.7), ("0", 0), ("12'", 3657.6), ('3/8"', 9.525),
        ("14' 6 3/16\"", 4424.3625), ("14-6-3", 4424.3625), ("174 3/16 in", 4424.3625), ("14ft 6.5in", 4432.3),
        ("0-0-15", 23.8125), ("14-6", 4419.6),
    ],
)  # fmt: skip
def test_signs_and_bare_fractions_are_read(text: str, length_mm: float) -> None:
    assert parse_length(text) == pytest.approx(length_mm, abs=1e-9)


@pytest.mark.parametrize(
    "text",
    [
        "", " ", "x", "twelve feet", "12' 14\"", "12' 12\"", "6 1/2", "1/2", "1/0 in", "3/2 in", "1/128 in", "nan",
        "inf", "1e5", "--3", "3,810 mm", "12.5' 3\"", "6.5 1/2 in", "12' 6' 3\"", "3 m 2 cm", "12\" 6'", "9" * 30,
        "9" * 5000, "١٢", "14-6-16", "14-12-3", "14-6-3 mm",
    ],
)  # fmt: skip
def test_what_is_no_length_is_refused_in_one_sentence(text: str) -> None:
    with pytest.raises(BadInput) as refused:
        parse_length(text, "height")
    assert refused.value.where == "height"
    assert len(refused.value.problem) < 200


def test_lengths_are_written_so_that_nothing_is_lost() -> None:
    assert exact_length(3810) == "12' 6\""
    assert exact_length(3810, "metric") == "3810 mm"
    assert exact_length(3657) == "3657 mm"
    assert exact_length(1e-5) == "0.00001 mm"


def test_weights_and_loads_are_read_in_either_measure() -> None:
    assert parse_weight("54 kg") == parse_weight("54") == 54
    assert parse_weight("100 lb") == pytest.approx(45.359237)  # NIST SP 811, B.8
    assert parse_force("6.4 kN") == parse_force("6400") == 6400
    assert parse_force("100 lbf") == pytest.approx(444.82216152605)  # NIST SP 811, B.8


@pytest.mark.parametrize("text", ["", "heavy", "5 stone", "5 kg 3", "1e3 kg", "-5 kg"])
def test_what_is_no_weight_is_refused(text: str) -> None:
    with pytest.raises(BadInput) as refused:
        parse_weight(text, "weight")
    assert "54 kg or 119 lb" in refused.value.problem
