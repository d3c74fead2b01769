"""Load cases: what each bracket is asked to hold, and that every case says which it is."""

from __future__ import annotations

import math
import random
from typing import Any

import pytest

from scheduler.layout.statics.beam import reactions
from scheduler.layout.statics.loads import (
    CLASS_PRESSURE_PA,
    FRONT_SHARE,
    STANDARD_GRAVITY,
    LoadCase,
    bracket_loads,
    load_findings,
    on_one_fastener,
    pulling_fasteners,
    velocity_pressure_psf,
)
from tests.surveys import plain_survey, random_survey, second_survey

EVEN = [400.0, 1466.0, 2534.0, 3600.0]


def total(case: LoadCase) -> tuple[float, float, float]:
    return (
        sum(b.moment_nm for b in case.brackets),
        sum(b.shear_n for b in case.brackets),
        sum(b.pull_n for b in case.brackets),
    )


def test_cases_are_named_and_carry_their_load_duration() -> None:
    cases = bracket_loads(plain_survey(), EVEN)
    assert [(case.name, case.duration) for case in cases] == [
        ("self weight, closed", "permanent"),
        ("self weight, open", "permanent"),
        ("self weight and service wind class 2 outward and down, closed", "wind"),
        ("service wind class 2 outward and up, closed", "wind"),
        ("self weight and service wind class 2 down, open", "wind"),
        ("service wind class 2 up, open", "wind"),
    ]


def test_wind_class_0_checks_self_weight_only_and_says_so() -> None:
    survey = plain_survey(wind_class=0)
    assert [case.name for case in bracket_loads(survey, EVEN)] == ["self weight, closed", "self weight, open"]
    finding, _ = load_findings(survey)
    assert finding.level == "caution"
    assert "must not be open in wind" in finding.text


def test_classes_above_2_get_a_caution_and_no_finding_calls_anything_safe() -> None:
    assert [f.code for f in load_findings(plain_survey(wind_class=2))] == ["service-wind", "load-model"]
    findings = load_findings(plain_survey(wind_class=3))
    assert [f.code for f in findings] == ["service-wind", "wind-class-high", "load-model"]
    assert not any("safe" in f.text for f in findings)


@pytest.mark.parametrize("seed", range(40))
def test_brackets_together_hold_exactly_what_the_model_puts_on_them(seed: int) -> None:
    rng = random.Random(seed)
    survey = random_survey(rng)
    awning = survey.awning
    at = sorted(rng.sample(range(50, int(awning.width) - 50), rng.randint(2, 7)))
    weight = awning.weight_kg * STANDARD_GRAVITY
    area = awning.width * awning.projection / 1e6
    pitch = math.radians(awning.pitch_deg)
    reach, depth = awning.projection / 1000 * math.cos(pitch), (awning.body_above + awning.body_below) / 1000
    pressure = CLASS_PRESSURE_PA[survey.wind_class]
    cases = bracket_loads(survey, at)
    assert total(cases[0]) == pytest.approx((weight * depth / 2, weight, 0))
    self_open = weight * FRONT_SHARE * reach + weight * (1 - FRONT_SHARE) * depth / 2
    assert total(cases[1]) == pytest.approx((self_open, weight, 0))
    if pressure:
        turning, force = pressure * area * awning.projection / 2000, pressure * area
        on_body = pressure * awning.width / 1000 * depth
        closed = weight + on_body
        assert total(cases[2]) == pytest.approx((closed * depth / 2, closed, on_body))
        assert total(cases[3]) == pytest.approx((-on_body * depth / 2, -on_body, on_body))
        assert total(cases[4]) == pytest.approx((self_open + turning, weight + force, 0))
        assert total(cases[5]) == pytest.approx((-turning, -force, force * math.sin(pitch)))


