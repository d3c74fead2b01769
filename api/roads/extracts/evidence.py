"""Observed drives out of a road extract, to judge and fit the estimate with."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from api.roads.extracts.tiles import ExtractTable, tile_boxes
from api.roads.sources import SourceFailed
from scheduler.travel.estimate import great_circle_m
from scheduler.travel.fit import Drives
from scheduler.travel.interface import Point

NEAR_M = 50
_BOX_DEG = 0.25
_BATCH = 1000
_MOST_DRAWS = 400_000


def random_places(table: ExtractTable, tiles: Path, count: int, rng: np.random.Generator) -> list[Point]:
    """Return `count` places near roads, drawn evenly over all land within the table's snap distance of a road.

    Open the table with a short one (`NEAR_M`), so that the drive is judged and not the way to the road. Raises
    `SourceFailed` where the extract is too thin for that many.
    """
    boxes = np.array(tile_boxes(tiles))
    places: list[Point] = []
    for _ in range(0, _MOST_DRAWS, _BATCH):
        if len(places) >= count:
            break
        drawn = boxes[rng.integers(len(boxes), size=_BATCH)] + _BOX_DEG * rng.random((_BATCH, 2))
        points = [(lat, lon) for lat, lon in drawn.tolist()]
        places += [p for p, near in zip(points, table.near_roads(points), strict=True) if near]
    if len(places) < count:
        raise SourceFailed(f"the {table.name} gave only {len(places)} places near roads, {count} are wanted")
    return places[:count]


def observed_drives(table: ExtractTable, places: Sequence[Point], within_km: float) -> tuple[Drives, int]:
    """Return all routed drives between different `places` at most `within_km` apart, and how many had no way.

    within_km is great-circle distance: drives longer than crews make would rule the fit. Places without a road are left
    out. Raises `SourceFailed` where the extract fails.
    """
    near = [p for p, is_near in zip(places, table.near_roads(places), strict=True) if is_near]
    straight = great_circle_m(near)
    seconds, metres = np.full_like(straight, np.nan), np.full_like(straight, np.nan)
    down, across = table.block
    for i in range(0, len(near), down):
        for j in range(0, len(near), across):
            cells = slice(i, i + down), slice(j, j + across)
            seconds[cells], metres[cells] = table.table(near[cells[0]], near[cells[1]])
    wanted = (straight > 0) & (straight <= 1000 * within_km)
    routed = wanted & ~np.isnan(seconds) & ~np.isnan(metres)
    drives = Drives(straight[routed], metres[routed], seconds[routed] / 60)
    return drives, int(wanted.sum() - routed.sum())
