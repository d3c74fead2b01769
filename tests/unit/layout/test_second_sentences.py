"""What the layout of a second survey says of wood and masonry, word for word and figure for figure.

The figures are worked out in the comments from `tests.surveys.second_survey`: the plain wall on studs of 1-1/2 by
5-1/2 in, its bracket with four holes in one line, 42 mm from one to the next; loads that a test hands in are its own.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from scheduler.layout.documents import Finding, MemberUse
from scheduler.layout.placement.brackets import place_brackets
from scheduler.layout.statics.anchors import anchor_findings
from scheduler.layout.statics.fasteners import choose_fastener
from scheduler.layout.statics.lag import grip
from scheduler.layout.statics.loads import BracketUse, bracket_loads
from scheduler.layout.statics.wood import wood_findings
from tests.surveys import ANCHOR_2, second_survey
from tests.told import levels, said

Told = tuple[dict[str, Any], str, str, str]  # the survey's changes, level, code, text

# 1000 lbf are 4448 N; the first bracket is not the hardest.
USES = (BracketUse(900.0, 300.0, 0.3, "still"), BracketUse(4448.22, 444.82, 0.8, "gust"))
MEMBERS = (MemberUse(0.31, 0.12, "still"), MemberUse(0.62, 0.24, "gust"))


def wood(
    overhang_mm: float | None = None,
    members: tuple[MemberUse, ...] = MEMBERS,
    length_in: float = 4.0,
    uses: tuple[BracketUse, ...] = USES,
    **changes: Any,
) -> Iterator[Finding]:
    """What is said of a lag screw of 3/8 in behind 1/4 in of plate and 1 in of cover."""
    survey = second_survey(**changes)
    held = grip(0.375, length_in, 1.25, (survey.wall.member_depth or 0) / 25.4)  # type: ignore[operator]
    return wood_findings(survey, held, overhang_mm, uses, members)


def masonry(
    uses: tuple[BracketUse, ...] = USES, at: tuple[float, ...] = (600.0, 3800.0), **changes: Any
) -> list[Finding]:
    """What is said of the invented anchor; its brackets stand beside the plain wall's door (1500 to 2400)."""
    wall = {"kind": "concrete", "members": [], "member_width": None, "member_depth": None, "species": None, "cover": 0}
    anchor = ANCHOR_2 | changes.pop("anchor", {})
    survey = second_survey(wall=wall | changes.pop("wall", {}), anchor=anchor, **changes)
    assert survey.anchor is not None
    return list(anchor_findings(survey, survey.anchor, uses, at))


def held_by(**changes: Any) -> tuple[Finding, ...]:
    survey = second_survey(**changes)
    return choose_fastener(survey, bracket_loads(survey, [spot.at for spot in place_brackets(survey).spots])).findings


# In the wood

RAFTERS = {"kind": "rafters", "member_depth": 184.15}
RIM = {"kind": "rim-board", "members": [], "member_depth": 38.1}
TIE = {"what": "hold-down", "pull_n": 8896.44, "source": "its maker's list"}

