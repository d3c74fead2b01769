"""What a layout says, word for word and figure for figure: a carpenter and a customer act on these sentences.

The figures are worked out in the comments from the survey known by heart (`tests.surveys.PLAIN`): fasteners 2900 up,
3000 of cloth at 14° (sin 0.24192, cos 0.97030), so the front bar drops 725.8, reaches 2910.9, and 2094.2 stay clear.
"""

from __future__ import annotations

from typing import Any

import pytest

from scheduler.layout.compute import lay_out
from scheduler.layout.documents import Finding
from tests.surveys import plain_survey

OPEN = "Fully out at 14° the front bar comes 9' 6 5/8\" (2911 mm) out and 2' 4 9/16\" (726 mm) down"
DOOR = {"left": 1500, "right": 2400, "top": 2700, "swings_out": True}
AT_DOOR = "door 1 (4' 11 1/16\" (1500 mm) to 7' 10 1/2\" (2400 mm) from the datum"
LIGHT = {"what": "porch light", "left": 2000, "right": 2100, "bottom": 2620, "top": 2760}
ANCHOR = {"name": "sleeve anchor", "tension_n": 2000, "shear_n": 5000, "source": "report 7"}
OUTLET = (
    "an extension cord serves set-up only; a permanent outlet (GFCI-protected, weather-resistant, covered with the plug"
    " in: NEC 210.8, 406.9) or any new wiring is for a licensed electrician."
)
CODE = (
    "that the building code asks for on accessible routes (California Building Code 2013, 11B-307.4), so people would"
    " walk into it"
)
Told = tuple[dict[str, Any], str, str, str]  # the survey's changes, level, code, text

