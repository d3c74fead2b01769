"""What a wall drawing says in words of the survey, of the bracket's pattern and of every wall, word for word.

Figures from `tests.surveys`: the control dimension is 5210 mm, 17' 1 1/8"; the holes lie 42 mm apart, 1.654 in.
"""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from scheduler.layout.compute import lay_out
from scheduler.layout.documents import Finding, Survey
from scheduler.layout.drawing.bracket_view import pattern_words
from scheduler.layout.drawing.cautions import ranked, sort_out, standing_words
from scheduler.layout.drawing.facts import datum_words, fact_lines
from scheduler.layout.drawing.paper.measures import Measures
from tests.surveys import ANCHOR_2, plain_survey, second_survey

IMPERIAL, METRIC = Measures("imperial"), Measures("metric")
LEFT = "left as seen from outside, facing the wall"


def named(name: str, what: str, at: float) -> Survey:
    return second_survey(datum={"name": name, "control": {"what": what, "at": at}})


@pytest.mark.parametrize(
    ("survey", "words"),
    [
        (second_survey(), f"0 is the left jamb of the patio door, {LEFT}. Check: right edge of the downspout at"
                          " 17' 1 1/8\" (5210 mm) to the right of it."),
        (named(" The corner of the house. ", "the meter box", -300),
         f"0 is the corner of the house, {LEFT}. Check: meter box at 11 13/16\" (300 mm) to the left of it."),
        (named("theater wall", "post", 0),
         f"0 is the theater wall, {LEFT}. Check: post at 0\" (0 mm) to the right of it."),
        (plain_survey(), f"0 is where the surveyor chose it, without a name: ask before drilling; {LEFT}."),
    ],
)  # fmt: skip
def test_what_the_zero_is(survey: Survey, words: str) -> None:
    assert datum_words(survey, IMPERIAL) == words


RIM = {"kind": "rim-board", "members": [], "member_depth": 38.1, "cover": 0, "wet": False}
STONE = {"kind": "concrete", "members": [], "member_width": None, "member_depth": None, "species": None, "cover": 0}


@pytest.mark.parametrize(
    ("survey", "line"),
    [
        (second_survey(), 'wood studs, 1 1/2" (38 mm) by 5 1/2" (140 mm), douglas fir larch (specific gravity 0.5),'
                          ' cover 1" (25 mm), wet.'),
        (second_survey(wall={"species": "unknown", "cover": 0}),
         'wood studs, 1 1/2" (38 mm) by 5 1/2" (140 mm), species unknown (specific gravity 0.36), no cover, wet.'),
        (second_survey(wall=RIM),
         'rim board, 1 1/2" (38 mm), douglas fir larch (specific gravity 0.5), no cover, dry.'),
        (second_survey(wall={"kind": "rafters", "end_grain": True, "member_depth": 184.15, "cover": 0}),
         'rafters, 1 1/2" (38 mm) by 7 1/4" (184 mm), douglas fir larch (specific gravity 0.5), screws into the cut'
         " ends, no cover, wet."),
        (second_survey(wall=STONE, anchor=ANCHOR_2), "concrete, concrete of 2500 psi or more, no cover, wet."),
        (second_survey(wall=STONE), "concrete, no cover, wet."),
        (plain_survey(), 'wood studs, 1 1/2" (38 mm) (specific gravity 0.42), cover 1" (25 mm), wet.'),
        (plain_survey(wall={"kind": "concrete"}), 'concrete, cover 1" (25 mm), wet.'),
    ],
)  # fmt: skip
def test_the_make_of_the_wall(survey: Survey, line: str) -> None:
    assert next(fact_lines(survey, IMPERIAL)) == f"Wall: {line}"


@pytest.mark.parametrize(
    ("changes", "lines"),
    [
        ({}, ["No valance.", "Outlet: 15' 1 1/8\" (4600 mm) from 0, 8' 10 5/16\" (2700 mm) up, GFCI-protected.",
              "House of 1994."]),
        ({"awning": {"valance": 200}, "outlet": {"at": -50, "height": 300, "gfci": False}, "built": None},
         ['Valance: 7 7/8" (200 mm) below the front bar.',
          "Outlet: -1 15/16\" (-50 mm) from 0, 11 13/16\" (300 mm) up, not GFCI-protected.",
          "Year of the house not known."]),
        ({"outlet": None}, ["No valance.", "No outlet was found for the motor.", "House of 1994."]),
        ({"outlet": None, "awning": {"motor": None}}, ["No valance.", "House of 1994."]),
    ],
)  # fmt: skip
def test_what_the_second_form_asks_besides(changes: dict[str, Any], lines: list[str]) -> None:
    assert list(fact_lines(second_survey(**changes), IMPERIAL))[1:] == lines
    assert len(list(fact_lines(plain_survey(), IMPERIAL))) == 1


