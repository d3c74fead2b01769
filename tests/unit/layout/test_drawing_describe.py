"""The wall drawing in words, sentence by sentence, for whoever cannot see it."""

from __future__ import annotations

import re
from typing import Any

import msgspec

from scheduler.layout.compute import lay_out
from scheduler.layout.documents import Finding
from scheduler.layout.drawing import describe
from scheduler.layout.drawing.schedule import use_words
from tests.surveys import plain_survey

CASE = "self weight and service wind class 2 down, open"
ANCHOR = {"name": "sleeve anchor 1/2 in", "tension_n": 9000, "shear_n": 9000, "source": "report 7"}
CONCRETE: dict[str, Any] = {"wall": {"kind": "concrete", "members": []}}
LIGHT = {"what": "light", "left": 3000, "right": 3150, "bottom": 2500, "top": 2600}


def sentences(block: str) -> list[str]:
    """Each sentence begins a line; its further lines are set in."""
    return [" ".join(part.split()) for part in re.split(r"\n {8}(?=\S)", block.strip("\n "))]


def test_the_description_in_feet_and_inches() -> None:
    door = {"left": 1500, "right": 2400, "top": 2050, "swings_out": True}
    survey = plain_survey(obstacles=[LIGHT], doors=[door])
    layout = msgspec.structs.replace(
        lay_out(survey), findings=(Finding("note", "n", "Later."), Finding("stop", "s", "Now."))
    )
    *lines, tools = describe(survey, layout)
    assert lines == sentences(
        f"""
        Wall drawing of survey alder-4m.
        The manufacturer's instructions and local codes go first. Check on site before drilling.
        0 is where the surveyor chose it, without a name: ask before drilling; left as seen from outside,
          facing the wall.
        The wall is wood studs; its clear band runs from 0" (0 mm) to 17' 8 5/8" (5400 mm) along the wall, 8'
          10 5/16" (2700 mm) to 9' 10 1/8" (3000 mm) up.
        The awning is 13' 1 1/2" (4000 mm) wide. Its left end is at 1' 3 3/4" (400 mm) from the wall's zero,
          its right end at 14' 5 1/4" (4400 mm).
        Its arms are at 3' 3 3/8" (1000 mm), 12' 5 5/8" (3800 mm) from the wall's zero.
        Chalk line for the brackets' upper fasteners: 9' 6 3/16" (2900 mm) above the standing surface.
        Open at a pitch of 14 degrees the cloth is 9' 10 1/8" (3000 mm) long, drops 2' 4 9/16" (726 mm) and
          reaches 9' 6 5/8" (2911 mm) from the wall; headroom under the front bar is 6' 10 7/16" (2094 mm),
          without a valance.
        4 brackets, numbered from the left; the width asks for 4.
        Bracket 1: 2' 8" (813 mm) from the wall's zero, 1' 4 1/4" (413 mm) from the awning's left end, on stud
          3 from the left, outer bracket of arm 1; it takes 91 % of its fasteners' allowable load ({CASE}).
        Bracket 2: 6' 8" (2032 mm) from the wall's zero, 5' 4 1/4" (1632 mm) from the awning's left end, on
          stud 6 from the left; it takes 20 % of its fasteners' allowable load ({CASE}).
        Bracket 3: 9' 4" (2845 mm) from the wall's zero, 8' 0 1/4" (2445 mm) from the awning's left end, on stud
          8 from the left; it takes 36 % of its fasteners' allowable load ({CASE}).
        Bracket 4: 13' 4" (4064 mm) from the wall's zero, 12' 0 1/4" (3664 mm) from the awning's left end, on
          stud 11 from the left, outer bracket of arm 2; it takes 82 % of its fasteners' allowable load
          ({CASE}).
        Each bracket: 4 × lag 3/8 x 4-1/2 in. Pilot 1/4" for the thread, 4 1/4" deep from the wall's face;
          3/8" for the shank, 1 1/2" deep; hold in the wood 3" (77 mm) without the tip.
        Wall: wood studs, 1 1/2" (38 mm) (specific gravity 0.42), cover 1" (25 mm), wet.
        Bolt pattern not surveyed: 4 fasteners, half of them taken to pull; lever 5 7/8" (150 mm) from the upper
          fasteners to the lower bearing edge.
        Obstacle: light, 9' 10 1/8" (3000 mm) to 10' 4" (3150 mm) along the wall, 8' 2 7/16" (2500 mm) to 8' 6
          3/8" (2600 mm) up.
        Door: 4' 11 1/16" (1500 mm) to 7' 10 1/2" (2400 mm) along the wall, 6' 8 11/16" (2050 mm) high, swings
          out.
        Stop: Now.
        Note: Later.
        """
    )
    assert tools == f"Tools: {', '.join(layout.tools)}."


def test_the_description_of_a_shifted_awning_on_masonry() -> None:
    survey = plain_survey(**CONCRETE, anchor=ANCHOR, obstacles=[LIGHT | {"left": 300, "right": 430, "top": 2950}])
    lines = describe(survey, lay_out(survey), units="metric")
    # Three steps of half an inch to the right: 38.1.
    assert [lines[4], lines[9]] == sentences(
        f"""
        The awning is 4000 mm (13' 1 1/2") wide. Its left end is at 438 mm (1' 5 1/4") from the wall's zero, its right
          end at 4438 mm (14' 6 3/4"), moved 38 mm (1 1/2") to the right of the wished place.
        Bracket 1: 738 mm (2' 5 1/16") from the wall's zero, 300 mm (11 13/16") from the awning's left end, outer
          bracket of arm 1; it takes 25 % of its fasteners' allowable load ({CASE}).
        """
    )
    assert (
        "Each bracket: 4 × sleeve anchor 1/2 in. No hole is known: the survey lacks the numbers of the anchor's report,"
        " so nothing is drilled." in lines
    )
    assert "Door: 1500 mm (4' 11 1/16\") to 2400 mm (7' 10 1/2\") along the wall, 2050 mm (6' 8 11/16\") high." in lines
    left = describe(survey, msgspec.structs.replace(lay_out(survey), shift=-12.7), units="metric")[4]
    assert left.endswith(', moved 12.7 mm (1/2") to the left of the wished place.')


def test_the_description_of_what_cannot_be_drilled() -> None:
    survey = plain_survey(wall={"members": []}, awning={"projection": 10000, "pitch_deg": 60})
    lines = describe(survey, lay_out(survey), units="metric")
    assert lines[7:9] == sentences(
        """
        Open at a pitch of 60 degrees the cloth is 10000 mm (32' 9 11/16") long, drops 8660 mm (28' 4 15/16") and
          reaches 5000 mm (16' 4 7/8") from the wall; it leaves no headroom.
        No brackets: nothing may be drilled. The width asks for 4.
        """
    )
    assert not any(line.startswith(("Bracket", "Each bracket")) for line in lines)
    unknown = describe(plain_survey(**CONCRETE), lay_out(plain_survey(**CONCRETE)), units="metric")
    assert unknown[9].endswith("outer bracket of arm 1.")
    assert unknown[10].endswith("from the awning's left end.")


def test_load_cases_are_named_in_the_readers_language() -> None:
    spanish = {"self weight, open": "peso propio, abierto"}
    told = use_words({"self weight, open": "A"}, ["self weight, open"], lambda text: spanish.get(text, text))
    assert told.endswith(": A peso propio, abierto.")
