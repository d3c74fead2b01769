"""Choice of fasteners: enough hold in every case or a stop, and nothing invented for masonry."""

from __future__ import annotations

import random
from typing import Any

import pytest

from scheduler.layout.documents import MASONRY, WOOD, WallKind
from scheduler.layout.statics import nds
from scheduler.layout.statics.fasteners import FastenerChoice, choose_fastener
from scheduler.layout.statics.lag import (
    MEMBER_DEPTH_IN,
    PLATE_IN,
    STOCKED_IN,
    fastener_name,
    fitting_lags,
    grip,
    inches,
    lag_allowable_lbf,
    lag_fastener,
    screw_use,
)
from scheduler.layout.statics.loads import BracketForce, BracketUse, LoadCase, bracket_loads, on_one_fastener
from tests.surveys import plain_survey, random_survey


def shared(force: BracketForce, bolts: int) -> tuple[float, float]:
    return on_one_fastener(force.tension_n, force.shear_n, bolts)


EVEN = [412.8, 1632.0, 2851.2, 3664.0]
LIGHT: dict[str, Any] = {"awning": {"width": 4000, "projection": 1500, "weight_kg": 30}, "wind_class": 1}


def chosen(**changes: Any) -> FastenerChoice:
    survey = plain_survey(**changes)
    return choose_fastener(survey, bracket_loads(survey, EVEN))


def codes(choice: FastenerChoice, level: str) -> set[str]:
    return {finding.code for finding in choice.findings if finding.level == level}


def test_the_plain_survey_worked_by_hand() -> None:
    choice = chosen()
    assert choice.fastener is not None
    assert fastener_name(choice.fastener) == "lag 3/8 x 4-1/2 in"
    assert (choice.fastener.count, choice.fastener.pilot, choice.fastener.shank_hole) == (4, 6.35, 9.525)
    # Through 1/4 in of plate and 1 in of cover: 4.5 − 1.25 − tip 7/32 = 3.03125 in deep; thread 4.5/2 + 0.5 − 7/32.
    assert choice.fastener.penetration == pytest.approx(3.03125 * 25.4, abs=0.001)
    hardest = choice.brackets[0]
    assert hardest.case == "self weight and service wind class 2 down, open"
    # W' = 234.78 × 2.53125 × 1.6 × 0.7 = 665.6 lbf; two of the four pull, almost straight out, so that the use is a
    # little more than that of the pull alone.
    straight_out = hardest.tension_n / 2 / 4.4482216 / 665.6
    assert hardest.use is not None
    assert straight_out < hardest.use < 1.03 * straight_out
    # The next shorter, 4 in, has 2.28125 in of thread and would not do.
    assert straight_out * 2.53125 / 2.28125 > 1
    assert not codes(choice, "stop")


def test_dry_wood_needs_less_than_wet() -> None:
    dry = chosen(wall={"wet": False}).fastener
    assert dry is not None
    assert fastener_name(dry) == "lag 3/8 x 3-1/2 in"


def test_half_inch_lags_are_taken_where_three_eighths_do_not_hold() -> None:
    choice = chosen(awning={"weight_kg": 100})
    assert choice.fastener is not None
    assert fastener_name(choice.fastener).startswith("lag 1/2 x")
    # 1/2 in leaves nothing to either side in the edge of a 2×4: that is a caution.
    assert "off-centre" in codes(choice, "caution")
    assert not codes(choice, "stop")


def test_too_much_load_is_a_stop_that_names_the_case() -> None:
    choice = chosen(wind_class=3)
    (stop,) = [f for f in choice.findings if f.level == "stop"]
    assert stop.code == "overloaded"
    assert "service wind class 3 down, open" in stop.text
    assert choice.fastener is not None
    assert max(b.use or 0 for b in choice.brackets) > 1


def test_a_cover_that_no_screw_gets_through_is_a_stop() -> None:
    choice = chosen(wall={"cover": 300})
    assert choice.fastener is None
    assert codes(choice, "stop") == {"no-fastener"}
    assert all(b.use is None and b.tension_n > 0 for b in choice.brackets)


def test_a_member_too_narrow_for_any_screw_is_a_stop() -> None:
    assert codes(chosen(wall={"member_width": 12}), "stop") == {"no-fastener"}


@pytest.mark.parametrize("gravity", [0.01, 0.30, 0.74, 2.0])
def test_wood_that_the_tables_do_not_cover_is_a_stop(gravity: float) -> None:
    choice = chosen(wall={"gravity": gravity})
    assert choice.fastener is None
    assert codes(choice, "stop") == {"gravity"}


