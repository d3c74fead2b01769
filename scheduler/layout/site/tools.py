"""Tools, ladders and lift that a layout's work needs. Which tools: common practice, no published source."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from scheduler.layout.documents import MASONRY, WOOD, Fastener, Survey
from scheduler.layout.site.ladders import EXTENSION_FT, STEPLADDERS_FT, ladders_for
from scheduler.layout.site.lifting import hands_and_lift
from scheduler.layout.statics.lag import inches
from scheduler.units import INCH_MM

# Hex across flats of lag screws by nominal diameter, inches (ASME B18.2.1: MEMORY).
_SOCKET_IN = {0.25: 7 / 16, 0.3125: 1 / 2, 0.375: 9 / 16, 0.5: 3 / 4}


@dataclass(frozen=True)
class Tool:
    """`count` of a tool by its name; `equipment` is the id under which a yard's shared one goes, None for van tools."""

    name: str
    count: int = 1
    equipment: str | None = None

    def __str__(self) -> str:
        return self.name if self.count == 1 else f"{self.name} ({self.count})"


def tools_for(
    survey: Survey,
    fastener: Fastener | None,
    stepladders_ft: Sequence[int] = STEPLADDERS_FT,
    extension_ft: Sequence[int] = EXTENSION_FT,
) -> tuple[Tool, ...]:
    """Return ladders, lift and tools, shared equipment first; ladder sizes are those that the business has.

    Ids of shared equipment: `stepladder-8`, `ladder-24` (extension, sizes in feet), `material-lift`, `hammer-drill`.
    """
    awning, wall = survey.awning, survey.wall
    ladders = ladders_for(
        survey.place.height,
        stepladders_ft=stepladders_ft,
        extension_ft=extension_ft,
        landing=not survey.is_second,
    )
    tools: list[Tool] = []
    if ladders.kind is not None:
        tools.append(Tool(f"{ladders.kind} {ladders.size_ft} ft", ladders.count, ladders.equipment))
    if hands_and_lift(awning.weight_kg, survey.place.height, awning.width).material_lift:
        tools.append(Tool("material lift", 1, "material-lift"))
    if wall.kind in MASONRY or wall.kind == "brick-veneer":
        tools += [Tool("hammer drill", 1, "hammer-drill"), Tool("vacuum with dust shroud"), Tool("hole brush and pump")]
        tools += [Tool("torque wrench"), Tool(_masonry_bit(fastener))]
    if wall.kind in WOOD:
        tools += [Tool("drill driver"), Tool("stud finder and probe"), *_bits(fastener)]
    tools += [Tool("hidden-services detector"), Tool("tape measure"), Tool("level 4 ft"), Tool("chalk line")]
    tools += [Tool("caulking gun"), Tool("socket set and hex keys"), Tool("eye and hearing protection", 2)]
    if awning.motor is not None:
        tools += [Tool("extension cord with GFCI"), Tool("motor setting cable")]
    return tuple(tools)


def ladder_sizes_ft(equipment: Iterable[str]) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """Return the stepladder and extension-ladder sizes among equipment ids (`stepladder-8`, `ladder-24`), ascending."""
    found: dict[str, set[int]] = {"stepladder": set(), "ladder": set()}
    for name in equipment:
        if match := re.fullmatch(r"(stepladder|ladder)-([0-9]{1,2})", name):
            found[match[1]].add(int(match[2]))
    return tuple(sorted(found["stepladder"])), tuple(sorted(found["ladder"]))


def _masonry_bit(fastener: Fastener | None) -> str:
    if fastener is not None and isinstance(fastener.hole, float):
        return f"masonry bit {inches(fastener.hole / INCH_MM)} in ({fastener.hole:.1f} mm)"
    return "masonry bit as the anchor's report has it"


def _bits(fastener: Fastener | None) -> list[Tool]:
    if fastener is None or fastener.diameter is None or fastener.pilot is None or fastener.shank_hole is None:
        return []
    pilot, shank = (inches(size / INCH_MM) for size in (fastener.pilot, fastener.shank_hole))
    socket = _SOCKET_IN.get(round(fastener.diameter / INCH_MM, 6))
    bits = [Tool(f"drill bit {pilot} in, wood, long"), Tool(f"drill bit {shank} in, wood, long")]
    return bits + ([Tool(f"impact socket {inches(socket)} in")] if socket is not None else [])
