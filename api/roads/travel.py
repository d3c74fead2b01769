"""One call for travel times from any source, with the cache before it and the estimate behind it.

A cell that the source cannot give is estimated, and the result says so: in its notes and cell by cell.
"""

from __future__ import annotations

import contextlib
import datetime
import sqlite3
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import numpy as np
import numpy.typing as npt

from api.roads.cache import Cache
from api.roads.sources import (
    BlockRefused,
    BlockTooLarge,
    EstimateOnly,
    Extract,
    NoRoadNear,
    Router,
    Source,
    SourceFailed,
)
from scheduler.travel.estimate import DEFAULT, Constants, estimates, great_circle_m
from scheduler.travel.interface import FloatTable, Point, TravelTimes, checked_points, rounded

ESTIMATE = "estimate"
Progress = Callable[[int, int], None]
Numbers = npt.NDArray[np.int64]


def travel_times(
    points: Sequence[Point],
    source: Source,
    *,
    constants: Constants = DEFAULT,
    slowdown: float = 1.0,
    cache: Path | None = None,
    progress: Progress | None = None,
) -> TravelTimes:
    """Return travel between all `points` from `source`, every cell it cannot give filled by the estimate.

    constants: of the estimate. slowdown: factor on all minutes, whatever their source. cache: folder of kept answers,
    None: none. progress: called with (cells known, cells wanted) after each block. Never fails for a source's sake: the
    notes then say what happened. Raises `BadInput` for points or constants that are wrong.
    """
    checked_points(points)
    metres, minutes = estimates(great_circle_m(points), constants)
    sources: tuple[str, ...] = (ESTIMATE,)
    used = np.zeros(metres.shape, dtype=np.int8)
    notes: list[str] = []
    if not isinstance(source, EstimateOnly):
        try:
            router = open_router(source)
        except SourceFailed as fault:
            notes.append(f"All travel times are estimated: {fault}.")
        else:
            sources = (ESTIMATE, router.name)
            unique, place = _unique(points)
            with contextlib.closing(router):
                seconds, road_m = _routed(unique, router, cache, progress or (lambda known, wanted: None), notes)
            seconds, road_m = seconds[np.ix_(place, place)], road_m[np.ix_(place, place)]
            routed = ~np.isnan(seconds)
            minutes, metres = np.where(routed, seconds / 60, minutes), np.where(routed, road_m, metres)
            used[routed] = 1
            np.fill_diagonal(used, 0)
            _note_estimated(used, notes)
    if slowdown != 1:
        notes.append(f"All minutes are multiplied by {slowdown:.3g} for slow hours.")
    return TravelTimes(rounded(slowdown * minutes, metres), used, sources, tuple(notes))


def open_router(source: Source) -> Router:
    """Return the opened source; raises `SourceFailed` (for `EstimateOnly` too, which has no roads to route on)."""
    if isinstance(source, EstimateOnly):
        raise SourceFailed("the estimate has no roads to route on")
    if isinstance(source, Extract):
        from api.roads.extracts.tiles import ExtractTable

        return ExtractTable(source)
    from api.roads.services import open_service

    return open_service(source)


def _unique(points: Sequence[Point]) -> tuple[list[Point], Numbers]:
    """Return the different places, in millionths of a degree, and for each point the number of its place."""
    number: dict[Point, int] = {}
    place = [number.setdefault((round(float(lat), 6), round(float(lon), 6)), len(number)) for lat, lon in points]
    return list(number), np.array(place, dtype=np.int64)


def _routed(
    points: list[Point], router: Router, folder: Path | None, progress: Progress, notes: list[str]
) -> tuple[FloatTable, FloatTable]:
    """Return (seconds, metres) between different `points`, NaN where the source gives nothing."""
    size, today = len(points), datetime.date.today().toordinal()
    seconds, metres = np.full((size, size), np.nan), np.full((size, size), np.nan)
    known = np.zeros((size, size), dtype=bool)
    cache = None
    if folder is not None:
        try:
            cache = Cache(folder, router.identity)
            oldest = today - router.max_age_days
            seconds, metres, known = cache.load(points, max(0, int(oldest)) if np.isfinite(oldest) else 0)
        except (sqlite3.Error, OSError) as fault:
            notes.append(f"The cache of travel times in {folder} cannot be used ({fault}).")
            cache = None
    np.fill_diagonal(seconds, 0.0)
    np.fill_diagonal(metres, 0.0)
    np.fill_diagonal(known, True)
    asking = Asking(points, router, notes)
    progress(int(known.sum()), known.size)
    for starts, goals, found in asking.blocks(known):
        seconds[np.ix_(starts, goals)], metres[np.ix_(starts, goals)] = found
        known[np.ix_(starts, goals)] = True
        if cache is not None:
            try:
                cache.keep([points[i] for i in starts], [points[j] for j in goals], found, today)
            except (sqlite3.Error, OSError) as fault:
                notes.append(f"Travel times could not be kept in {folder} ({fault}).")
                cache = None
        progress(int(known.sum()), known.size)
    np.fill_diagonal(seconds, 0.0)
    np.fill_diagonal(metres, 0.0)
    return np.where(np.isnan(metres), np.nan, seconds), metres