@pytest.mark.parametrize("kind", sorted(MASONRY))
def test_masonry_without_the_anchors_report_is_a_stop(kind: WallKind) -> None:
    choice = chosen(wall={"kind": kind})
    assert choice.fastener is None
    assert codes(choice, "stop") == {"anchor-report"}
    assert all(b.use is None for b in choice.brackets)


def test_masonry_takes_the_anchors_own_values_and_no_duration_factor() -> None:
    anchor = {"name": "sleeve anchor", "tension_n": 4000, "shear_n": 5000, "source": "report"}
    choice = chosen(wall={"kind": "concrete"}, anchor=anchor)
    hardest = choice.brackets[0]
    assert hardest.use == pytest.approx(hardest.tension_n / 2 / 4000 + hardest.shear_n / 4 / 5000)
    assert choice.fastener is not None
    assert fastener_name(choice.fastener) == "sleeve anchor"
    assert choice.fastener.diameter is None
    assert "anchor" in codes(choice, "caution")
    weak = chosen(wall={"kind": "concrete"}, anchor={**anchor, "tension_n": 2000})
    assert codes(weak, "stop") == {"overloaded"}
    assert "hollow-block" in codes(chosen(wall={"kind": "hollow-block"}, anchor=anchor), "caution")


@pytest.mark.parametrize("kind", ["brick-veneer", "fascia"])
def test_walls_that_carry_nothing_get_no_fastener(kind: WallKind) -> None:
    choice = chosen(wall={"kind": kind})
    assert choice.fastener is None
    assert [f.code for f in choice.findings] == ["load-case"]


def test_every_brackets_numbers_are_given_their_case() -> None:
    choice = chosen(wind_class=0)
    (told,) = [f.text for f in choice.findings if f.code == "load-case"]
    assert "self weight, open (brackets 1, 2, 3, 4)" in told


def test_load_across_the_grain_on_rims_weakens_and_is_said() -> None:
    stud, rim = plain_survey(**LIGHT), plain_survey(**LIGHT, wall={"kind": "rim-board"})
    held = grip(0.375, 3.0, PLATE_IN + 1.0, 1.5)
    assert lag_allowable_lbf(held, rim, "wind")[1] < lag_allowable_lbf(held, stud, "wind")[1]
    choice = choose_fastener(rim, bracket_loads(rim, EVEN))
    assert "edge-distance" in codes(choice, "caution")
    # A rim is 1-1/2 in deep: 4 D of 1/2 in does not go in.
    assert choice.fastener is not None
    assert choice.fastener.penetration == pytest.approx(38.1)
    assert choice.fastener.diameter == 9.525


def test_a_cover_that_carries_nothing_weakens_the_hold_along_the_wall_only() -> None:
    held = grip(0.375, 4.5, PLATE_IN + 1.0, 3.5)
    bare, covered = (lag_allowable_lbf(held, plain_survey(wall={"cover": cover}), "wind") for cover in (0.0, 25.4))
    assert covered[0] == bare[0]
    # An inch of gap makes the screw a lever: less than half.
    assert covered[1] < 0.5 * bare[1]


def test_a_deep_screw_in_a_stud_asks_to_look_for_cables() -> None:
    assert "hidden-services" in codes(chosen(), "caution")
    assert "hidden-services" not in codes(chosen(wall={"kind": "rim-board"}), "caution")


@pytest.mark.parametrize("seed", range(60))
def test_a_choice_holds_in_every_case_or_stops(seed: int) -> None:
    survey = random_survey(random.Random(seed))
    bar = survey.awning
    step = (bar.arms[-1] - bar.arms[0]) / 3
    cases = bracket_loads(survey, [bar.arms[0] + n * step for n in range(4)])
    choice = choose_fastener(survey, cases)
    stopped = bool(codes(choice, "stop"))
    if survey.wall.kind in WOOD and choice.fastener is not None:
        fastener = choice.fastener
        assert fastener.diameter is not None
        assert fastener.length is not None
        assert fastener.penetration is not None
        diameter, length = round(fastener.diameter / 25.4, 6), round(fastener.length / 25.4, 6)
        assert length in STOCKED_IN[diameter]
        assert fastener.penetration >= 4 * fastener.diameter - 0.01
        side = PLATE_IN + survey.wall.cover / 25.4
        held = grip(diameter, length, side, MEMBER_DEPTH_IN[survey.wall.kind])
        for n, found in enumerate(choice.brackets):
            uses = [
                screw_use(*shared(c.brackets[n], bar.bolts), lag_allowable_lbf(held, survey, c.duration)) for c in cases
            ]  # fmt: skip
            assert found.use == pytest.approx(max(uses))
        assert stopped == (max(b.use or 0 for b in choice.brackets) > 1)
    elif survey.anchor is not None and survey.wall.kind in MASONRY:
        assert stopped == (max(b.use or 0 for b in choice.brackets) > 1)
    else:
        assert choice.fastener is None
    assert all("safe" not in f.text for f in choice.findings)


