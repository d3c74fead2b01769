"""A rim board as the residential code treats it where a deck hangs on it: see source.md beside this file."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from scheduler.layout.compute import lay_out
from scheduler.layout.documents import Survey
from scheduler.layout.statics.fasteners import choose_fastener
from scheduler.layout.statics.lag import STOCKED_IN, fitting_lags, lag_allowable_lbf
from scheduler.layout.statics.loads import bracket_loads
from scheduler.units import INCH_MM, both
from tests.surveys import second_survey

LBF_N = 4.4482216152605
HALF_ALONE = {0.5: STOCKED_IN[0.5]}
DEAD_PSF = 10


def rim(thick_in: float, **wall: object) -> Survey:
    return second_survey(wall={"kind": "rim-board", "members": [], "member_depth": thick_in * INCH_MM, **wall})


def test_edge_distances_of_a_half_inch_screw_are_those_of_a_band_joist() -> None:
    """2 in to the bottom edge, towards which the load goes, and 3/4 in to the top."""
    survey = rim(3.0, species="douglas-fir-larch")  # doubled: in one board such a screw gets no hold
    choice = choose_fastener(survey, bracket_loads(survey, [600.0, 3400.0]), HALF_ALONE)
    assert choice.fastener is not None
    assert choice.fastener.diameter == 0.5 * INCH_MM
    assert choice.fastener.edge == pytest.approx(2 * INCH_MM)
    told = next(finding.text for finding in choice.findings if finding.code == "edge-distance")
    assert f"{both(2 * INCH_MM)} from the rim's lower edge and {both(0.75 * INCH_MM)} from its upper one" in told


@pytest.mark.parametrize(("thick_in", "found"), [(1.25, False), (1.5, False), (2.0, True)])
def test_no_half_inch_screw_goes_into_a_rim_of_one_and_a_half_inches(thick_in: float, found: bool) -> None:
    assert any(fitting_lags(rim(thick_in), HALF_ALONE)) is found


def test_the_hold_down_that_is_named_is_the_codes() -> None:
    told = next(finding.text for finding in lay_out(rim(1.5)).findings if finding.code == "rim-fixing")
    assert "some 750 lb, IRC R507.9.2" in told
    assert round(3336 / LBF_N) == 750


@pytest.mark.parametrize("gravity", [0.42, 0.5, 0.55])
def test_no_screw_along_a_rim_is_given_more_than_the_decks_table(gravity: float) -> None:
    """What the table lets a 1/2 in screw carry is its share of half the joists' span; tests stand behind it."""
    with (Path(__file__).parent / "lag_spacing.csv").open(newline="") as table:
        rows = list(csv.DictReader(table))
    carried = [
        float(row["joist_span_ft"]) / 2 * (live + DEAD_PSF) * float(row[f"on_center_in_{live}_psf"]) / 12
        for row in rows
        for live in (40, 60)
    ]
    assert len(carried) == 14
    assert carried == pytest.approx([375] * 14, rel=0.04)  # whole inches
    survey = rim(1.5, species="unknown", gravity=gravity, wet=False, cover=0.0)
    fitting = list(fitting_lags(survey, STOCKED_IN))
    assert fitting
    for held in fitting:
        along = lag_allowable_lbf(held, survey, "occupancy")[1]
        assert 0 < along < min(carried)
