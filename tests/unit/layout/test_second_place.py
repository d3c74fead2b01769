"""What the layout of a second survey says of the place, word for word: headroom, outlet, paint, ladders.

Figures as `test_sentences` works them out: fasteners 2900 up, 3000 of cloth at 14°, 2094.2 clear under the front bar.
"""

from __future__ import annotations

from typing import Any

import pytest

from scheduler.layout.compute import lay_out
from scheduler.layout.documents import Finding
from scheduler.layout.placement.brackets import place_brackets
from scheduler.layout.site.clearance import clearance_findings
from scheduler.layout.site.ladders import ladders_for
from scheduler.layout.site.services import from_datum
from tests.surveys import second_survey
from tests.told import said

Told = tuple[dict[str, Any], str, str, str]  # the survey's changes, level, code, text


def clearance(**changes: Any) -> list[Finding]:
    survey = second_survey(**changes)
    return clearance_findings(survey, place_brackets(survey))


OPEN = "Fully out at 14° the front bar comes 9' 6 5/8\" (2911 mm) out and 2' 4 9/16\" (726 mm) down,"
MOTOR = "The motor is at the right end, 14' 5 1/4\" (4400 mm) from the datum"
OUTLET = (
    "an extension cord serves set-up only; a permanent one (GFCI-protected, weather-resistant, covered with the plug"
    " in: NEC 210.8, 406.9) is for a licensed electrician. Tell the customer before the visit."
)
PAINT = (
    "paint from before 1978 may hold lead (40 CFR 745), and old stucco or siding asbestos: have it tested before"
    " drilling, and keep the dust down."
)
MORE = (
    'mount it 1 9/16" (39 mm) higher, set the pitch to 13.2° or less, too flat for rain, or limit the projection to'
    " 9' 3 11/16\" (2837 mm)."
)

SITE: list[Told] = [
    # test_sentences works out these figures.
    ({}, "caution", "headroom",
     f"""{OPEN} with 6' 10 7/16" (2094 mm) clear under the front bar, 1 9/16" (39 mm) less than the usual 7' (2134 mm)
     (common practice on a private patio): {MORE}"""),
    ({"place": {"under": "public"}}, "stop", "headroom",
     f"""{OPEN} with 6' 10 7/16" (2094 mm) clear under the front bar, 1 9/16" (39 mm) less than the 7' (2134 mm) that
     must stay clear over a public way, valance included (California Building Code 2013, 3202.2.3): {MORE}"""),
    ({"awning": {"pitch_deg": 10}}, "note", "headroom",
     """Fully out at 10° the front bar comes 9' 8 5/16" (2954 mm) out and 1' 8 1/2" (521 mm) down, with 7' 6 1/2" (2299
     mm) clear under the front bar: measure again where the ground is not level."""),
    # 2094.2 − 200 = 1894.2, 239.4 less than 2133.6: a drop of 486.4 is arcsin 0.1621 = 9.33°, or 2010.5 of cloth.
    ({"awning": {"valance": 200}}, "caution", "headroom",
     f"""{OPEN} with 6' 2 9/16" (1894 mm) clear under the valance: a tall person meets it, since doors are 6' 8" (2032
     mm) high. On a private patio the customer decides: show the height with a tape before drilling, have it signed,
     or mount it 9 7/16" (239 mm) higher, set the pitch to 9.3° or less, too flat for rain, or limit the projection
     to 6' 7 1/8" (2010 mm)."""),
    # 10 m at 60°: the underside is 2900 − 8660.3 − 80 = −5840.3; a drop of 686.4 is arcsin 0.0686 = 3.94°, 792 cloth.
    ({"awning": {"projection": 10000, "pitch_deg": 60}}, "stop", "headroom",
     """Fully out at 60° the front bar comes 16' 4 7/8" (5000 mm) out and 28' 4 15/16" (8660 mm) down, with no room at
     all under the front bar: mount it 26' 1 15/16" (7974 mm) higher."""),  # neither 3.9° nor 792 of 10 m is advice
    # The outlet: 200 further right than the motor and 200 lower, so 282.8 of cord.
    ({}, "note", "power",
     f"""{MOTOR}; its outlet is at 15' 1 1/8" (4600 mm), 8' 10 5/16" (2700 mm) up, 11 1/8" (283 mm) of cord from
     it."""),
    ({"outlet": {"gfci": False}}, "caution", "power",
     f"""{MOTOR}; its outlet is at 15' 1 1/8" (4600 mm), 8' 10 5/16" (2700 mm) up, 11 1/8" (283 mm) of cord from it. It
     is not GFCI-protected, as outdoor outlets must be (NEC 210.8): a licensed electrician puts that right."""),
    ({"outlet": None}, "caution", "power", f"{MOTOR}, and the survey found no outlet: {OUTLET}"),
    ({"outlet": None, "awning": {"motor": "left"}}, "caution", "power",
     f"""The motor is at the left end, 1' 3 3/4" (400 mm) from the datum, and the survey found no outlet: {OUTLET}"""),
    ({"outlet": None, "awning": {"motor": "left"}, "place": {"left_end": 0}}, "caution", "power",
     f"""The motor is at the left end, at the datum, and the survey found no outlet: {OUTLET}"""),
    # The awning goes two steps of 1/2 in to the right (test_sentences).
    ({"outlet": None, "awning": {"arms": [500, 3400]}, "place": {"slide": 40}}, "caution", "power",
     f"""The motor is at the right end, 14' 6 1/4" (4425 mm) from the datum, and the survey found no outlet:
     {OUTLET}"""),
    ({"wall": {"kind": "rim-board", "members": [], "member_depth": 38.1}}, "caution", "hidden-services",
     """Cables or pipes may run behind the drill points: look for them with a detector, and switch off what is there,
     before drilling."""),
    ({"built": 1977}, "caution", "old-paint", f"House of 1977: {PAINT}"),
    ({"built": None}, "note", "old-paint", f"Year of the house unknown: {PAINT}"),
]  # fmt: skip