class Asking:
    """Asks a router for what is not known, block by block, and notes what goes wrong.

    `block` may ask for less at a time than the router takes. `failed` says why the source was given up or refused a
    part; empty: all that was asked for was answered.
    """

    def __init__(
        self, points: list[Point], router: Router, notes: list[str], block: tuple[int, int] | None = None
    ) -> None:
        self._points, self._router, self._notes = points, router, notes
        self._block = block or router.block
        self.failed = ""
        self._near_road: dict[int, bool] = {}
        self._until = time.monotonic() + router.budget_s

    def blocks(self, known: npt.NDArray[np.bool_]) -> Iterator[tuple[Numbers, Numbers, tuple[FloatTable, FloatTable]]]:
        """Yield (starts, goals, (seconds, metres)) until all is known or the source is given up."""
        if known.all():
            return
        waiting = [r for r in _rectangles(known) if r[0].size and r[1].size]
        try:
            while waiting:
                starts, goals = waiting.pop()
                if len(parts := _cut(starts, goals, self._block)) > 1:
                    waiting += parts
                    continue
                if time.monotonic() > self._until:
                    raise SourceFailed(f"the {self._router.name} took longer than {self._router.budget_s:g} s in all")
                try:
                    yield starts, goals, self._found(starts, goals)
                except BlockTooLarge as fault:
                    if starts.size == goals.size == 1:
                        raise SourceFailed(f"the {self._router.name} refuses even one drive ({fault})") from None
                    half = (max(starts.size, goals.size) + 1) // 2
                    self._block = (half, half)
                    waiting.append((starts, goals))
                except BlockRefused as fault:
                    self.failed = f"the {self._router.name} refused a part of the table: {fault}"
                    note = f"{self.failed[0].upper()}{self.failed[1:]}."
                    if note not in self._notes:
                        self._notes.append(note)
        except SourceFailed as fault:
            self.failed = str(fault)
            self._notes.append(f"Asking for travel times ended early: {fault}.")

    def _found(self, starts: Numbers, goals: Numbers) -> tuple[FloatTable, FloatTable]:
        try:
            return self._table(starts, goals)
        except NoRoadNear:
            seconds, metres = np.full((2, starts.size, goals.size), np.nan)
            on = [
                np.array([k for k, i in enumerate(some) if self._has_road(int(i))], dtype=int)
                for some in (starts, goals)
            ]
            if on[0].size and on[1].size:
                seconds[np.ix_(*on)], metres[np.ix_(*on)] = self._table(starts[on[0]], goals[on[1]])
            return seconds, metres

    def _has_road(self, place: int) -> bool:
        if place not in self._near_road:
            try:
                alone = np.array([place])
                self._table(alone, alone)
                self._near_road[place] = True
            except NoRoadNear:
                self._near_road[place] = False
                lat, lon = self._points[place]
                self._notes.append(f"No road within reach of {lat:.6f}, {lon:.6f}: its travel times are estimated.")
        return self._near_road[place]

    def _table(self, starts: Numbers, goals: Numbers) -> tuple[FloatTable, FloatTable]:
        return self._router.table([self._points[i] for i in starts], [self._points[j] for j in goals])


def _rectangles(known: npt.NDArray[np.bool_]) -> list[tuple[Numbers, Numbers]]:
    """Return (starts, goals) of few rectangles that cover all unknown cells: new places apart, then what is left."""
    everyone = np.arange(len(known))
    new = known.sum(axis=1) + known.sum(axis=0) <= 2  # nothing but its own diagonal
    old = everyone[~new]
    left = ~known[np.ix_(old, old)]
    fresh = everyone[new]
    return [(old[left.any(axis=1)], old[left.any(axis=0)]), (old, fresh), (fresh, everyone)]


def _cut(starts: Numbers, goals: Numbers, block: tuple[int, int]) -> list[tuple[Numbers, Numbers]]:
    """Cut a rectangle into blocks of the size that the router takes."""
    down, across = block
    return [
        (starts[i : i + down], goals[j : j + across])
        for i in range(0, starts.size, down)
        for j in range(0, goals.size, across)
    ]


def _note_estimated(used: npt.NDArray[np.int8], notes: list[str]) -> None:
    missing = int((used == 0).sum()) - len(used)  # the diagonal is 0 by definition
    if missing:
        total = used.size - len(used)
        share = "All travel times" if missing == total else f"{missing} of {total} travel times"
        notes.append(f"{share} are estimated from the great circle, not routed.")