WOOD: list[Told] = [
    # Four diameters of 3/8 in.
    ({"awning": {"holes": [{"across": 0, "down": down} for down in (0, 20, 60, 120)]}}, "stop", "hole-spacing",
     """Two holes of the bracket are 13/16" (20 mm) apart, and 3/8 in screws need 1 1/2" (38 mm) (four diameters):
     use only holes so far apart, or a bracket with another pattern."""),
    # Half of 1-1/2 in less one and a half diameters: 3/4 − 9/16.
    ({"awning": {"holes": [{"across": side, "down": down} for down in (0, 80) for side in (-30, 10)]}}, "stop",
     "one-line",
     """The bracket's holes lie up to 1 3/16" (30 mm) off its middle, and in a stud 1 1/2" (38 mm) wide screws may
     stand at most 3/16" (5 mm) off: put in solid blocking beside the stud, as wide as the pattern, or take a
     bracket with its holes in one line."""),
    ({"wall": RAFTERS | {"member_width": 28.575},
      "awning": {"holes": [{"across": 2, "down": down} for down in (0, 42, 84, 126)]}}, "stop", "one-line",
     """The bracket's holes lie up to 1/16" (2 mm) off its middle, and in a rafter 1 1/8" (29 mm) wide screws must stand
     exactly on the middle: put in solid blocking beside the rafter, as wide as the pattern, or take a bracket with
     its holes in one line."""),
    ({}, "note", "off-centre",
     """Screws may stand at most 3/16" (5 mm) off the middle of the stud: find both its edges with a probe before
     drilling."""),
    # 4.76 less the 2 that the pattern takes itself.
    ({"awning": {"holes": [{"across": 2, "down": down} for down in (0, 42, 84, 126)]}}, "caution", "off-centre",
     """Screws may stand at most 1/8" (3 mm) off the middle of the stud: find both its edges with a probe before
     drilling."""),
    # 28.575 is three diameters: nothing to either side.
    ({"wall": RAFTERS | {"member_width": 28.575}}, "caution", "off-centre",
     """Screws must stand exactly on the middle of the rafter: find both its edges with a probe before drilling."""),
    ({}, "caution", "hidden-services",
     """The screw enters the stud more than 1-1/4 in: a cable may lie there without a steel plate (NEC 300.4). Look
     for hidden services with a detector, and switch off circuits in this wall."""),
    ({"wall": RAFTERS}, "caution", "hidden-services",
     """The screw enters the rafter more than 1-1/4 in: a cable may lie there without a steel plate (NEC 300.4).
     Look for hidden services with a detector, and switch off circuits in this wall."""),
    ({}, "note", "member",
     """The stud behind bracket 2, 1 1/2" (38 mm) by 5 1/2" (140 mm), takes 0.62 of its allowable bending and 0.24
     of its shear in the case gust (NDS, douglas-fir-larch, lowest usual grade, the screw's hole taken out)."""),
    ({"wall": {"species": "unknown"}}, "note", "member",
     """The stud behind bracket 2, 1 1/2" (38 mm) by 5 1/2" (140 mm), takes 0.62 of its allowable bending and 0.24
     of its shear in the case gust (NDS, species unknown, lowest usual grade, the screw's hole taken out)."""),
    # Four and one and a half diameters: 38.1 and 14.3 mm.
    ({"wall": RAFTERS | {"end_grain": True}}, "caution", "end-grain",
     """The screws go into the rafters' cut ends, which hold less: 0.75 of the withdrawal and 0.67 of the load along
     the wall are counted (NDS 12.5.2). Keep every screw 1 1/2" (38 mm) from the rafter's lower edge and 9/16" (14
     mm) from its upper one; no nails or wood screws in their place (12.2.3). A split end carries nothing: look at
     each before drilling."""),
    # The lowest hole 126 down, and 38.1 and 14.3 besides: 178.4.
    ({"wall": RAFTERS | {"end_grain": True, "member_depth": 139.7}}, "stop", "end-grain-room",
     """The bracket's holes with their edge distances need a cut end 7" (178 mm) high, and the rafter is 5 1/2" (140
     mm) deep: reach the rafters from above or from the side, or put in a header."""),
    ({"wall": {"species": "unknown"}}, "note", "species-unknown",
     """Species of the wood unknown: reckoned as the lightest sold for framing (specific gravity 0.36). A grade stamp
     on a stud or rafter may allow more."""),
    ({}, "note", "bracket-plate",
     """Values along the wall take a steel bracket plate of 1/4 in; for another the bracket's maker must give
     them."""),
    ({"wall": RIM}, "caution", "edge-distance",
     """Load across the grain: keep every screw 1 1/2" (38 mm) from the rim's lower edge and 9/16" (14 mm) from its
     upper one. Measure both before drilling."""),
    ({"wall": RIM}, "caution", "rim-fixing",
     """What holds the rim itself is out of this drawing's reach: bracket 2 pulls 4448 N (1000 lb), and rim and
     joists are only nailed into end grain, which counts for nothing in a pull (NDS 12.2.3). Before drilling, find
     or fit behind each bracket a tie from rim to joists or blocking (a deck's hold-down is good for some 750 lb,
     IRC R507.9.2), and write it into the survey; else an engineer designs it."""),
    ({"wall": RIM | {"tie": TIE}}, "caution", "rim-fixing",
     """Behind each bracket the rim must have its tie (hold-down): bracket 2 pulls 4448 N (1000 lb), 0.50 of what its
     maker's list allows. See each before drilling."""),
    ({"wall": RIM | {"tie": TIE | {"pull_n": 4000}}}, "stop", "rim-fixing",
     """The rim's tie (hold-down) may take 4000 N (899 lb) by its maker's list, and bracket 2 pulls 4448 N (1000 lb):
     more brackets, a second tie behind each, or a design by an engineer."""),
]  # fmt: skip