CLEARANCE: list[Told] = [
    # 102 in are 2590.8: 50.8 more than 2540.
    ({"place": {"height": 2540}}, "caution", "mounting-height",
     """The brackets are 8' 4" (2540 mm) up, 2" (51 mm) less than the usual least mounting height of 8' 6" (2591 mm)
     (common practice): mount higher where the wall allows it, and check the headroom at the front bar."""),
    # 3000 at 10°: drop 520.9, reach 2954.4, clear 2900 − 520.9 − 80.
    ({"awning": {"pitch_deg": 10}}, "note", "headroom",
     """Fully out at 10° the front bar comes 9' 8 5/16" (2954 mm) out and 1' 8 1/2" (521 mm) down, with 7' 6 1/2"
     (2299 mm) clear under it before any valance: measure again where the ground is not level; over a public way
     7' (2134 mm) must stay clear, valance included (California Building Code 2013, 3202.2.3)."""),
    # 2133.6 − 2094.2 = 39.4; a drop of 686.4 is arcsin 0.2288 = 13.23°, or 2837.2 of cloth at 14°.
    ({}, "caution", "headroom",
     f"""{OPEN}, with 6' 10 7/16" (2094 mm) clear under it, 1 9/16" (39 mm) less than the usual 7' (2134 mm) (common
     practice on a private patio, the rule over a public way): mount it 1 9/16" (39 mm) higher, set the pitch to
     13.2° or less, too flat for rain, or limit the projection to 9' 3 11/16" (2837 mm)."""),
    # 2600 − 725.8 − 80 = 1794.2, 237.8 less than 2032; a drop of 488.0 is arcsin 0.1627 = 9.36°, or 2017.1 of cloth.
    ({"place": {"height": 2600}}, "stop", "headroom",
     f"""{OPEN}, with only 5' 10 5/8" (1794 mm) clear under it, 9 3/8" (238 mm) less than the 6' 8" (2032 mm) {CODE}:
     mount it 9 3/8" (238 mm) higher, set the pitch to 9.3° or less, too flat for rain, or limit the projection
     to 6' 7 7/16" (2017 mm)."""),
    # 10 m at 60°: drop 8660.3, reach 5000, 5840.3 below the ground; a drop of 788.0 is arcsin 0.0788 = 4.52°.
    ({"awning": {"projection": 10000, "pitch_deg": 60}}, "stop", "headroom",
     f"""Fully out at 60° the front bar comes 16' 4 7/8" (5000 mm) out and 28' 4 15/16" (8660 mm) down, with no room
     at all under it, 25' 9 15/16" (7872 mm) less than the 6' 8" (2032 mm) {CODE}: mount it 25' 9 15/16" (7872
     mm) higher, set the pitch to 4.5° or less, too flat for rain, or limit the projection to 2' 11 13/16" (909
     mm)."""),
    # Flat: nothing but height helps. 2100 − 80 = 2020.
    ({"awning": {"pitch_deg": 0}, "place": {"height": 2100}}, "stop", "headroom",
     f"""Fully out at 0° the front bar comes 9' 10 1/8" (3000 mm) out and 0" (0 mm) down, with only 6' 7 1/2" (2020
     mm) clear under it, 1/2" (12 mm) less than the 6' 8" (2032 mm) {CODE}: mount it 1/2" (12 mm) higher."""),
    # 3000 at 30° from 3500 up: drop 1500, clear 1920, 112 less; a drop of 1388 is arcsin 0.4627 = 27.56°, 2776 cloth.
    ({"awning": {"pitch_deg": 30}, "place": {"height": 3500}}, "stop", "headroom",
     f"""Fully out at 30° the front bar comes 8' 6 5/16" (2598 mm) out and 4' 11 1/16" (1500 mm) down, with only 6' 3
     9/16" (1920 mm) clear under it, 4 7/16" (112 mm) less than the 6' 8" (2032 mm) {CODE}: mount it 4 7/16" (112
     mm) higher, set the pitch to 27.5° or less, or limit the projection to 9' 1 5/16" (2776 mm)."""),
    # 2720 is the closed body's lower edge.
    ({"doors": [DOOR | {"top": 2730}]}, "stop", "door",
     f"""The closed awning hangs in the way of {AT_DOOR}, 8' 11 1/2" (2730 mm) high) by 3/8" (10 mm): mount it that
     much higher or keep it off the door."""),
    ({"doors": [DOOR | {"top": 2730, "swings_out": False}]}, "caution", "door",
     f"""The closed awning hangs in front of {AT_DOOR}, 8' 11 1/2" (2730 mm) high) by 3/8" (10 mm): mount it that
     much higher or keep it off the door."""),
    # 900 out the cloth is 900 × tan 14° = 224.4 down: 2675.6, 24.4 under the door; 2 in more are 75.2.
    ({"doors": [DOOR], "awning": {"body_below": 100}}, "stop", "door",
     f"""The leaf of {AT_DOOR}, 8' 10 5/16" (2700 mm) high) strikes the open awning: 2' 11 7/16" (900 mm) out the
     cloth is 15/16" (24 mm) lower than the door; mount it 2 15/16" (75 mm) higher or set a flatter pitch."""),
    ({"doors": [DOOR | {"top": 2600}], "awning": {"body_below": 100}}, "caution", "door",
     f"""The leaf of {AT_DOOR}, 8' 6 3/8" (2600 mm) high) passes only 3" (76 mm) under the cloth of the open awning,
     and arms hang below the cloth: try it before leaving, or mount the awning higher."""),
    # 800 at 30° reach 693; the front bar's underside is 2900 − 400 − 80 = 2420.
    ({"doors": [DOOR | {"top": 2450}], "awning": {"projection": 800, "pitch_deg": 30}}, "stop", "door",
     f"""The leaf of {AT_DOOR}, 8' 7/16" (2450 mm) high) strikes the open awning: 2' 11 7/16" (900 mm) out the front
     bar is 1 3/16" (30 mm) lower than the door; mount it 3 3/16" (81 mm) higher or set a flatter pitch."""),
    ({"doors": [DOOR | {"top": 2400}], "awning": {"projection": 800, "pitch_deg": 30}}, "caution", "door",
     f"""The leaf of {AT_DOOR}, 7' 10 1/2" (2400 mm) high) passes only 13/16" (20 mm) under the front bar of the open
     awning, and arms hang below the cloth: try it before leaving, or mount the awning higher."""),
    # The closed body is 60 + 180 high.
    ({"band": {"bottom": 2760, "top": 2960}}, "caution", "band-height",
     """The clear band is 7 7/8" (200 mm) high, 1/8" (3 mm) less than the usual least of 8" (203 mm) (common
     practice): check hands and tools reach the fasteners."""),
    ({"band": {"bottom": 2760, "top": 2960}}, "stop", "band-height-short",
     """The closed awning is 9 7/16" (240 mm) high, 1 9/16" (40 mm) more than the clear band: it needs another place
     or what bounds the band moved."""),
    ({"band": {"top": 2950}}, "stop", "above-band",
     """The closed awning reaches 3/8" (10 mm) above the clear band: lower the brackets by that much."""),
    ({"band": {"bottom": 2770, "top": 3100}}, "stop", "below-band",
     """The closed awning reaches 1 15/16" (50 mm) below the clear band: raise the brackets by that much."""),
    # 2760 − 2720 down, 2960 − 2620 up; to either side it is further.
    ({"obstacles": [LIGHT]}, "stop", "obstacle",
     """The closed awning covers 3 15/16" (100 mm) by 1 9/16" (40 mm) of the porch light at 6' 6 3/4" (2000 mm) to
     6' 10 11/16" (2100 mm) from the datum: have it moved 1 9/16" (40 mm) down or 1' 1 3/8" (340 mm) up (no
     light, spout, vent or box behind a closed awning: common practice)."""),
    # It begins 30 left of the awning's left end (400) and rises 40 over its top (2960): 90 of it are covered, by 30.
    ({"obstacles": [LIGHT | {"left": 370, "right": 490, "bottom": 2930, "top": 3000}], "place": {"slide": 0}},
     "stop", "obstacle",
     """The closed awning covers 3 9/16" (90 mm) by 1 3/16" (30 mm) of the porch light at 1' 2 9/16" (370 mm) to 1'
     7 5/16" (490 mm) from the datum: have it moved 1 3/16" (30 mm) up or 3 9/16" (90 mm) left (no light, spout,
     vent or box behind a closed awning: common practice)."""),
    # The right end is at 4400: 60 of the light are covered, 10 of it below the top.
    ({"obstacles": [LIGHT | {"left": 4340, "right": 4500, "bottom": 2860, "top": 3100}], "place": {"slide": 0}},
     "stop", "obstacle",
     """The closed awning covers 2 3/8" (60 mm) by 3 15/16" (100 mm) of the porch light at 14' 2 7/8" (4340 mm) to
     14' 9 3/16" (4500 mm) from the datum: have it moved 2 3/8" (60 mm) right or 3 15/16" (100 mm) up (no light,
     spout, vent or box behind a closed awning: common practice)."""),
    # 3000 × (0.24192 − 0.17365) = 204.8.
    ({"awning": {"pitch_deg": 10}}, "caution", "run-off",
     """A pitch of 10° is 4° flatter than the 14° (25 %) at which rain runs off (EN 13561, from memory): drop the
     front bar 8 1/16" (205 mm) more, or tell the customer to close it in rain."""),
    # The only bracket near arm 1 is at 793.8, two steps to the right (see test_placement).
    ({"awning": {"arms": [500, 3400]}, "place": {"slide": 40}}, "caution", "outer-inside",
     """The outer bracket of arm 1 is 11 9/16" (294 mm) inside the arm, where no place outside it can be had: check
     that the manufacturer allows it (outside is common practice)."""),
    # Studs at 3206.4 only: 193.6 inside the last arm.
    ({"wall": {"members": [812.8, 1612.8, 2412.8, 3606.4]}, "place": {"slide": 0}}, "caution", "outer-inside",
     """The outer bracket of arm 2 is 7 5/8" (194 mm) inside the arm, where no place outside it can be had: check
     that the manufacturer allows it (outside is common practice)."""),
    # Brackets at 412.8, 825.6, 2444.8, 3664: 2444.8 − 1700.
    ({"awning": {"arms": [600, 1700, 3400]}, "wall": {"members": [812.8, 1225.6, 2844.8, 4064]}, "place": {"slide": 0}},
     "caution", "arm-unserved",
     """Arm 2 has no bracket within 1' (305 mm), the nearest is 2' 5 5/16" (745 mm) away: ask the manufacturer, or
     put in backing nearer to it."""),
    ({"awning": {"arms": [500, 3400]}, "place": {"slide": 40}}, "note", "shifted",
     """The awning goes 1" (25 mm) to the right of the wished place, its left end 1' 4 3/4" (425 mm) from the datum:
     tell the customer before drilling."""),
    # One step to the left clears a light that reaches 10 in at the right end, 4400.
    ({"obstacles": [LIGHT | {"left": 4390, "right": 4500}]}, "note", "shifted",
     """The awning goes 1/2" (13 mm) to the left of the wished place, its left end 1' 3 1/4" (387 mm) from the
     datum: tell the customer before drilling."""),
    ({}, "note", "power", f"""The motor is at the right end, 14' 5 1/4" (4400 mm) from the datum: {OUTLET}"""),
    ({"awning": {"motor": "left"}}, "note", "power",
     f"""The motor is at the left end, 1' 3 3/4" (400 mm) from the datum: {OUTLET}"""),
    ({"awning": {"arms": [500, 3400]}, "place": {"slide": 40}}, "note", "power",
     f"""The motor is at the right end, 14' 6 1/4" (4425 mm) from the datum: {OUTLET}"""),
    *[({"wall": {"kind": kind}}, "caution", "hidden-services",
       """Cables, pipes or reinforcement may run behind the drill points: look for them with a detector, and switch
     off what is there, before drilling.""") for kind in ("concrete", "rim-board")],
    ({}, "note", "old-paint",
     """In a house from before 1978 paint may hold lead (40 CFR 745), and old stucco or siding asbestos: have it
     tested before drilling, and keep the dust down."""),
]  # fmt: skip

