"""What a stud or rafter bears, worked out by hand from the values that `tests/reference/nds` holds."""

from __future__ import annotations

import random

import msgspec
import pytest

from scheduler.layout.compute import lay_out
from scheduler.layout.documents import Survey
from scheduler.layout.statics.loads import BracketForce, LoadCase
from scheduler.layout.statics.member import (
    Member,
    longest_overhang_mm,
    member_of,
    member_uses,
)
from tests.surveys import second_survey


def rafters(**wall: object) -> Survey:
    return second_survey(wall={"kind": "rafters", "member_depth": 184.15, **wall})


def test_a_couple_bends_a_stud_by_no_more_than_itself() -> None:
    """Held at both ends: the lines left and right of it are M a/L and M b/L, whatever the height of the storey."""
    rng = random.Random(1)
    for _ in range(200):
        length, at = rng.uniform(2000, 6000), rng.uniform(0.02, 0.98)
        moment = rng.uniform(-900, 900)
        end = moment / length  # the reactions, a couple against it
        left, right = end * at * length, end * (1 - at) * length
        assert abs(left) + abs(right) == pytest.approx(abs(moment))
        assert max(abs(left), abs(right)) <= abs(moment) + 1e-9


def test_a_stud_by_hand() -> None:
    """100 N·m on a 2×6 of Douglas fir-larch, pilot 1/4 in: 885 lbf·in on 1.25 × 5.5² / 6, against 700 × 1.15 × 0.9."""
    survey = second_survey()
    member = member_of(survey.wall, 0.25)
    assert member is not None
    case = LoadCase("still", "permanent", (BracketForce(100.0, 300.0, 0.0, 667.0),) * 2)
    (use, _) = member_uses(survey, [case], 0.25)
    assert use.bending == pytest.approx(885.07 / (1.25 * 5.5**2 / 6) / (700 * 1.15 * 0.9), rel=1e-3)
    across = 885.07 / (150 / 25.4)
    assert use.shear == pytest.approx(1.5 * across / (1.5 * 5.5) / (180 * 0.9), rel=1e-3)
    assert use.case == "still"


def test_the_hardest_case_is_told_and_a_thinner_stud_takes_more() -> None:
    survey = second_survey()
    cases = [
        LoadCase("still", "permanent", (BracketForce(100.0, 300.0, 0.0, 667.0),)),
        LoadCase("gust", "wind", (BracketForce(-300.0, 300.0, 0.0, 667.0),)),
    ]
    (hard,) = member_uses(survey, cases, 0.25)
    assert hard.case == "gust"
    thin = msgspec.structs.replace(survey, wall=msgspec.structs.replace(survey.wall, member_depth=88.9))
    (thinner,) = member_uses(thin, cases, 0.25)
    assert thinner.bending == pytest.approx(hard.bending * (5.5 / 3.5) ** 2 / 1.1, rel=1e-6)  # C_F 1.1 to 4 in nominal
    assert thinner.shear == pytest.approx(hard.shear * 5.5 / 3.5, rel=1e-6)


def test_the_longest_overhang_leaves_exactly_what_bending_has() -> None:
    survey = rafters()
    case = LoadCase("still", "permanent", (BracketForce(200.0, 300.0, 0.0, 1333.0),))
    reach = longest_overhang_mm(survey, [case], 0.25)
    assert reach is not None
    member = member_of(survey.wall, 0.25)
    assert isinstance(member, Member)
    moment = (200.0 + 300.0 * reach / 1000) * 8.850745791
    assert member.bending_use(moment, "permanent") == pytest.approx(1.0)


def test_the_layout_says_what_the_wood_takes_and_stops_where_it_is_too_much() -> None:
    layout = lay_out(second_survey())
    assert len(layout.members) == len(layout.brackets)  # type: ignore[arg-type]
    codes = {finding.code: finding.level for finding in layout.findings}
    assert codes["member"] == "note"
    thin = lay_out(second_survey(wall={"member_depth": 88.9, "species": "unknown"}))
    assert {f.code: f.level for f in thin.findings}["member"] == "stop"
