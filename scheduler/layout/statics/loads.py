"""What pulls and bears on each bracket: self weight alone, and the service pressure of a wind class of EN 13561.

The model, plainly:

- The awning is a rigid whole: on the wall it is a moment about the mounting bar and forces down, up and outward.
- Open, `FRONT_SHARE` of the weight hangs at the front bar's axis and the rest lies evenly along the mounting bar. A
  real awning has less in front: tube, bar and hood stay at the wall, arms and cloth hang half-way.
- Wind presses evenly on the whole cloth (width × projection), square to it, up or down: half of it goes to the front
  bar, half to the tube at the wall. Its moment is pressure × area × projection / 2.
- The front bar rests on the arms as a continuous beam; so the arms bring their share of the front weight and of the
  wind, and all the moment of both, to the mounting bar at their own places. The rest lies evenly along the bar.
- The mounting bar is a continuous beam on its brackets for forces and for the moment alike. Brackets do not give way.
- In each bracket the moment is a couple over `bracket_lever`: pressed down, the upper fasteners pull and the lower
  edge bears; lifted, the lower fasteners pull and the upper edge bears, over the same lever.
- Closed, everything lies evenly along the bar, as far in front of the wall as half the closed body's height: the survey
  gives no depth, and a closed awning is about as deep as high. Wind draws on its face outward, and up or down.
- Relief is left out: no self weight in upward cases, no push of downward wind towards the wall.
- Left out too: the arms' springs against the cloth (they balance inside the awning), snow, standing water, people
  hanging on it, and the building code's design wind, in which an awning must be closed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from scheduler.layout.documents import Finding, Survey
from scheduler.layout.statics.beam import reactions
from scheduler.weather.limits import beaufort

STANDARD_GRAVITY = 9.80665
# Nominal pressures of wind classes 0 to 3, Pa. EN 13561 itself was not seen: from memory, and printed with that
# standard as their source in a maker's public manual.
CLASS_PRESSURE_PA = (0.0, 40.0, 70.0, 110.0)
FOLDING_ARM_CLASS = 2  # the highest class of folding-arm awnings (note on Regulation (EU) 2019/1188)
FRONT_SHARE = 0.4  # centroid of the weight at 0.3 to 0.4 of the projection: common practice, no published source
AIR_KG_PER_M3 = 1.25  # EN 1991-1-4, 4.5 note 2
PSF_PA = 47.880259
_MPH_MPS = 0.44704


@dataclass(frozen=True)
class BracketForce:
    """Load of one case on one bracket.

    `moment_nm` is positive where the upper fasteners pull, `shear_n` positive downwards, `pull_n` straight out of the
    wall besides the couple; `tension_n` is what the pulling row of fasteners holds together.
    """

    moment_nm: float
    shear_n: float
    pull_n: float
    tension_n: float


@dataclass(frozen=True)
class LoadCase:
    """One load case by name; `duration` is the load duration of its shortest load, as `nds.DURATION` names it."""

    name: str
    duration: Literal["permanent", "wind"]
    brackets: tuple[BracketForce, ...]


@dataclass(frozen=True)
class BracketUse:
    """The case that asks most of one bracket, with its loads on the whole bracket.

    `use` is the fraction of the allowable load that its fasteners take; None: no allowable load is known, and the case
    is the one with the largest pull.
    """

    tension_n: float
    shear_n: float
    use: float | None
    case: str


@dataclass(frozen=True)
class _Bar:
    """A load on the mounting bar: an even part over its whole width, and parts at the arms (N, or N·m for moments)."""

    even: float = 0.0
    at_arms: float = 0.0


def couple_moment_nm(
    weight_n: float, centroid_m: float, pressure_pa: float, width_m: float, projection_m: float
) -> float:
    """Return the moment about the wall of a weight at `centroid_m` and a pressure on width × projection, N·m."""
    return weight_n * centroid_m + pressure_pa * width_m * projection_m * projection_m / 2


def bracket_loads(survey: Survey, at_mm: Sequence[float]) -> tuple[LoadCase, ...]:
    """Return the load cases with the force on each bracket.

    at_mm: the brackets' centers from the bar's left end, ascending, two or more.

    Self weight closed and open come first; a wind class above 0 adds closed and open, each with wind down and up. The
    model and what it leaves out: see the module. Raises `ValueError` as `beam.reactions` does.
    """
    awning = survey.awning
    weight = awning.weight_kg * STANDARD_GRAVITY
    width, projection = awning.width / 1000, awning.projection / 1000
    reach = projection * math.cos(math.radians(awning.pitch_deg))
    body = (awning.body_above + awning.body_below) / 1000
    pressure = CLASS_PRESSURE_PA[survey.wind_class]
    wind = f"service wind class {survey.wind_class}"

    front = FRONT_SHARE * weight
    closed = (_Bar(even=weight), _Bar(even=weight * body / 2))
    opened = (
        _Bar(even=weight - front, at_arms=front),
        _Bar(even=(weight - front) * body / 2, at_arms=couple_moment_nm(front, reach, 0, 0, 0)),
    )
    none = _Bar()
    cases = [
        _case("self weight, closed", "permanent", survey, at_mm, *closed, none),
        _case("self weight, open", "permanent", survey, at_mm, *opened, none),
    ]
    if pressure:
        on_body = pressure * width * body
        outward = _Bar(even=on_body)
        cases += [
            _case(f"self weight and {wind} outward and down, closed", "wind", survey, at_mm,
                  _Bar(even=weight + on_body), _Bar(even=(weight + on_body) * body / 2), outward),
            _case(f"{wind} outward and up, closed", "wind", survey, at_mm,
                  _Bar(even=-on_body), _Bar(even=-on_body * body / 2), outward),
        ]  # fmt: skip
        on_cloth = pressure * width * projection
        turning = couple_moment_nm(0, 0, pressure, width, projection)
        lifted = on_cloth * math.sin(math.radians(awning.pitch_deg))
        cases += [
            _case(f"self weight and {wind} down, open", "wind", survey, at_mm,
                  _Bar(opened[0].even + on_cloth / 2, opened[0].at_arms + on_cloth / 2),
                  _Bar(opened[1].even, opened[1].at_arms + turning), none),
            _case(f"{wind} up, open", "wind", survey, at_mm,
                  _Bar(-on_cloth / 2, -on_cloth / 2), _Bar(0.0, -turning), _Bar(lifted / 2, lifted / 2)),
        ]  # fmt: skip
    return tuple(cases)


def _case(
    name: str, duration: Literal["permanent", "wind"], survey: Survey, at_mm: Sequence[float],
    shear: _Bar, moment: _Bar, pull: _Bar,
) -> LoadCase:  # fmt: skip
    awning = survey.awning
    on_arms = reactions(awning.arms, even=1 / awning.width, length=awning.width)

    def carried(load: _Bar) -> list[float]:
        points = [(x, load.at_arms * share) for x, share in zip(awning.arms, on_arms, strict=True)]
        return reactions(at_mm, points, load.even / awning.width, awning.width)

    lever_m = awning.bracket_lever / 1000
    rows = zip(carried(moment), carried(shear), carried(pull), strict=True)
    return LoadCase(name, duration, tuple(BracketForce(m, v, p, abs(m) / lever_m + max(p, 0.0)) for m, v, p in rows))


def pulling_fasteners(bolts: int) -> int:
    """Return how many of a bracket's fasteners share its tension: half of them, one at least, rounded down.

    The survey does not say how the holes lie; half above and half below is the usual pattern, and each half must hold
    its own direction. All of a bracket's fasteners share the shear.
    """
    return max(bolts // 2, 1)


def on_one_fastener(tension_n: float, shear_n: float, bolts: int) -> tuple[float, float]:
    """Return pull and shear of the worst fastener of a bracket with `bolts`, N, from the loads on the whole bracket."""
    return tension_n / pulling_fasteners(bolts), abs(shear_n) / bolts


def wind_speed_mps(pressure_pa: float) -> float:
    """Return the wind speed whose velocity pressure, half of air density × speed², is `pressure_pa` (EN 1991-1-4)."""
    return math.sqrt(2 * pressure_pa / AIR_KG_PER_M3)


def velocity_pressure_psf(speed_mph: float, kz: float, kzt: float, kd: float) -> float:
    """Return the velocity pressure of ASCE 7, psf: 0.00256 Kz Kzt Kd V²."""
    return 0.00256 * kz * kzt * kd * speed_mph**2


def allowable_speed_mph(ultimate_mph: float) -> float:
    """Return the allowable-stress wind speed for a strength-design one: V × √0.6 (IBC 2012, Eq. 16-33)."""
    return ultimate_mph * math.sqrt(0.6)


def load_findings(survey: Survey) -> tuple[Finding, ...]:
    """Return what is to be said of the load cases: which wind they mean, and which they do not."""
    lever = survey.awning.bracket_lever
    over = (
        f"{lever:.0f}" if survey.is_second else f"{lever:g}"
    )  # layouts of first surveys are kept for ever as they were
    model = Finding(
        "note",
        "load-model",
        f"How loads are reckoned: open, {FRONT_SHARE:.0%} of the weight hangs at the front bar, the arms bring it and"
        " the wind to the mounting bar; closed, all lies evenly along it; the bar is a continuous beam on its brackets,"
        f" and each bracket holds its moment by a couple over {over} mm. Snow, standing"
        " water, and people hanging on the awning are left out.",
    )
    return (*_wind_findings(survey), model)


def _wind_findings(survey: Survey) -> tuple[Finding, ...]:
    number = survey.wind_class
    pressure = CLASS_PRESSURE_PA[number]
    if not pressure:
        text = (
            "Wind class 0 (EN 13561): no wind load is checked, only self weight. This awning must not be open in wind."
        )
        return (Finding("caution", "wind-class-0", text),)
    mph = wind_speed_mps(pressure) / _MPH_MPS
    # An ordinary inland site: exposure C to 15 ft, 115 mph at strength level (ASCE 7).
    storm_pa = velocity_pressure_psf(allowable_speed_mph(115), kz=0.85, kzt=1.0, kd=0.85) * PSF_PA
    findings = [
        Finding(
            "caution",
            "service-wind",
            f"Loads named service wind class {number} are {pressure:g} Pa on the cloth (class pressure of EN 13561, not"
            f" read in the standard itself), the pressure of a steady {mph:.0f} mph (Beaufort {beaufort(mph)}). A"
            f" building code's design wind of 115 mph presses about {storm_pa / pressure:.0f} times as hard and is not"
            " checked: the awning must be closed before such wind, and stay within its maker's limits.",
        )
    ]
    if number > FOLDING_ARM_CLASS:
        text = (
            f"Wind class {number} is above {FOLDING_ARM_CLASS}, the highest that EN 13561 has for folding-arm awnings:"
            " check the maker's declaration before relying on it."
        )
        findings.append(Finding("caution", "wind-class-high", text))
    return tuple(findings)