@pytest.mark.parametrize(("changes", "level", "code", "text"), WOOD)
def test_what_is_said_of_the_wood(changes: dict[str, Any], level: str, code: str, text: str) -> None:
    assert said(wood(**changes), code) == Finding(level, code, " ".join(text.split()))  # type: ignore[arg-type]


def test_wood_that_would_bend_or_shear_too_far_stops_and_says_what_helps() -> None:
    shear = (MemberUse(0.31, 0.12, "still"), MemberUse(0.9, 1.08, "gust"), MemberUse(0.95, 0.2, "still"))
    stop = said(wood(members=shear), "member")
    assert stop == Finding(
        "stop",
        "member",
        'Too much for the wood itself: the stud behind bracket 2, 1 1/2" (38 mm) by 5 1/2" (140 mm), takes 0.90 of'
        " its allowable bending and 1.08 of its shear in the case gust (NDS, douglas-fir-larch, lowest usual grade,"
        " the screw's hole taken out). Use more brackets, double the stud over its whole length or block between two"
        " of them, or have an engineer design it.",
    )
    bends = said(wood(members=(MemberUse(1.01, 0.2, "still"),), wall=RAFTERS), "member")
    assert bends is not None
    assert bends.level == "stop"
    assert "the rafter behind bracket 1" in bends.text
    assert "Use more brackets, sister the rafters back to the wall or block" in bends.text
    assert levels(wood(members=(MemberUse(1.0, 1.0, "still"),)), "member") == ["note"]
    assert levels(wood(members=()), "member") == []


def test_how_far_a_rafters_tail_may_reach() -> None:
    reach = said(wood(457.2, wall=RAFTERS), "overhang")
    assert reach == Finding(
        "caution",
        "overhang",
        "The check of the rafters holds where their tails reach at most 1' 6\" (457 mm) beyond what carries them:"
        " measure the overhang at the first and last bracket; if it is longer, stop and call the office.",
    )
    assert said(wood(457.2), "overhang") is None  # a stud has no tail
    assert said(wood(None, wall=RAFTERS), "overhang") is None


