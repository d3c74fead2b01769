"""Cautions ranked by what is special to a wall; those of every wall in one standing footer, the same on each sheet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from scheduler.layout.documents import Finding, Layout, Survey
from scheduler.layout.drawing.paper.lettering import clean
from scheduler.weather.limits import HIGH_WIND_MATERIAL_MPH
from scheduler.weather.thunder import SHELTER_S, STAY_MIN, miles_off

MOST_ON_SHEET = 5
# What every wall has: said in the footer, and in full with the notes.
STANDING = frozenset(
    {"ladder", "ladder-surroundings", "overhead-lift", "material-lift", "service-wind", "hidden-services"}
)
# What can bring an awning down first, then what can hurt people, then what can spoil the work.
_RANK = {
    code: n
    for n, code in enumerate((
        "rim-fixing", "overhang", "end-grain", "edge-distance", "one-line", "off-centre", "anchor", "hollow-block",
        "outer-inside", "arm-unserved", "cover", "headroom", "door", "wind-class-0", "wind-class-high",
        "mounting-height", "old-paint", "power", "band-height", "run-off",
    ))
}  # fmt: skip
# What a finding is called where only its name has room; the others by their code, with blanks.
_CALLED = {
    "anchor-base": "report for another wall", "arm-unserved": "arm far from a bracket",
    "cover": "cover of the wall", "member": "strength of the wood",
    "obstacles": "things on the wall", "outlet": "outlet behind the awning",
    "off-centre": "screws off center", "overloaded": "overload",
    "outer-inside": "outer bracket inside its arm", "power": "power for the motor", "run-off": "rain on the cloth",
    "wind-class-high": "high wind class",
}  # fmt: skip
_LEVELS = ("stop", "caution", "note")


@dataclass(frozen=True)
class Sorted:
    """A layout's findings by where they belong: each of the first three in order of rank."""

    stops: tuple[Finding, ...]
    special: tuple[Finding, ...]
    standing: tuple[Finding, ...]
    notes: tuple[Finding, ...]


def called(code: str) -> str:
    """Return in words what a finding of this code is about."""
    return _CALLED.get(code, clean(code).replace("-", " "))


def ranked(findings: Sequence[Finding]) -> list[Finding]:
    """Return the findings by level, stops first; of cautions what is special to this wall first, by rank."""

    def key(finding: Finding) -> tuple[int, int]:
        rank = _RANK.get(finding.code, len(_RANK)) + (len(_RANK) + 1) * (finding.code in STANDING)
        return _LEVELS.index(finding.level), rank if finding.level == "caution" else 0

    return sorted(findings, key=key)


def sort_out(findings: Sequence[Finding]) -> Sorted:
    """Return the findings by where they belong on the sheets."""
    order = ranked(findings)
    cautions = [finding for finding in order if finding.level == "caution"]
    return Sorted(
        stops=tuple(finding for finding in order if finding.level == "stop"),
        special=tuple(finding for finding in cautions if finding.code not in STANDING),
        standing=tuple(finding for finding in cautions if finding.code in STANDING),
        notes=tuple(finding for finding in order if finding.level == "note"),
    )


def standing_words(survey: Survey, layout: Layout) -> str:
    """Return the standing footer: what holds on every wall, with this one's ladders, lift and wind class."""
    ladders = next((tool for tool in layout.tools if "ladder" in tool), "")
    up = "No ladder reaches: scaffold or aerial lift, on firm ground, 10 ft from power lines"
    if ladders.startswith("extension"):  # three rungs: as labels of ladders have it, from memory
        up = f"{_capital(ladders)}: tied or held, on firm ground, 10 ft from power lines, nobody on the top three rungs"
    elif ladders:
        up = (
            f"{_capital(ladders)}: open and locked, on firm ground, 10 ft from power lines, nobody on the top two steps"
        )
    lift = "material lift" if "material lift" in layout.tools else "enough people"
    wind = f"service wind class {survey.wind_class}" if survey.wind_class else "self weight alone, no wind"
    loads = f"Loads here are {wind}." if layout.brackets else "Without brackets no load is checked."
    return (
        f"Always: look for hidden cables, pipes and gas before each hole. {up}; the awning goes up by {lift}, held by"
        " its mounting bar, never carried on a ladder. Long parts down above"
        f" {HIGH_WIND_MATERIAL_MPH:g} mph of wind. Thunder {SHELTER_S:.0f} s or less after the flash"
        f" ({miles_off(SHELTER_S):.0f} miles): go in, and wait {STAY_MIN} min after the last. {loads}"
        " The awning is closed before any storm."
    )


def _capital(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}"