@pytest.mark.parametrize(("changes", "level", "code", "text"), SITE)
def test_what_is_said_of_the_place(changes: dict[str, Any], level: str, code: str, text: str) -> None:
    assert said(clearance(**changes), code) == Finding(level, code, " ".join(text.split()))  # type: ignore[arg-type]


BLOCK = {
    "kind": "hollow-block", "member_width": None, "member_depth": None, "species": None,
    "members": [812.8, 1225.6, 2844.8, 4064],
}  # fmt: skip


@pytest.mark.parametrize(
    ("wall", "way"),
    [
        ({"members": BLOCK["members"]}, ", or put in backing nearer to it."),
        (BLOCK, ", or grout a cell nearer to it solid."),
    ],
)
def test_an_arm_without_a_bracket_gets_no_backing_in_masonry(wall: dict[str, Any], way: str) -> None:
    """Brackets as in test_sentences, 745 mm from the middle arm."""
    found = said(clearance(awning={"arms": [600, 1700, 3400]}, wall=wall, place={"slide": 0}), "arm-unserved")
    assert found is not None
    assert found.text.startswith(
        "Arm 2 has no bracket within 1' (305 mm), the nearest is 2' 5 5/16\" (745 mm) away: ask"
    )
    assert found.text.endswith(f" ask the manufacturer{way}")


def test_where_backing_goes_is_told_in_both_units() -> None:
    """One place is needed 700 from the datum, between a stud 100 left of it and one 2032 right."""
    members = [-100, 2032, 2438.4, 2844.8, 3940]
    text = next(f.text for f in lay_out(second_survey(wall={"members": members})).findings if f.code == "no-backing")
    assert 'centered there (between 3 15/16" (100 mm) left of the datum and 6\' 8" (2032 mm)), ' in text


FLAT: dict[str, Any] = {"pitch_deg": 0, "front_drop": 0}