@pytest.mark.parametrize(
    ("code", "told", "changes", "found"),
    [
        # 4 × 9.525 = 38.1, and half a millimetre for the rule that measured it.
        ("hole-spacing", {}, {"awning": {"holes": [{"across": 0, "down": d} for d in (0, 37.6, 80, 120)]}}, []),
        ("hole-spacing", {}, {"awning": {"holes": [{"across": 0, "down": d} for d in (0, 37.5, 80, 120)]}}, ["stop"]),
        # Room beside the middle: 4.7625, and half a millimetre.
        ("one-line", {}, {"awning": {"holes": [{"across": 5.2, "down": d} for d in (0, 42, 84, 126)]}}, []),
        ("one-line", {}, {"awning": {"holes": [{"across": 5.3, "down": d} for d in (0, 42, 84, 126)]}}, ["stop"]),
        ("off-centre", {}, {"awning": {"holes": [{"across": 5.3, "down": d} for d in (0, 42, 84, 126)]}}, []),
        ("off-centre", {}, {"awning": {"holes": [{"across": 1.7, "down": d} for d in (0, 42, 84, 126)]}}, ["note"]),
        ("off-centre", {}, {"awning": {"holes": [{"across": 1.8, "down": d} for d in (0, 42, 84, 126)]}}, ["caution"]),
        # Plate and cover are 1-1/4 in: of 2-1/2 in of screw just 1-1/4 in, its tip included, enter the stud.
        ("hidden-services", {"length_in": 2.5}, {}, []),
        ("hidden-services", {"length_in": 2.51}, {}, ["caution"]),
        # 126 + 5.5 × 9.525 = 178.4, to half a millimetre.
        ("end-grain-room", {}, {"wall": RAFTERS | {"end_grain": True, "member_depth": 177.9}}, []),
        ("end-grain-room", {}, {"wall": RAFTERS | {"end_grain": True, "member_depth": 177.8}}, ["stop"]),
        ("end-grain-room", {}, {"wall": RAFTERS | {"member_depth": 100}}, []),
        ("end-grain", {}, {"wall": RAFTERS}, []),
        ("species-unknown", {}, {}, []),
        ("rim-fixing", {}, {"wall": RIM | {"tie": TIE | {"pull_n": 4448.22}}}, ["caution"]),
        # A rim runs on to both sides: nothing is said of a middle, a cable, or the wood itself.
        ("one-line", {}, {"wall": RIM, "awning": {"holes": [{"across": x, "down": 0} for x in (-60, 0, 40, 60)]}}, []),
        ("off-centre", {}, {"wall": RIM}, []),
        ("hidden-services", {}, {"wall": RIM}, []),
        ("member", {}, {"wall": RIM}, []),
        ("edge-distance", {}, {}, []),
    ],
)  # fmt: skip
def test_the_wood_at_its_limits(code: str, told: dict[str, Any], changes: dict[str, Any], found: list[str]) -> None:
    assert levels(wood(**told, **changes), code) == found


# In masonry

REPORT = "invented report 17, table 4"
NAME = "wedge anchor 3/8 in (invented)"

MASONRY: list[Told] = [
    ({}, "note", "anchor",
     f"""{NAME} in concrete of 2500 psi or more: bracket 2 takes most, 4448 N (1000 lb) out of the wall and 445 N (100
     lb) along it in the case gust, 0.80 of the allowable loads of {REPORT} (straight-line interaction, worst anchor
     of the bolt pattern)."""),
    # 40 N·m / 1.3558 = 29.5 ft-lb
    ({}, "note", "drilling",
     f"""Hole 3/8" (9.5 mm), 2 3/4" (70 mm) deep from the masonry's face; embedment 2 3/8" (60 mm); 3 15/16" (100 mm) or
     more from any edge and 1 9/16" (40 mm) from the next anchor; torque 40 N·m (30 ft-lb) ({REPORT}). Blow and brush
     every hole clean."""),
    # 12 mm are 30.2 of 64 parts.
    ({"anchor": {"hole": 12, "torque_nm": 0}}, "note", "drilling",
     f"""Hole 15/32" (12.0 mm), 2 3/4" (70 mm) deep from the masonry's face; embedment 2 3/8" (60 mm); 3 15/16" (100 mm)
     or more from any edge and 1 9/16" (40 mm) from the next anchor; no torque ({REPORT}). Blow and brush every hole
     clean."""),
    ({"anchor": {"spacing": 60}}, "stop", "anchor-spacing",
     f"""The bracket's holes are 1 5/8" (42 mm) apart, and {REPORT} asks for 2 3/8" (60 mm) between anchors: use fewer
     holes, another bracket, or an anchor with a report for this spacing."""),
    ({"wall": {"cover": 25.4}}, "caution", "cover",
     """A cover of 1" (25 mm) lies before the masonry and carries nothing: hole depth and embedment count from the
     masonry's own face, so drill that much deeper and take the longer anchor."""),
    ({"wall": {"kind": "hollow-block", "member_width": 120}, "anchor": {"base": "grouted block"}}, "caution",
     "hollow-block",
     """Hollow block: the report is entered as for grouted block; it must be for block as this one is, hollow or
     grouted. Drill one trial hole; where the drill falls into a cell that the report does not mean, stop."""),
    ({"wall": {"kind": "hollow-block", "member_width": 120}}, "stop", "anchor-base",
     """The report is entered as for concrete of 2500 psi or more, and this wall is hollow block: its loads do not hold
     here. Enter the anchor's report for such a wall, or take an anchor that has one."""),
]  # fmt: skip


