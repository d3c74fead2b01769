"""What a stud or rafter bears, worked out by hand from the values that `tests/reference/nds` holds."""

from __future__ import annotations

import random

import msgspec
import pytest

from scheduler.layout.compute import lay_out
from scheduler.layout.documents import Fastener, Survey
from scheduler.layout.statics.loads import BracketForce, LoadCase
from scheduler.layout.statics.member import (
    Member,
    adjusted_bending_psi,
    bored_in,
    longest_overhang_mm,
    member_of,
    member_uses,
)
from tests.surveys import plain_survey, second_survey


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


def case_of(name: str, *forces: tuple[float, float]) -> LoadCase:
    """A lasting case from the moment, N·m, and the load down, N, on each bracket."""
    return LoadCase(name, "permanent", tuple(BracketForce(m, v, 0.0, abs(m) / 0.15) for m, v in forces))


def test_a_rafter_by_hand() -> None:
    """A 2×8 of Douglas fir-larch No. 3: 525 psi in bending; the load down shears it, not the couple's own force."""
    (use,) = member_uses(rafters(), [case_of("still", (100.0, 300.0))], 0.25)
    assert use.bending == pytest.approx(885.07 / (1.25 * 7.25**2 / 6) / (525 * 1.15 * 0.9), rel=1e-3)
    assert use.shear == pytest.approx(1.5 * (300 / 4.44822) / (1.5 * 7.25) / (180 * 0.9), rel=1e-3)


@pytest.mark.parametrize(
    ("species", "depth_mm", "psi"),
    [
        ("douglas-fir-larch", 88.9, 700 * 1.1),  # Stud grade to 4 in nominal has a size factor of 1.1
        ("douglas-fir-larch", 101.6, 700),
        ("douglas-fir-larch", 114.3, 700),
        ("southern-pine", 88.9, 575),  # its values have theirs inside
    ],
)
def test_small_studs_bear_a_little_more(species: str, depth_mm: float, psi: float) -> None:
    survey = second_survey(wall={"species": species, "member_depth": depth_mm})
    (use,) = member_uses(survey, [case_of("still", (100.0, 300.0))], 0.25)
    assert use.bending == pytest.approx(885.07 / (1.25 * (depth_mm / 25.4) ** 2 / 6) / (psi * 1.15 * 0.9), rel=1e-3)


def test_the_hardest_case_is_that_of_the_larger_of_bending_and_shear() -> None:
    """This rafter bends at 672 N·m and shears at 5224 N."""
    bends, shears, less = case_of("bends", (336, 522)), case_of("shears", (134, 4702)), case_of("less", (134, 1567))
    assert [use.case for use in member_uses(rafters(), [less, bends], 0.25)] == ["bends"]
    assert [use.case for use in member_uses(rafters(), [bends, shears], 0.25)] == ["shears"]
    assert [use.case for use in member_uses(rafters(), [shears, bends, less], 0.25)] == ["shears"]


@pytest.mark.parametrize(
    ("shank_depth", "pilot", "cover", "bored"),
    [
        (31.75, 6.35, 25.4, 0.375),  # the plain shank's hole reaches 6.35 mm into the wood
        (31.75, 6.35, 29.7, 0.375),
        (31.75, 6.35, 29.75, 0.25),  # 2 mm and less count as none
        (31.75, 6.35, 40.0, 0.25),
        (None, 6.35, 0.0, 0.25),
        (None, None, 0.0, 0.0),
    ],
)
def test_the_drill_takes_the_shanks_hole_where_it_enters_the_wood(
    shank_depth: float | None, pilot: float | None, cover: float, bored: float
) -> None:
    screw = Fastener("lag", 9.525, 101.6, 60.0, pilot, 9.525, 4, shank_depth=shank_depth)
    assert bored_in(screw, cover) == pytest.approx(bored)


def test_the_longest_overhang_is_that_of_the_hardest_bracket_and_case() -> None:
    """Half the load down reaches twice as far; nothing bends a rafter that bears nothing."""
    survey = rafters()
    alone = longest_overhang_mm(survey, [case_of("still", (200.0, 600.0))], 0.25)
    assert alone is not None
    cases = [case_of("a", (200.0, 300.0), (200.0, 600.0), (200.0, 300.0)), case_of("b", (200.0, 300.0))]
    assert longest_overhang_mm(survey, cases, 0.25) == pytest.approx(alone)
    assert longest_overhang_mm(survey, [case_of("still", (200.0, 2.0))], 0.25) == pytest.approx(300 * alone)
    assert longest_overhang_mm(survey, [case_of("still", (700.0, 300.0))], 0.25) == 0.0  # more than 672 N·m
    assert longest_overhang_mm(survey, [case_of("still", (0.0, 0.0))], 0.25) is None
    assert longest_overhang_mm(plain_survey(), [case_of("still", (200.0, 600.0))], 0.25) is None


def test_what_the_drawing_cannot_check_is_no_member() -> None:
    rim = second_survey(wall={"kind": "rim-board", "members": [], "member_depth": 38.1})
    assert member_of(rim.wall, 0.25) is None
    assert member_uses(rim, [case_of("still", (200.0, 600.0))], 0.25) == ()
    assert member_of(plain_survey(wall={"kind": "rafters"}).wall, 0.25) is None


def test_wet_wood_bends_at_less_from_1150_psi_on() -> None:
    """Table 4A: 0.85, where the reference value with its size factor is more than 1150 psi."""
    assert adjusted_bending_psi(1000, "occupancy", size=1.2) == pytest.approx(1200)
    assert adjusted_bending_psi(1000, "occupancy", wet=True, size=1.2) == pytest.approx(1020)
    assert adjusted_bending_psi(1150, "occupancy", wet=True) == pytest.approx(1150)