@pytest.mark.parametrize(
    ("height", "awning", "under", "level", "words"),
    [
        (2133.6, FLAT, "private", "note", "measure again"),
        (2133.6, FLAT, "public", "note", "measure again"),
        (2133.59, FLAT, "private", "caution", "less than the usual"),
        (2133.59, FLAT, "public", "stop", "public way"),
        (2032, FLAT, "private", "caution", "less than the usual"),
        (2031.99, FLAT, "private", "caution", "a tall person meets it"),
        (2000, FLAT | {"front_drop": 2000}, "private", "stop", "no room at all"),  # the bar lies on the ground
        (2001, FLAT | {"front_drop": 2000}, "private", "caution", "most people meet it"),
        (1828.8, FLAT, "private", "caution", "a tall person meets it"),
        (1828.7, FLAT, "private", "caution", "most people meet it"),
        (2333.6, FLAT | {"valance": 200}, "public", "note", "under the valance"),
        (2333.5, FLAT | {"valance": 200}, "public", "stop", "under the valance"),
    ],
)
def test_headroom_at_its_limits(height: float, awning: dict[str, Any], under: str, level: str, words: str) -> None:
    finding = said(clearance(awning=awning, place={"height": height, "under": under}), "headroom")
    assert finding is not None
    assert finding.level == level
    assert words in finding.text


def test_ladders_of_a_second_survey_say_where_feet_may_stand_and_count_thunder() -> None:
    """Six feet of ladder: standing two below its top, reaching four over it (test_ladder_lengths has the rest)."""
    step, around = ladders_for(9 * 304.8, landing=False).findings
    assert step.text == (
        "2 stepladders of 6 ft, type IA or better, for work 9' (2743 mm) up: fully open on level ground, locked, never"
        " standing on the top or the step below it (29 CFR 1926.1053(b)(13)). Feet no higher than 4 ft; from there a"
        " person of 5 ft 6 in reaches 10 ft (ladder makers' guides)."
    )
    assert around == Finding(
        "caution",
        "ladder-surroundings",
        "No awning is carried on a ladder; keep ladders and long parts 10 ft from power lines; stop in wind above 30"
        " mph with material in hand (note to 29 CFR 1910.269(x)). Thunder: count from flash to bang, 5 seconds a mile;"
        " at 30 seconds (6 miles) or less go in, and stay in until 30 minutes after the last thunder.",
    )
    # 20 ft up lean 20.66 ft of ladder, a quarter of that from the wall; without rails above 24 ft are enough.
    extended, again = ladders_for(20 * 304.8, landing=False).findings
    assert extended.text == (
        "2 extension ladders of 24 ft, type IA or better, for work 20' (6096 mm) up: foot 5' 1 15/16\" (1574 mm) from"
        " the wall (a quarter of the working length, 29 CFR 1926.1053(b)(5)), sections overlapping 3 ft or more, tied"
        " or held. A platform is better for work with both hands."
    )
    assert again == around


# What the sheet of a real wall must not say


def test_no_pitch_flatter_than_five_degrees_and_no_less_than_half_the_cloth_is_advised() -> None:
    """3 m at 14° drop 725.8; missing 500 leaves a drop of 225.8: 4.31°, or 933 of cloth, less than half of it."""
    found = said(clearance(place={"height": 2439.4}), "headroom")
    assert found is not None
    assert found.text.endswith("have it signed, or mount it 1' 7 11/16\" (500 mm) higher.")
    found = said(clearance(place={"height": 2700}), "headroom")  # missing 239.4: 9.3°, or 2010 of cloth
    assert found is not None
    assert found.text.endswith(
        "higher, set the pitch to 9.3° or less, too flat for rain, or limit the projection to 6' 7 1/8\" (2010 mm)."
    )


def test_a_leaf_wider_than_the_reach_meets_the_front_bar_where_that_is() -> None:
    """Six feet of leaf, but the front bar is only 1455.4 out (1.5 m at 14°): there, and not 6 feet out, they meet."""
    door = {"left": 1000, "right": 2828.8, "top": 2108, "swings_out": True}
    found = said(clearance(awning={"projection": 1500}, place={"height": 2500}, doors=[door]), "door")
    assert found is not None
    assert "taken to be as wide as its opening" in found.text
    assert "4' 9 5/16\" (1455 mm) out the front bar is" in found.text