@pytest.mark.parametrize(("changes", "level", "code", "text"), MASONRY)
def test_what_is_said_of_an_anchor(changes: dict[str, Any], level: str, code: str, text: str) -> None:
    assert said(masonry(**changes), code) == Finding(level, code, " ".join(text.split()))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("kind", "base", "stops"),
    [
        ("hollow-block", "Concrete of 2500 psi", True),
        ("solid-masonry", "concreto de 2500 psi", True),
        ("concrete", "solid clay brick", True),
        ("concrete", "bloque hueco", True),
        ("hollow-block", "hollow concrete block, ungrouted", False),  # block, though made of concrete
        ("solid-masonry", "solid clay brick", False),
        ("solid-masonry", "CMU", False),
        ("concrete", "cracked concrete", False),
        ("concrete", "concrete and solid masonry", False),
        ("hollow-block", "as in table 4", False),  # no word of it is known: the caution asks
    ],
)
def test_a_report_for_another_material_than_the_walls_stops(kind: str, base: str, stops: bool) -> None:
    found = masonry(wall={"kind": kind, "member_width": 120}, anchor={"base": base})
    assert levels(found, "anchor-base") == ["stop"] * stops
    assert levels(found, "hollow-block") == ["caution"] * (kind == "hollow-block" and not stops)


def test_the_hardest_bracket_is_named_wherever_it_is() -> None:
    first = said(masonry(USES[::-1]), "anchor")
    assert first is not None
    assert "bracket 1 takes most, 4448 N (1000 lb)" in first.text
    pulled = said(wood(uses=USES[::-1], wall=RIM), "rim-fixing")
    assert pulled is not None
    assert "bracket 1 pulls 4448 N (1000 lb)" in pulled.text


def test_an_anchor_that_takes_too_much_stops() -> None:
    much = (BracketUse(900.0, 300.0, 1.0, "still"), BracketUse(9000.0, 300.0, 1.25, "gust"))
    assert said(masonry(much), "overloaded") == Finding(
        "stop",
        "overloaded",
        f"{NAME} would take 1.25 times its allowable load at bracket 2 (gust): more anchors or brackets, another anchor"
        " with its report, or a design by an engineer is needed.",
    )
    assert said(masonry(much[:1], at=(600.0,)), "overloaded") is None  # all of it, and no more


def test_an_anchor_near_a_doors_edge_stops() -> None:
    """The holes are 2900, 2858, 2816 and 2774 up; the door is 1500 to 2400 from the datum."""
    door = {"left": 1500, "right": 2400, "top": 2700, "swings_out": False}
    over = said(masonry(at=(600.0, 2000.0), doors=[door | {"left": 100, "right": 200}, door]), "anchor-edge")
    assert over == Finding(
        "stop",
        "anchor-edge",
        f'An anchor is 2 15/16" (74 mm) from the edge of door 2, and {REPORT} asks for 3 15/16" (100 mm): mount higher,'
        " or shift the awning.",
    )