BACKING: list[Told] = [
    ({"wall": {"kind": "brick-veneer"}}, "stop", "veneer",
     """Brick veneer carries nothing but itself (residential code, R703.7; no deck ledger may hang on it either,
     R507.2.2): reach the framing behind it with the manufacturer's through-veneer bracket, or have an engineer
     design the fixing; survey the studs behind it as wood-studs then."""),
    ({"wall": {"kind": "fascia"}}, "stop", "fascia",
     """A fascia board carries nothing by itself (common practice: it is nailed to the rafter tails): mount to the
     rafters with the manufacturer's roof brackets, or to the wall below; survey those instead."""),
    ({"awning": {"bracket_width": 1100}, "wall": {"kind": "concrete"}}, "stop", "no-room-on-bar",
     """4 brackets 3' 7 5/16" (1100 mm) wide have no room on a bar of 13' 1 1/2" (4000 mm) beside the zones of its 2
     arms with one within 12 in of each outer arm: check the measures, or ask the manufacturer for narrower
     brackets."""),
    # It reaches from 400 to 4400.
    ({"band": {"right": 4300}, "place": {"slide": 50}}, "stop", "outside-band",
     """At the wished place the awning reaches 3 15/16" (100 mm) beyond the clear band, and a slide of 1 15/16" (50
     mm) in steps of 1/2 in does not bring it inside: move its place at least that far to the left."""),
    ({"band": {"left": 500}, "place": {"slide": 50}}, "stop", "outside-band",
     """At the wished place the awning reaches 3 15/16" (100 mm) beyond the clear band, and a slide of 1 15/16" (50
     mm) in steps of 1/2 in does not bring it inside: move its place at least that far to the right."""),
    ({"band": {"left": 200, "right": 4100}}, "stop", "outside-band",
     """The awning is 13' 1 1/2" (4000 mm) wide, 3 15/16" (100 mm) more than the clear band from 7 7/8" (200 mm) to
     13' 5 7/16" (4100 mm): it needs a narrower awning or what bounds the band moved."""),
    # Backing from 2 in under the lower bearing edge (2900 − 150) to 2 in over the upper fasteners: 2699.2 to 2950.8.
    # Even places on continuous backing are 300, 1380, 2460, 3540 from the left end (see test_placement), 400 more here.
    ({"wall": {"members": [412.8, 812.8, 1219.2, 1625.6, 2032, 2438.4, 2844.8]}}, "stop", "no-backing",
     """The studs found do not give 4 bracket places; with the awning at the wished place 3 stand on the studs at 2'
     8" (813 mm), 5' 4" (1626 mm), 9' 4" (2845 mm), and 1 more is needed at 12' 11 1/8" (3940 mm) from the datum:
     find studs there that the survey missed, or put in solid backing, fixed to the framing, centred there (right
     of 9' 4"), 4 3/4" (120 mm) wide or more, from 8' 10 1/4" (2699 mm) to 9' 8 3/16" (2951 mm) up, as local code
     or an engineer asks for it."""),
    ({"wall": {"members": []}}, "stop", "no-backing",
     """The studs found do not give 4 bracket places; with the awning at the wished place none of the studs found
     serves, and 4 more are needed at 2' 3 9/16" (700 mm), 5' 10 1/16" (1780 mm), 9' 4 5/8" (2860 mm), 12' 11
     1/8" (3940 mm) from the datum: find studs there that the survey missed, or put in solid backing, fixed to
     the framing, centred there (no member found at all), 4 3/4" (120 mm) wide or more, from 8' 10 1/4" (2699 mm)
     to 9' 8 3/16" (2951 mm) up, as local code or an engineer asks for it."""),
    ({"wall": {"kind": "hollow-block", "members": [412.8, 1219.2, 2844.8]}}, "stop", "no-backing",
     """The grouted cells found do not give 4 bracket places; with the awning at the wished place 2 stand on the
     grouted cells at 4' (1219 mm), 9' 4" (2845 mm), and 2 more are needed at 2' 3 9/16" (700 mm), 12' 11 1/8"
     (3940 mm) from the datum: find grouted cells there that the survey missed, or grout the cells solid centred
     there (between 1' 4 1/4" and 4'; right of 9' 4"), 4 3/4" (120 mm) wide or more, from 8' 10 1/4" (2699 mm) to
     9' 8 3/16" (2951 mm) up, as local code or an engineer asks for it."""),
    ({"wall": {"kind": "rafters", "members": [4500, 3000]}}, "stop", "no-backing",
     """The rafters found do not give 4 bracket places; with the awning at the wished place 1 stands on the rafters
     at 9' 10 1/8" (3000 mm), and 3 more are needed at 2' 3 9/16" (700 mm), 5' 10 1/16" (1780 mm), 12' 11 1/8"
     (3940 mm) from the datum: find rafters there that the survey missed, or put in solid backing, fixed to the
     framing, centred there (left of 9' 10 1/8"; between 9' 10 1/8" and 14' 9 3/16"), 4 3/4" (120 mm) wide or
     more, from 8' 10 1/4" (2699 mm) to 9' 8 3/16" (2951 mm) up, as local code or an engineer asks for it."""),
    # At the wished place both lie in the zone of the first arm (470 to 730); three steps to the right 900 is at 461.9.
    ({"wall": {"members": [900, 950]}, "place": {"slide": 60}}, "stop", "no-backing",
     """The studs found do not give 4 bracket places; with the awning 1 1/2" (38 mm) to the right 1 stands on the studs
     at 2' 11 7/16" (900 mm), and 3 more are needed at 5' 11 9/16" (1818 mm), 9' 6 1/8" (2898 mm), 13' 5/8" (3978 mm)
     from the datum: find studs there that the survey missed, or put in solid backing, fixed to the framing, centred
     there (right of 3' 1 3/8"), 4 3/4" (120 mm) wide or more, from 8' 10 1/4" (2699 mm) to 9' 8 3/16" (2951 mm) up, as
     local code or an engineer asks for it."""),
    # 1100 is at 700, in the zone; three steps to the left at 738.1, inside the arm.
    ({"wall": {"members": [1100, 3400]}, "place": {"slide": 60}}, "stop", "no-backing",
     """The studs found do not give 4 bracket places; with the awning 1 1/2" (38 mm) to the left 2 stand on the studs at
     3' 7 5/16" (1100 mm), 11' 1 7/8" (3400 mm), and 2 more are needed at 2' 2 1/16" (662 mm), 12' 9 5/8" (3902 mm) from
     the datum: find studs there that the survey missed, or put in solid backing, fixed to the framing, centred there
     (left of 3' 7 5/16"; right of 11' 1 7/8"), 4 3/4" (120 mm) wide or more, from 8' 10 1/4" (2699 mm) to 9' 8 3/16"
     (2951 mm) up, as local code or an engineer asks for it."""),
    ({"wall": {"kind": "concrete"}}, "note", "members-unused",
     "concrete is taken to carry anywhere: the 14 members of the survey are not used."),
]  # fmt: skip

