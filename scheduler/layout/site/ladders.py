"""Which ladders a height asks for: kind, length, duty rating, and where the foot of a leaning one stands."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from scheduler.layout.documents import Finding
from scheduler.layout.site.lifting import KG_PER_LB
from scheduler.units import FOOT_MM, both
from scheduler.weather.limits import HIGH_WIND_MATERIAL_MPH
from scheduler.weather.thunder import flash_words

# Duty ratings, lb of person, tools and material together (printed by several university safety pages).
DUTY_LB = (("III", 200.0), ("II", 225.0), ("I", 250.0), ("IA", 300.0), ("IAA", 375.0))
# A person of 200 lb, 30 lb of tools and a part of 40 lb: an assumption for sizing, weigh a heavier case.
WORKING_LOAD_KG = 270 * KG_PER_LB
FOOT_OUT_PART = 0.25  # of the working length along the ladder, not of the height: 29 CFR 1926.1053(b)(5)(i)
RAILS_ABOVE_MM = 3 * FOOT_MM  # side rails above a landing: 29 CFR 1926.1053(b)(1)
# Sizes as sold: common practice, no published source.
STEPLADDERS_FT: Sequence[int] = (6, 8, 10, 12)
EXTENSION_FT: Sequence[int] = (16, 20, 24, 28, 32, 36, 40, 48)
# Reach above a stepladder's size, standing on the third step from its top, the highest that is allowed: ladder makers'
# printed guides (a person of 5 ft 6 in; 4 ft ladder to 8 ft, 12 ft ladder to 16 ft), as tests/reference/osha has them.
STEPLADDER_REACH_FT = 4.0
STANDING_BELOW_TOP_FT = 2.0  # two steps of a foot: the same guides


@dataclass(frozen=True)
class Ladders:
    """The ladders for a wall: `count` of one kind and size (both None: no ladder will do).

    Their duty is `rating` or better (None: beyond the highest). `foot_out_mm` is how far the foot of a leaning ladder
    stands from the wall, None for a stepladder.
    """

    kind: Literal["stepladder", "extension ladder"] | None
    size_ft: int | None
    count: int
    rating: str | None
    foot_out_mm: float | None
    findings: tuple[Finding, ...]

    @property
    def equipment(self) -> str | None:
        """The id under which a yard shares such a ladder: `stepladder-8`, `ladder-24` for an extension ladder."""
        if self.kind is None:
            return None
        return f"{'stepladder' if self.kind == 'stepladder' else 'ladder'}-{self.size_ft}"


def leaning_length_mm(contact_mm: float) -> float:
    """Return the length from foot to top support of a ladder that leans at one in four against `contact_mm` up."""
    return contact_mm / math.sqrt(1 - FOOT_OUT_PART**2)


def foot_out_mm(length_mm: float) -> float:
    """Return how far the foot stands from the wall, for a working length from foot to top support."""
    return length_mm * FOOT_OUT_PART


def overlap_ft(size_ft: float) -> float:
    """Return the least overlap of a two-section extension ladder (former 29 CFR 1910.26(a)(2)); sizes up to 60 ft."""
    return 3.0 if size_ft <= 36 else 4.0 if size_ft <= 48 else 5.0


def duty_rating(load_kg: float) -> str | None:
    """Return the lowest duty rating for person, tools and material together; None beyond the highest (IAA)."""
    pounds = load_kg / KG_PER_LB
    return next((name for name, most in DUTY_LB if pounds <= most + 1e-9), None)


def ladders_for(
    height_mm: float,
    load_kg: float = WORKING_LOAD_KG,
    count: int = 2,
    stepladders_ft: Sequence[int] = STEPLADDERS_FT,
    extension_ft: Sequence[int] = EXTENSION_FT,
    *,
    landing: bool = True,
) -> Ladders:
    """Return the ladders for work at `height_mm` with `load_kg` (person, tools, material) on each, one for each lifter.

    Sizes are those that the business has, ascending. The shortest stepladder from which `height_mm` can be reached,
    standing two steps below its top; beyond the longest an extension ladder that leans at one in four, its rails three
    feet above the work where it is a `landing` to step off at, else to the work; beyond those none, and a `stop`.
    """
    rating = duty_rating(load_kg)
    findings: list[Finding] = []
    if rating is None:
        most = DUTY_LB[-1][1] * KG_PER_LB
        text = f"{load_kg:.0f} kg on one ladder is beyond the highest duty rating (IAA, {most:.0f} kg): share the load."
        findings.append(Finding("stop", "ladder-load", text))
    feet = height_mm / FOOT_MM
    step = next((size for size in stepladders_ft if feet <= size + STEPLADDER_REACH_FT + 1e-9), None)
    if step is not None:
        text = (
            f"{count} stepladders of {step} ft, type {rating or 'IAA'} or better, for work {both(height_mm)} up: fully"
            " open on level ground, locked, never standing on the top or the step below it (29 CFR 1926.1053(b)(13))."
        )
        if not landing:
            text += (
                f" Feet no higher than {step - STANDING_BELOW_TOP_FT:g} ft; from there a person of 5 ft 6 in reaches"
                f" {step + STEPLADDER_REACH_FT:g} ft (ladder makers' guides)."
            )
        findings += [Finding("caution", "ladder", text), _weather(landing)]
        return Ladders("stepladder", step, count, rating, None, tuple(findings))
    working = leaning_length_mm(height_mm)
    needed_ft = leaning_length_mm(height_mm + (RAILS_ABOVE_MM if landing else 0.0)) / FOOT_MM
    size = next((size for size in extension_ft if needed_ft <= size - overlap_ft(size) + 1e-9), None)
    if size is None:
        longest = max((*stepladders_ft, *extension_ft), default=0)
        text = (
            f"Work {both(height_mm)} up is beyond the longest ladder at hand ({longest} ft): scaffold or aerial lift."
        )
        return Ladders(None, None, 0, rating, None, (*findings, Finding("stop", "too-high-for-ladders", text)))
    out = foot_out_mm(working)
    text = (
        f"{count} extension ladders of {size} ft, type {rating or 'IAA'} or better, for work {both(height_mm)} up: foot"
        f" {both(out)} from the wall (a quarter of the working length, 29 CFR 1926.1053(b)(5)), sections overlapping"
        f" {overlap_ft(size):g} ft or more,{' rails 3 ft above the work,' if landing else ''} tied or held. A platform"
        " is"
        " better for work with both hands."
    )
    findings += [Finding("caution", "ladder", text), _weather(landing)]
    return Ladders("extension ladder", size, count, rating, out, tuple(findings))


def _weather(landing: bool) -> Finding:
    if not landing:
        text = (
            "No awning is carried on a ladder; keep ladders and long parts 10 ft from power lines; stop in wind above"
            f" {HIGH_WIND_MATERIAL_MPH:g} mph with material in hand (note to 29 CFR 1910.269(x)). Thunder:"
            f" {flash_words()}"
        )
        return Finding("caution", "ladder-surroundings", text)
    text = (
        "No awning is carried on a ladder; keep ladders and long parts 10 ft from power lines, and stop in wind above"
        f" {HIGH_WIND_MATERIAL_MPH:g} mph with material in hand (note to 29 CFR 1910.269(x)) or at any thunder."
    )
    return Finding("caution", "ladder-surroundings", text)
