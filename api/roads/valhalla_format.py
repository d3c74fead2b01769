"""Requests and answers of Valhalla's `sources_to_targets`, the same in this process and over HTTP.

Format: Valhalla's "Time-Distance Matrix service API reference". Seconds and kilometres; null where no way leads.
"""

from __future__ import annotations

from collections.abc import Sequence

import msgspec
import numpy as np

from api.roads.sources import MOST_METRES, MOST_SECONDS, BlockRefused, BlockTooLarge, NoRoadNear, answer_table
from scheduler.travel.interface import FloatTable, Point

_METRES_BY_UNIT = {"kilometers": 1000.0, "km": 1000.0, "miles": 1609.344, "mi": 1609.344}


class _Cell(msgspec.Struct):
    time: float | None = None
    distance: float | None = None


class _Tables(msgspec.Struct):
    durations: list[list[float | None]]
    distances: list[list[float | None]]


class _Answer(msgspec.Struct):
    sources_to_targets: _Tables | list[list[_Cell | None]]
    units: str = "kilometers"


def request_body(sources: Sequence[Point], targets: Sequence[Point], costing: str, snap_m: int) -> bytes:
    """Return the JSON request for a table; `search_cutoff` keeps far-away roads from answering for a place."""

    def locations(points: Sequence[Point]) -> list[dict[str, float]]:
        return [{"lat": lat, "lon": lon, "search_cutoff": snap_m} for lat, lon in points]

    body = {"sources": locations(sources), "targets": locations(targets), "costing": costing, "verbose": False}
    return msgspec.json.encode({**body, "units": "kilometers"})


def read_answer(data: bytes | str, shape: tuple[int, int]) -> tuple[FloatTable, FloatTable]:
    """Return (seconds, metres) of an answer; raises `ValueError` saying what is wrong with it."""
    answer = msgspec.json.decode(data, type=_Answer)
    tables = answer.sources_to_targets
    if answer.units not in _METRES_BY_UNIT:
        raise ValueError(f'distances in the unknown unit "{answer.units}"')
    if not isinstance(tables, _Tables):  # services older than the compact form ignore `verbose` and answer cell by cell
        cells = [[cell or _Cell() for cell in row] for row in tables]
        tables = _Tables([[c.time for c in row] for row in cells], [[c.distance for c in row] for row in cells])
    metres_a_unit = _METRES_BY_UNIT[answer.units]
    seconds = answer_table(tables.durations, shape, MOST_SECONDS)
    metres = metres_a_unit * answer_table(tables.distances, shape, MOST_METRES / metres_a_unit)
    metres[np.isnan(seconds)] = np.nan  # one of its searches leaves a stale distance where no way leads
    return seconds, metres


def refused(message: str, shape: tuple[int, int]) -> tuple[FloatTable, FloatTable]:
    """Return the empty table (all NaN) where Valhalla's words say that no drive of it has a way.

    Raises the `BlockRefused` that fits its words otherwise.
    """
    if "No path could be found" in message:
        return np.full(shape, np.nan), np.full(shape, np.nan)
    if "suitable edges" in message:
        raise NoRoadNear(message)
    if "max locations" in message:
        raise BlockTooLarge(message)
    raise BlockRefused(message)