HARDEST = "self weight and service wind class 2 down, open"
SHOWN = (
    "Tension is the pull on the bracket's pulling row of fasteners together, shear the load down or up along the wall."
)
FASTENERS: list[Told] = [
    # Loads: tests/reference/statics. Ultimate: 8100 × 0.42^1.5 × 0.375^0.75 × 2.53125 = 2675 lbf, twice over 1200.
    ({}, "note", "fastener",
     f"""lag 3/8 x 4-1/2 in, 4 a bracket: bracket 1 takes most, 5340 N (1200 lb) out of the wall and 462 N (104 lb)
     along it in the case {HARDEST}, 0.91 of the allowable load (NDS, specific gravity 0.42, wet service). 2 of
     the 4 fasteners are taken to pull, 2670 N (600 lb) each, and all to bear along the wall, 115 N (26 lb) each.
     Cross-check, no design value: screws so deep pull out of dry wood of that gravity at 4.5 times this pull on
     average (Wood Handbook)."""),
    # 3/8 × 0.40 and × 0.70; the largest sixteenth below 0.2625 is 1/4.
    ({}, "note", "drilling",
     """Lead hole 1/4 in for the thread (allowed 0.150 to 0.262 in), then 3/8 in as deep as the plain shank, cover
     included; soap or wax the thread, turn it in, never hammer it."""),
    # 1-1/2 in: half, less 1.5 × 3/8.
    ({}, "note", "off-centre",
     """Screws may stand at most 3/16" (5 mm) off the middle of a member 1 1/2" (38 mm) wide: find both its edges
     with a probe before drilling."""),
    ({"awning": {"weight_kg": 100}}, "caution", "off-centre",
     """Screws may stand at most 0" (0 mm) off the middle of a member 1 1/2" (38 mm) wide: find both its edges with
     a probe before drilling."""),
    ({}, "caution", "one-line",
     """All 4 fasteners of a bracket must stand in one line on the member's centre, at least 1 1/2" (38 mm) apart:
     holes side by side need blocking."""),
    ({}, "note", "member-depth", "Studs are taken as 3-1/2 in deep (2×4): measure, in less it comes out."),
    ({}, "caution", "hidden-services",
     """The screw enters the stud more than 1-1/4 in: a cable may lie there without a steel plate (NEC 300.4). Look
     for hidden services with a detector, and switch off circuits in this wall."""),
    ({}, "caution", "cover",
     """The cover of 1" (25 mm) carries nothing: support the bracket's bearing edges on solid blocking or shims, so
     that tightening and the lower edge do not crush it."""),
    ({}, "note", "wet-service",
     """Exposed to moisture: hot-dip galvanised or stainless screws, also in treated wood, and every hole sealed."""),
    ({}, "note", "bracket-plate",
     """Values along the wall take a steel bracket plate of 1/4 in; for an aluminium or thinner one the bracket's
     maker must give them. The bracket's holes must take the screw."""),
    ({}, "note", "load-case",
     f"Loads shown at a bracket are those of its hardest case: {HARDEST} (brackets 1, 2, 3, 4). {SHOWN}"),
    ({"wind_class": 3}, "stop", "overloaded",
     """lag 1/2 x 4-1/2 in would take 1.04 times its allowable load at bracket 1 (self weight and service wind class
     3 down, open), and no stocked screw does better: more fasteners or brackets, blocking, or a design by an
     engineer is needed."""),
    # 4 and 1.5 diameters of 3/8 in.
    ({"awning": {"projection": 1500, "weight_kg": 30}, "wind_class": 1, "wall": {"kind": "rim-board", "members": []}},
     "caution", "edge-distance",
     """Load across the grain: keep every screw 1 1/2" (38 mm) from the member's lower edge and 9/16" (14 mm) from
     its upper one; the member is taken as 1-1/2 in deep. Measure both before drilling."""),
    ({"wall": {"cover": 300}}, "stop", "no-fastener",
     """No stocked lag screw gets a hold of 4 diameters in this member through a cover of 11 13/16" (300 mm), with
     room to its edges: take a longer screw, open the cover, or put in blocking."""),
    ({"wall": {"gravity": 0.74}}, "stop", "gravity",
     """The wood's specific gravity, 0.74, is outside 0.31 to 0.73, for which the NDS has values: find out the
     species (spruce-pine-fir 0.42, Douglas fir-larch 0.50)."""),
    ({"wall": {"kind": "hollow-block"}, "anchor": ANCHOR}, "caution", "anchor",
     f"""sleeve anchor: bracket 1 takes most, 5340 N (1200 lb) out of the wall and 462 N (104 lb) along it in the
     case {HARDEST}, 1.36 of the allowable loads of report 7 (straight-line interaction; 2 of 4 anchors are taken
     to pull). Embedment, edge distance, spacing, base material, hole, cleaning and torque: as that report has
     them, check each."""),
    # 5340 / 2 / 2000 + 462 / 4 / 5000
    ({"wall": {"kind": "hollow-block"}, "anchor": ANCHOR}, "stop", "overloaded",
     f"""sleeve anchor would take 1.36 times its allowable load at bracket 1 ({HARDEST}): more anchors or brackets,
     another anchor with its report, or a design by an engineer is needed."""),
    ({"wall": {"kind": "hollow-block"}, "anchor": ANCHOR}, "caution", "hollow-block",
     """A hollow block has about 1-1/4 in of solid face shell: the anchor's report must be for hollow units (or for
     grouted cells, and the cells grouted)."""),
    ({"wall": {"kind": "concrete"}}, "stop", "anchor-report",
     """No allowable load is known for an anchor in concrete: enter the anchor's name, its allowable tension and
     shear, and the evaluation report that they come from. There is no general value for anchors set in finished
     masonry or concrete (IBC 1908.1)."""),
]  # fmt: skip

