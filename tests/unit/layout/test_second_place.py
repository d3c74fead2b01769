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
     all under the front bar: mount it 26' 1 15/16" (7974 mm) higher, set the pitch to 3.9° or less, too flat for
     rain, or limit the projection to 2' 7 3/16" (792 mm)."""),
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
    assert 'centred there (between 3 15/16" (100 mm) left of the datum and 6\' 8" (2032 mm)), ' in text


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
        (2001, FLAT | {"front_drop": 2000}, "private", "caution", "a tall person meets it"),
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
