"""How many hands lift the awning, or a material lift: a share for each by published figures, and their limits.

The NIOSH lifting equation (NIOSH 94-110) is for one person lifting with two hands, on firm footing, hands up to 70 in:
not for teams, not on ladders. Here it only says what one person's share is at best. Nothing here calls a lift safe.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from scheduler.layout.documents import Finding
from scheduler.units import FOOT_MM, INCH_MM, both

KG_PER_LB = 0.45359237
LOAD_CONSTANT_LB = 51.0
HIGHEST_HANDS_IN = 70.0
# Part of the sum of what each could lift alone that a team may lift: two people 2/3, three 1/2 (HSE guidance L23, as
# railway safety guidance states it; isokinetic teams of men lifted 68 and 58 %, Ergonomics 29(7), 1986).
TEAM_PART = {1: 1.0, 2: 2 / 3, 3: 1 / 2}
# A third person for units above 16 ft or 200 lb even on a lift: common practice, no published source.
LONG_MM = 16 * FOOT_MM
HEAVY_KG = 200 * KG_PER_LB
# Table 5, lifts a minute and multiplier, work of up to an hour. Table 7, coupling: hands below 30 in, at or above.
_FREQUENCY = ((0.2, 1.00), (0.5, 0.97), (1.0, 0.94), (2.0, 0.91), (3.0, 0.88), (4.0, 0.84), (5.0, 0.80))
_COUPLING = {"good": (1.0, 1.0), "fair": (0.95, 1.0), "poor": (0.90, 0.90)}


@dataclass(frozen=True)
class Lift:
    """How an awning gets up: `hands` people, on a `material_lift` or by hand; `share_kg` is each one's equal share."""

    hands: int
    material_lift: bool
    share_kg: float
    findings: tuple[Finding, ...]


def recommended_limit_lb(
    hold_in: float, hands_in: float, travel_in: float, twist_deg: float = 0.0, lifts_per_min: float = 0.2,
    coupling: Literal["good", "fair", "poor"] = "good",
) -> float:  # fmt: skip
    """Return the recommended weight limit of the NIOSH lifting equation for one person, lb; 0 outside its limits.

    `hold_in`: from the ankles' middle to the hands, 10 to 25 in (less counts as 10). `hands_in`: the hands' height, 0
    to 70 in. `travel_in`: how far the load goes up or down, to 70 in (less than 10 counts as 10). `twist_deg`: 0 to
    135. `lifts_per_min`: to 5, for up to an hour of work (NIOSH 94-110, Tables 1 to 7).
    """
    if hold_in > 25 or not 0 <= hands_in <= HIGHEST_HANDS_IN or travel_in > 70 or not 0 <= twist_deg <= 135:
        return 0.0
    frequency = next((part for most, part in _FREQUENCY if lifts_per_min <= most), 0.0)
    below, above = _COUPLING[coupling]
    return (
        LOAD_CONSTANT_LB
        * (10 / max(hold_in, 10))
        * (1 - 0.0075 * abs(hands_in - 30))
        * (0.82 + 1.8 / max(travel_in, 10))
        * (1 - 0.0032 * twist_deg)
        * frequency
        * (below if hands_in < 30 else above)
    )


def team_limit_kg(each_kg: float, people: int) -> float:
    """Return what a team of one to three may lift where each could lift `each_kg` alone, kg (`TEAM_PART`)."""
    return TEAM_PART[people] * people * each_kg


def hands_and_lift(weight_kg: float, height_mm: float, width_mm: float = 0.0) -> Lift:
    """Return how many hands an awning of `weight_kg` needs to get to `height_mm`, and whether on a material lift.

    By hand with two or three people up to what the team rule leaves of the equation's load constant, the best that it
    ever gives; beyond that a material lift, with a third person above 16 ft or 200 lb. `width_mm` 0: not known.
    """
    best_kg = LOAD_CONSTANT_LB * KG_PER_LB
    by_hand = next((n for n in (2, 3) if weight_kg <= team_limit_kg(best_kg, n)), None)
    third = width_mm > LONG_MM or weight_kg > HEAVY_KG
    hands = max(by_hand or 2, 3 if third else 2)
    material_lift = by_hand is None
    findings = [_advice(weight_kg, hands, material_lift)]
    if height_mm > HIGHEST_HANDS_IN * INCH_MM:
        highest_lb = recommended_limit_lb(10, HIGHEST_HANDS_IN, HIGHEST_HANDS_IN - 30)
        text = (
            f"The brackets are {both(height_mm)} up. No published figure covers a lift with the hands above"
            f" {HIGHEST_HANDS_IN:g} in, by a team, or from a ladder; at {HIGHEST_HANDS_IN:g} in the NIOSH equation"
            f" gives one person {highest_lb:.0f} lb ({highest_lb * KG_PER_LB:.0f} kg) at best. Use a material lift or"
            " work platforms, so that nobody carries weight overhead or on a ladder; hold it by its mounting bar only."
        )
        findings.append(Finding("caution", "overhead-lift", text))
    return Lift(hands, material_lift, weight_kg / hands, tuple(findings))


def _advice(weight_kg: float, hands: int, material_lift: bool) -> Finding:
    pounds = weight_kg / KG_PER_LB
    if not material_lift:
        text = (
            f"{weight_kg:.0f} kg ({pounds:.0f} lb): {hands} people, {pounds / hands:.0f} lb each. The team rule (two"
            " people two thirds, three one half of what each could lift alone) on the NIOSH constant of 51 lb allows"
            " so much in the best posture only."
        )
        return Finding("note", "hands", text)
    two, three = (team_limit_kg(LOAD_CONSTANT_LB, n) for n in (2, 3))
    text = (
        f"{weight_kg:.0f} kg ({pounds:.0f} lb) is beyond a recommended hand lift: by the team rule on the NIOSH"
        f" constant of 51 lb two people reach {two:.0f} lb and three {three:.1f} lb at best. Use a material lift with"
        f" {hands} people ({pounds / hands:.0f} lb would be each one's share), within its rated load, and more hands to"
        " steady it."
    )
    return Finding("caution", "material-lift", text)