def test_use_grows_in_proportion_to_the_load() -> None:
    # Combined allowable depends on the direction only.
    one = screw_use(*shared(BracketForce(100, 300, 0, 900), 4), (800.0, 200.0))
    assert screw_use(*shared(BracketForce(200, 600, 0, 1800), 4), (800.0, 200.0)) == pytest.approx(2 * one)
    assert screw_use(*shared(BracketForce(0, 0, 0, 0), 4), (800.0, 200.0)) == 0.0


def test_sizes_read_as_they_are_sold() -> None:
    assert [inches(v) for v in (0.375, 4, 4.5, 0.3125, 0)] == ["3/8", "4", "4-1/2", "5/16", "0"]


def test_root_steel_caps_withdrawal() -> None:
    survey = plain_survey(wall={"gravity": 0.73, "wet": False})
    held = grip(0.375, 8.0, 0.25, 8.0)
    assert lag_allowable_lbf(held, survey, "wind")[0] == nds.steel_tension_lbf(0.375)


def lengths(cover_in: float, shelf: dict[float, list[float]], **wall: Any) -> list[tuple[float, float]]:
    survey = plain_survey(wall={"cover": cover_in * 25.4, **wall})
    return [(held.diameter_in, held.length_in) for held in fitting_lags(survey, shelf)]


def test_the_shelf_is_tried_by_diameter_and_from_the_shortest_screw_up() -> None:
    assert lengths(0.5, {0.5: [4, 3.5], 0.375: [4, 3]}) == [(0.5, 3.5), (0.5, 4), (0.375, 3), (0.375, 4)]


@pytest.mark.parametrize(
    ("kind", "cover_in", "length_in", "fits"),
    [
        # Plate 1/4 in and 3-1/2 in of stud: 4-1/2 in go in behind 3/4 in of cover and no more.
        ("wood-studs", 0.75, 4.5, True),
        ("wood-studs", 0.74, 4.5, False),
        ("rafters", 0.75, 4.5, True),
        ("rafters", 0.74, 4.5, False),
        # Out behind a rim of 1-1/2 in by an inch.
        ("rim-board", 0.25, 3.0, True),
        ("rim-board", 0.24, 3.0, False),
        # Four diameters of 3/8 in, 1-1/2 in, besides plate and tip (7/32 in): 3 − 1/4 − 7/32 − 1-1/2.
        ("wood-studs", 1.03125, 3.0, True),
        ("wood-studs", 1.04, 3.0, False),
    ],
)
def test_a_screw_stays_in_its_member_and_goes_deep_enough(
    kind: WallKind, cover_in: float, length_in: float, fits: bool
) -> None:
    assert bool(lengths(cover_in, {0.375: [length_in]}, kind=kind)) is fits


def test_a_screw_keeps_its_distance_from_the_members_edges() -> None:
    """One and a half diameters to either side: 1-1/2 in for a screw of 1/2 in, 9/8 in for one of 3/8 in."""
    shelf = {0.5: [4.0], 0.375: [4.0]}
    assert lengths(0.5, shelf, member_width=38.1) == [(0.5, 4), (0.375, 4)]
    assert lengths(0.5, shelf, member_width=38.0) == [(0.375, 4)]
    assert lengths(0.5, shelf, member_width=28.575) == [(0.375, 4)]
    assert lengths(0.5, shelf, member_width=28.5) == []
    assert lengths(0.0, {0.375: [2.5]}, kind="rim-board", member_width=10.0) == [(0.375, 2.5)]  # a rim runs on


def test_a_screw_of_which_only_the_plain_shank_would_hold_is_none() -> None:
    # 8 in: thread 4-1/2 in less the tip, so 3-1/2 in are plain; 1-1/2 in behind 6 in of cover are all thread.
    held = grip(0.375, 8.0, 0.25, 3.25)
    assert (held.thread_in, held.penetration_in) == (0.0, 3.25)
    assert grip(0.375, 8.0, 0.25, 3.5).thread_in == pytest.approx(0.25)