def test_downward_pulls_the_upper_fasteners_upward_the_lower_ones() -> None:
    cases = {case.name: case for case in bracket_loads(plain_survey(), EVEN)}
    outer_down = cases["self weight and service wind class 2 down, open"].brackets[0]
    outer_up = cases["service wind class 2 up, open"].brackets[0]
    assert outer_down.moment_nm > 0 > outer_up.moment_nm
    assert outer_down.shear_n > 0 > outer_up.shear_n
    assert outer_up.tension_n == pytest.approx(-outer_up.moment_nm / 0.15 + outer_up.pull_n)
    assert outer_down.tension_n == pytest.approx(outer_down.moment_nm / 0.15)


def test_open_the_brackets_at_the_arms_take_most_closed_the_middle_ones() -> None:
    closed, opened = bracket_loads(plain_survey(), EVEN)[:2]
    assert closed.brackets[1].shear_n > closed.brackets[0].shear_n
    assert opened.brackets[0].tension_n > 3 * opened.brackets[1].tension_n
    # Mirror-like bar, arms and brackets: mirror-like loads.
    for case in (closed, opened):
        forces = [b.tension_n for b in case.brackets]
        assert forces == pytest.approx(forces[::-1])


def test_a_longer_lever_pulls_less() -> None:
    short, long = (
        bracket_loads(plain_survey(awning={"bracket_lever": lever}), EVEN)[1].brackets[0].tension_n
        for lever in (100, 200)
    )
    assert short == pytest.approx(2 * long)


def test_half_the_fasteners_pull_rounded_down() -> None:
    assert [pulling_fasteners(n) for n in (1, 2, 3, 4, 5)] == [1, 1, 1, 2, 2]


def test_one_fasteners_share_of_its_bracket() -> None:
    # The chain example: 1237.2 lb of pull and 147.7 lb of shear on two pulling lags of a bracket.
    assert on_one_fastener(1237.2, 147.7, 2 * 2) == pytest.approx((618.6, 36.925))
    assert on_one_fastener(900, -300, 3) == pytest.approx((900, 100))


def test_an_arm_beyond_the_outer_bracket_loads_it_with_more_than_itself() -> None:
    # 100 N half a span outside: R = 100 × 1.5, and the far support holds down with 50.
    assert reactions([1.0, 2.0], [(0.5, 100.0)]) == pytest.approx([150.0, -50.0])


@pytest.mark.parametrize(("at", "carried"), [(0.0, [100, 0, 0]), (1.0, [0, 100, 0]), (3.0, [0, 0, 100])])
def test_a_load_upon_a_support_is_carried_by_it_alone(at: float, carried: list[float]) -> None:
    assert reactions([0.0, 1.0, 3.0], [(at, 100.0)]) == pytest.approx(carried)


def test_an_even_load_reaches_from_the_bars_end_to_its_end() -> None:
    # 6 long, supports at 1 and 5: half each; with one end at 0 the other support carries 6 × 3 / 5.
    assert reactions([1.0, 5.0], even=10.0, length=6.0) == pytest.approx([30, 30])
    assert reactions([0.0, 5.0], even=10.0, length=6.0) == pytest.approx([24, 36])
    assert reactions([1.0, 5.0], even=10.0) == pytest.approx([20, 20])


@pytest.mark.parametrize("supports", [[], [1.0], [2.0, 1.0], [1.0, 1.0]])
def test_supports_that_make_no_beam_are_refused(supports: list[float]) -> None:
    with pytest.raises(ValueError, match="two or more, ascending"):
        reactions(supports, even=1.0)


def test_a_hill_raises_the_velocity_pressure() -> None:
    # 0.00256 × 0.85 × 1.5 × 0.85 × 100²
    assert velocity_pressure_psf(100, kz=0.85, kzt=1.5, kd=0.85) == pytest.approx(27.744)


@pytest.mark.parametrize(("survey", "lever"), [(plain_survey, "57.15 mm"), (second_survey, "57 mm")])
def test_the_couple_s_lever_is_told_as_each_form_always_has(survey: Any, lever: str) -> None:
    holes = {} if survey is plain_survey else {"holes": [{"across": 0, "down": down} for down in (0, 15, 30, 45)]}
    found = load_findings(survey(awning={"bracket_lever": 57.15, **holes}))
    (model,) = (one.text for one in found if one.code == "load-model")
    assert f"by a couple over {lever}." in model