LEVER = '; lever 5 7/8" (150 mm) from the upper fasteners to the lower bearing edge.'
TWO_BY_TWO = [{"across": side, "down": down} for down in (80, 0) for side in (30, -30)]


@pytest.mark.parametrize(
    ("survey", "words"),
    [
        (second_survey(), 'Bolt pattern: holes at 0, 1 5/8", 3 5/16", 4 15/16" below the upper fasteners, all on its'
                          f" middle{LEVER}"),
        (second_survey(awning={"holes": TWO_BY_TWO}),
         'Bolt pattern, down from the upper fasteners and off the middle: 0 down, 1 3/16" left; 0 down, 1 3/16" right;'
         f' 3 1/8" down, 1 3/16" left; 3 1/8" down, 1 3/16" right{LEVER}'),
        (plain_survey(), f"Bolt pattern not surveyed: 4 fasteners, half of them taken to pull{LEVER}"),
    ],
)  # fmt: skip
def test_the_bolt_pattern_in_words(survey: Survey, words: str) -> None:
    assert pattern_words(survey, IMPERIAL) == words


def test_half_a_millimetre_off_the_middle_is_off_it() -> None:
    holes = [{"across": 0.5, "down": 0}, {"across": -0.4, "down": 60}]
    assert pattern_words(second_survey(awning={"bolts": 2, "holes": holes}), METRIC) == (
        "Bolt pattern, down from the upper fasteners and off the middle: 0 down, 0.5 mm right; 60 mm down; lever 150 mm"
        ' (5 7/8") from the upper fasteners to the lower bearing edge.'
    )


# Which cautions come first


def made(level: Any, *codes: str) -> list[Finding]:
    return [Finding(level, code, f"{code}.") for code in codes]


def test_what_can_bring_an_awning_down_goes_before_what_can_hurt_and_that_before_what_can_spoil() -> None:
    """What is unknown comes after what is ranked, and what every wall has at last."""
    right = [
        "rim-fixing", "overhang", "end-grain", "edge-distance", "one-line", "off-centre", "anchor", "hollow-block",
        "outer-inside", "arm-unserved", "cover", "headroom", "door", "wind-class-0", "wind-class-high",
        "mounting-height", "old-paint", "power", "band-height", "run-off", "something-new", "ladder",
    ]  # fmt: skip
    assert [finding.code for finding in ranked(made("caution", *reversed(right)))] == right
    levels = [*made("note", "rim-fixing"), *made("caution", "run-off"), *made("stop", "power", "overhang")]
    assert [finding.level for finding in ranked(levels)] == ["stop", "stop", "caution", "note"]
    assert [finding.code for finding in ranked(levels)][:2] == ["power", "overhang"]  # stops as they come


def test_each_finding_goes_to_one_place() -> None:
    stops, notes = made("stop", "ladder", "door"), made("note", "hidden-services", "anchor")
    special, standing = made("caution", "door", "cover"), made("caution", "ladder", "service-wind", "material-lift")
    found = sort_out([*notes, *standing, *special, *stops])
    assert (found.stops, found.notes) == (tuple(stops), tuple(notes))
    assert found.special == (special[1], special[0])
    assert found.standing == tuple(standing)


def footer(tools: tuple[str, ...], **changes: Any) -> str:
    survey = plain_survey(**changes)
    return standing_words(survey, msgspec.structs.replace(lay_out(survey), tools=tools))


def test_what_holds_on_every_wall() -> None:
    assert footer(("drill driver", "stepladder 6 ft (2)", "material lift")) == (
        "Always: look for hidden cables, pipes and gas before each hole. Stepladder 6 ft (2): open and locked,"
        " on firm ground, 10 ft from power lines, nobody on the top two steps; the awning goes up by material"
        " lift, held by its mounting bar, never carried on a ladder. Long parts down above 30 mph of wind. Thunder"
        " 30 s or less after the flash (6 miles): go in, and wait 30 min after the last. Loads here are service"
        " wind class 2. The awning is closed before any storm."
    )
    bare = footer(("level 4 ft",), wind_class=0)
    assert "hole. No ladder reaches: scaffold or aerial lift, on firm ground, 10 ft from power lines; the" in bare
    assert "top two" not in bare
    leaning = footer(("extension ladder 24 ft (2)",))
    assert "Extension ladder 24 ft (2): tied or held, on firm ground, 10 ft from power lines, nobody on" in leaning
    assert "the top three rungs; the awning" in leaning
    assert "goes up by enough people, held" in bare
    assert "Loads here are self weight alone, no wind. The awning" in bare
    nothing = footer((), wall={"kind": "brick-veneer"})  # nothing holds there: no load is reckoned, and none claimed
    assert "Without brackets no load is checked. The awning is closed before any storm." in nothing
    assert "Loads here" not in nothing