@pytest.mark.parametrize(("count", "name"), [(1, "the door"), (2, "door 1")])
def test_a_door_on_its_own_has_no_number(count: int, name: str) -> None:
    """The drawing writes none at it."""
    doors = [
        {"left": 1000, "right": 1900, "top": 2800, "swings_out": True},
        {"left": 3000, "right": 3900, "top": 2000, "swings_out": False},
    ][:count]
    found = said(clearance(doors=doors), "door")
    assert found is not None
    assert f" {name} (3' 3 3/8\" (1000 mm) to" in found.text


def obstacle(**place: float) -> Finding:
    found = said(clearance(obstacles=[{"what": "thing", **place}]), "obstacle")
    assert found is not None
    return found


def test_what_runs_from_eaves_to_ground_is_moved_aside() -> None:
    """A downspout 80 wide, 2400 high, its upper end 20 behind the awning: higher or lower it would still be there."""
    spout = obstacle(left=1000, right=1080, bottom=340, top=2740)
    assert "have it moved 2' 2 3/4\" (680 mm) left or 11' 1 7/8\" (3400 mm) right" in spout.text
    box = obstacle(left=1000, right=1080, bottom=2600, top=2740)
    assert 'have it moved 13/16" (20 mm) down' in box.text


def test_nothing_is_to_be_moved_by_nought() -> None:
    """A box half a millimetre behind the awning."""
    text = obstacle(left=1000, right=1080, bottom=2600, top=2720.5).text
    assert '0"' not in text.replace('10"', "")
    assert 'have it moved 1/16" (2 mm) down' in text
    above = said(clearance(band={"bottom": 2700, "top": 2959.4}), "above-band")  # the body's upper edge is 2960 up
    assert above is not None
    assert above.text == 'The closed awning reaches 1/16" (2 mm) above the clear band: lower the brackets by that much.'


@pytest.mark.parametrize(
    ("at", "height", "stops"),
    [
        (2000, 2900, True),  # behind the awning, which hangs from 2720 to 2960 at 400 to 4400
        (2000, 2664, True), (2000, 2662, False), (2000, 3016, True), (2000, 3018, False),
        (366, 2900, True), (364, 2900, False), (4434, 2900, True), (4436, 2900, False),
    ],
)  # fmt: skip
def test_no_outlet_is_left_behind_the_closed_awning(at: float, height: float, stops: bool) -> None:
    """Its plate is 70 by 114; its plug could not be reached, and its cable is where brackets are drilled."""
    found = said(clearance(outlet={"at": at, "height": height, "gfci": True}), "outlet")
    assert (found is not None) is stops
    if found is not None:
        assert found.level == "stop"
        assert "licensed electrician moves it first" in found.text


def test_places_left_of_the_datum_are_said_in_words() -> None:
    assert from_datum(-139.7) == '5 1/2" (140 mm) left of the datum'
    assert (from_datum(0.2), from_datum(12.7)) == ("at the datum", '1/2" (13 mm) from the datum')
    found = clearance(place={"left_end": -200, "slide": 0}, band={"left": -400}, outlet=None, awning={"motor": "left"})
    power = said(found, "power")
    assert power is not None
    assert 'at the left end, 7 7/8" (200 mm) left of the datum' in power.text


def test_the_arms_of_one_awning_are_told_in_one_sentence() -> None:
    """Both outer arms stand outside the outermost studs; so do two inner ones far from any."""
    members = [900.0, 2000.0, 2800.0, 3900.0]
    found = clearance(awning={"arms": [350, 3650]}, wall={"members": members}, place={"slide": 0})
    inside = [finding.text for finding in found if finding.code == "outer-inside"]
    assert inside == [
        'The outer brackets of arms 1 and 2 are 5 7/8" (150 mm) and 5 7/8" (150 mm) inside the arms, where no place'
        " outside can be had: check that the manufacturer allows it (outside is common practice)."
    ]


@pytest.mark.parametrize(
    ("kind", "coat"), [("stucco-on-studs", "old stucco or siding"), ("concrete", "an old coating")]
)
def test_old_paint_names_what_the_wall_can_have(kind: str, coat: str) -> None:
    wall: dict[str, Any] = {"kind": kind}
    if kind == "concrete":
        wall |= {"members": [], "member_width": None, "member_depth": None, "species": None}
    found = said(clearance(wall=wall, built=1950), "old-paint")
    assert found is not None
    assert f"and {coat} asbestos" in found.text