def test_the_report_of_a_fastener_in_millimetres() -> None:
    fastener = chosen().fastener
    assert fastener is not None
    sizes = (fastener.diameter, fastener.length, fastener.penetration, fastener.pilot, fastener.shank_hole)
    assert fastener.kind == "lag"
    assert sizes == (9.525, 114.3, 76.9937, 6.35, 9.525)


def test_a_pilot_hole_between_two_sixteenths_is_given_as_it_is() -> None:
    """Dense wood (0.65), 1/4 in: 0.65 to 0.85 of it are 0.1625 to 0.2125, with 3/16 (0.1875) between them."""
    survey = plain_survey(wall={"gravity": 0.65})
    assert lag_fastener(grip(0.25, 4.0, 1.0, 3.5), survey).pilot == pytest.approx(3 / 16 * 25.4, abs=1e-4)
    middling = plain_survey(wall={"gravity": 0.55})  # 0.60 to 0.75: 0.1875 to 0.234 of 5/16, and exactly 3/16
    assert lag_fastener(grip(0.3125, 4.0, 1.0, 3.5), middling).pilot == pytest.approx(3 / 16 * 25.4, abs=1e-4)


def test_the_least_and_most_specific_gravity_have_values() -> None:
    for gravity in (nds.LEAST_GRAVITY, nds.MOST_GRAVITY):
        assert not codes(chosen(wall={"gravity": gravity}), "stop") & {"gravity"}


@pytest.mark.parametrize(("bolts", "said"), [(1, False), (2, True), (3, True)])
def test_two_screws_or_more_are_to_stand_in_one_line(bolts: int, said: bool) -> None:
    assert ("one-line" in codes(chosen(awning={"bolts": bolts}), "caution")) is said


def test_a_dry_wall_without_cover_has_less_to_be_said() -> None:
    choice = chosen(wall={"wet": False, "cover": 0})
    assert not {"cover", "wet-service"} & {finding.code for finding in choice.findings}
    assert chosen(wall={"cover": 0.1}).fastener is not None
    assert "cover" in codes(chosen(wall={"cover": 0.1}), "caution")


def test_brackets_are_counted_under_the_case_that_asks_most_of_each() -> None:
    def forces(*pulls: float) -> tuple[BracketForce, ...]:
        return tuple(BracketForce(0, 10, 0, pull) for pull in pulls)

    cases = [
        LoadCase("still", "permanent", forces(900, 10, 10, 10)),
        LoadCase("wind", "wind", forces(10, 900, 900, 10)),
        LoadCase("gust", "wind", forces(10, 10, 10, 900)),
    ]
    survey = plain_survey(wall={"kind": "fascia"})
    (told,) = [finding.text for finding in choose_fastener(survey, cases).findings]
    assert "hardest case: still (bracket 1); wind (brackets 2, 3); gust (bracket 4). Tension" in told


def test_an_anchor_at_all_of_its_load_holds_and_its_hardest_bracket_is_named() -> None:
    """4000 N of pull on two of four anchors, 2000 N each; no shear on the third bracket."""
    report = {"name": "sleeve anchor", "tension_n": 2000, "shear_n": 5000, "source": "report"}
    survey = plain_survey(wall={"kind": "concrete"}, anchor=report)
    pulls = (1000.0, 2000.0, 4000.0)
    case = LoadCase("gust", "wind", tuple(BracketForce(0, 0, pull, pull) for pull in pulls))
    choice = choose_fastener(survey, [case])
    assert [found.use for found in choice.brackets] == pytest.approx([0.25, 0.5, 1.0])
    assert not codes(choice, "stop")
    assert "bracket 3 takes most, 4000 N" in next(f.text for f in choice.findings if f.code == "anchor")
    assert choice.fastener is not None
    assert choice.fastener.count == 4
    over = choose_fastener(
        survey, [LoadCase("gust", "wind", (BracketForce(0, 0, 0, 0), BracketForce(0, 0, 4004, 4004)))]
    )
    assert codes(over, "stop") == {"overloaded"}
    assert "at bracket 2 (gust)" in next(f.text for f in over.findings if f.code == "overloaded")


def test_a_wall_without_fastener_shows_each_brackets_loads_of_the_largest_pull() -> None:
    survey = plain_survey(wall={"kind": "fascia"})
    cases = [
        LoadCase("still", "permanent", (BracketForce(0, 500, 0, 100),)),
        LoadCase("up", "wind", (BracketForce(0, -300, 0, 200),)),
    ]
    assert choose_fastener(survey, cases).brackets == (BracketUse(200, 300, None, "up"),)