WIND = "the awning must be closed before such wind, and stay within its maker's limits."
LOADS: list[Told] = [
    ({"wind_class": 0}, "caution", "wind-class-0",
     """Wind class 0 (EN 13561): no wind load is checked, only self weight. This awning must not be open in wind."""),
    # √(2 × 70 / 1.25) = 10.58 m/s = 23.7 mph; 115 mph × √0.6 = 89.1 mph, 0.00256 × 0.85² × 89.1² = 14.7 psf = 703 Pa.
    ({}, "caution", "service-wind",
     f"""Loads named service wind class 2 are 70 Pa on the cloth (class pressure of EN 13561, not read in the
     standard itself), the pressure of a steady 24 mph (Beaufort 5). A building code's design wind of 115 mph
     presses about 10 times as hard and is not checked: {WIND}"""),
    # √(2 × 110 / 1.25) = 13.27 m/s = 29.7 mph; 703 / 110.
    ({"wind_class": 3}, "caution", "service-wind",
     f"""Loads named service wind class 3 are 110 Pa on the cloth (class pressure of EN 13561, not read in the
     standard itself), the pressure of a steady 30 mph (Beaufort 6). A building code's design wind of 115 mph
     presses about 6 times as hard and is not checked: {WIND}"""),
    ({"wind_class": 3}, "caution", "wind-class-high",
     """Wind class 3 is above 2, the highest that EN 13561 has for folding-arm awnings: check the maker's
     declaration before relying on it."""),
    ({}, "note", "load-model",
     """How loads are reckoned: open, 40% of the weight hangs at the front bar, the arms bring it and the wind to
     the mounting bar; closed, all lies evenly along it; the bar is a continuous beam on its brackets, and each
     bracket holds its moment by a couple over 150 mm. Snow, standing water, and people hanging on the awning are
     left out."""),
]  # fmt: skip