@pytest.mark.parametrize(
    ("at", "top", "edge", "stops"),
    [
        (1440, 2800, 60.505, True),  # 60 beside the left jamb, above nothing
        (1440, 2800, 60.5, False),  # a rule may be half a millimetre off
        (2460, 2800, 60.505, True),
        (2460, 2800, 60.5, False),
        (1440, 2694, 100.505, True),  # 60 beside and 80 above the corner: 100
        (1440, 2694, 100.5, False),
        (2460, 2694, 100.505, True),
        (2460, 2694, 100.5, False),
        (2000, 2674, 100.505, True),  # right over it
        (2000, 2674, 100.5, False),
    ],
)
def test_an_anchors_distance_from_an_opening(at: float, top: float, edge: float, stops: bool) -> None:
    door = {"left": 1500, "right": 2400, "top": top, "swings_out": False}
    found = masonry(USES[:1], at=(at,), doors=[door], anchor={"edge": edge})
    assert (said(found, "anchor-edge") is not None) is stops


def test_the_hole_that_is_nearest_to_the_opening_counts() -> None:
    door = {"left": 1500, "right": 2400, "top": 3000, "swings_out": False}
    holes = [{"across": side, "down": down} for down in (0, 80) for side in (-30, 50)]
    near = masonry(USES[:1], at=(1420.0,), doors=[door], awning={"holes": holes}, anchor={"edge": 40})
    stop = said(near, "anchor-edge")  # 1420 + 50 are 30 from the jamb
    assert stop is not None
    assert 'An anchor is 1 3/16" (30 mm) from' in stop.text


def test_masonry_at_its_limits() -> None:
    assert levels(masonry(anchor={"spacing": 42.5}), "anchor-spacing") == []  # holes 42 apart, to half a millimetre
    assert levels(masonry(anchor={"spacing": 42.6}), "anchor-spacing") == ["stop"]
    single = {"bolts": 1, "holes": [{"across": 0, "down": 0}]}
    assert levels(masonry(awning=single, anchor={"spacing": 900}), "anchor-spacing") == []
    assert [finding.code for finding in masonry()] == ["anchor", "drilling"]
    assert levels(masonry(wall={"cover": 0.5}), "cover") == ["caution"]


# What is chosen

CHOSEN: list[Told] = [
    # Bracket 1 turns by 5340 N × 150 mm (test_sentences); its upper screw takes 150 / (150² + 108² + 66² + 24²) of
    # that: T = 691 lbf, and V = 26 lbf along the wall. W' = 304.97 × 2.28125 in of thread × 1.6 × 0.7 = 779.2. Z' of
    # two hinges an inch apart: 79.9 × 2.53125/3 × 1.6 × 0.7 = 75.5. By 12.4.1 the use is about T/W' + V²/(T Z').
    # The thread's mean at failure is 4.5 × 304.97 × 2.28125 = 3131 lbf, twice over 1200.
    ({}, "note", "fastener",
     """lag 3/8 x 4 in, 4 a bracket: bracket 1 takes most, 5340 N (1200 lb) out of the wall and 462 N (104 lb) along
     it in the case self weight and service wind class 2 down, open, 0.90 of the allowable load (NDS, specific gravity
     0.5, wet service). That is the worst screw of the bracket's bolt pattern. Cross-check, no design value: screws so
     deep pull out of dry wood of that gravity at 5.2 times this pull on average (Wood Handbook)."""),
    ({"wall": {"kind": "solid-masonry", "members": [], "species": None, "member_depth": None}}, "stop", "anchor-report",
     """No anchor is entered for this wall of solid masonry: enter its name, allowable tension and shear, hole, depth,
     embedment, edge distance, spacing and torque from its maker's evaluation report; until then nothing may be
     drilled (there is no general value: IBC 1908.1)."""),
]  # fmt: skip


@pytest.mark.parametrize(("changes", "level", "code", "text"), CHOSEN)
def test_what_is_said_of_the_choice(changes: dict[str, Any], level: str, code: str, text: str) -> None:
    assert said(held_by(**changes), code) == Finding(level, code, " ".join(text.split()))  # type: ignore[arg-type]


def test_a_second_survey_has_no_sentence_on_what_its_layout_says_by_itself() -> None:
    """The first form's guesses at the member's depth and at a bracket's pattern are none here."""
    codes = {finding.code for finding in held_by()}
    assert not codes & {"member-depth", "one-line"}
    assert sum(finding.code == "bracket-plate" for finding in held_by()) == 1