STEPLADDERS = (
    "fully open on level ground, locked, never standing on the top or the step below it (29 CFR 1926.1053(b)(13))."
)
TEAM = (
    "is beyond a recommended hand lift: by the team rule on the NIOSH constant of 51 lb two people reach 68 lb and"
    " three 76.5 lb at best. Use a material lift with"
)
LIFTING: list[Told] = [
    # 25 / 0.4536 = 55.1 lb
    ({"awning": {"weight_kg": 25}}, "note", "hands",
     """25 kg (55 lb): 2 people, 28 lb each. The team rule (two people two thirds, three one half of what each could
     lift alone) on the NIOSH constant of 51 lb allows so much in the best posture only."""),
    # 51 × 2 × 2/3 = 68, 51 × 3 × 1/2 = 76.5
    ({}, "caution", "material-lift",
     f"""60 kg (132 lb) {TEAM} 2 people (66 lb would be each one's share), within its rated load, and more hands to
     steady it."""),
    ({"awning": {"weight_kg": 91}}, "caution", "material-lift",
     f"""91 kg (201 lb) {TEAM} 3 people (67 lb would be each one's share), within its rated load, and more hands to
     steady it."""),
    # 51 × (1 − 0.0075 × 40) × (0.82 + 1.8/40) = 30.9 lb
    ({}, "caution", "overhead-lift",
     """The brackets are 9' 6 3/16" (2900 mm) up. No published figure covers a lift with the hands above 70 in, by a
     team, or from a ladder; at 70 in the NIOSH equation gives one person 31 lb (14 kg) at best. Use a material
     lift or work platforms, so that nobody carries weight overhead or on a ladder; hold it by its mounting bar
     only."""),
    # 9 ft 6 in are within four feet of a stepladder of 6 ft.
    ({}, "caution", "ladder",
     f"""2 stepladders of 6 ft, type IA or better, for work 9' 6 3/16" (2900 mm) up: {STEPLADDERS}"""),
    # 20 ft: 20 / √(1 − 1/16) = 20.66 ft, a quarter is 5.16 ft; with rails 23 ft up 23.75 ft, and 3 ft of overlap.
    ({"place": {"height": 6096}}, "caution", "ladder",
     """2 extension ladders of 28 ft, type IA or better, for work 20' (6096 mm) up: foot 5' 1 15/16" (1574 mm) from
     the wall (a quarter of the working length, 29 CFR 1926.1053(b)(5)), sections overlapping 3 ft or more, rails
     3 ft above the work, tied or held. A platform is better for work with both hands."""),
    ({}, "caution", "ladder-surroundings",
     """No awning is carried on a ladder; keep ladders and long parts 10 ft from power lines, and stop in wind above
     30 mph with material in hand (note to 29 CFR 1910.269(x)) or at any thunder."""),
    ({"place": {"height": 18288}}, "stop", "too-high-for-ladders",
     "Work 60' (18288 mm) up is beyond the longest ladder at hand (48 ft): scaffold or aerial lift."),
]  # fmt: skip


@pytest.mark.parametrize(
    ("changes", "level", "code", "text"),
    [*CLEARANCE, *BACKING, *FASTENERS, *LOADS, *LIFTING],
    ids=lambda value: value if isinstance(value, str) and len(value) < 30 else "",
)
def test_what_is_found_is_said_in_these_words(changes: dict[str, Any], level: str, code: str, text: str) -> None:
    said = [finding for finding in lay_out(plain_survey(**changes)).findings if finding.code == code]
    assert Finding(level, code, " ".join(text.split())) in said, said  # type: ignore[arg-type]
