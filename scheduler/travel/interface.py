"""What every source of travel times gives: two square tables, and from where each cell of them came."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from scheduler.errors import BadInput

IntTable = npt.NDArray[np.int64]
FloatTable = npt.NDArray[np.float64]
SourceTable = npt.NDArray[np.int8]
Point = tuple[float, float]  # latitude, longitude; degrees, WGS 84

_CRUMB = 1e-9  # 30.000000000000004 minutes is thirty: arithmetic dust must not become a whole minute


@dataclass(frozen=True, eq=False)
class Matrices:
    """Travel between n places: row = from, column = to, in the order of the points they were made for.

    `minutes` and `metres` are int64, n × n, whole (rounded up), never negative, 0 on the diagonal, read-only. They need
    be neither symmetric nor keep the triangle inequality.
    """

    minutes: IntTable
    metres: IntTable

    def __post_init__(self) -> None:
        for name in ("minutes", "metres"):
            table: IntTable = getattr(self, name)
            if table.ndim != 2 or table.shape[0] != table.shape[1] or table.shape != self.minutes.shape:
                raise BadInput(name, f"must be square and as large as the other table, has the shape {table.shape}")
            if table.dtype != np.int64 or (table < 0).any() or np.diagonal(table).any():
                raise BadInput(name, "must hold whole numbers, none negative, with zeros on the diagonal")
            table.setflags(write=False)


@dataclass(frozen=True, eq=False)
class TravelTimes:
    """Matrices with their origin: cell (i, j) came from `sources[source[i, j]]`.

    `source` is int8, n × n and read-only; its diagonal, 0 by definition, counts as the first source's.
    `notes` say in plain sentences what a reader must know: a source that failed, places without a road, a slowdown.
    """

    matrices: Matrices
    source: SourceTable
    sources: tuple[str, ...]
    notes: tuple[str, ...]

    def __post_init__(self) -> None:
        if self.source.shape != self.matrices.minutes.shape or self.source.dtype != np.int8:
            raise BadInput("source", f"must be as large as the matrices, has the shape {self.source.shape}")
        if self.source.size and not 0 <= self.source.min() <= self.source.max() < len(self.sources):
            raise BadInput("source", "names a source that is not in the list")
        self.source.setflags(write=False)

    def share(self, name: str) -> float:
        """Return the share, 0 to 1, of the cells off the diagonal that came from the source called `name`."""
        off = ~np.eye(len(self.source), dtype=bool)
        return float((self.source[off] == self.sources.index(name)).mean()) if off.any() else 0.0


def rounded(minutes: FloatTable, metres: FloatTable) -> Matrices:
    """Return tables of fractional minutes and metres as `Matrices`: rounded up, the diagonal set to 0."""
    whole_min, whole_m = round_up(minutes), round_up(metres)
    np.fill_diagonal(whole_min, 0)
    np.fill_diagonal(whole_m, 0)
    return Matrices(minutes=whole_min, metres=whole_m)


def round_up(values: FloatTable) -> IntTable:
    """Return `values` (finite) as whole numbers, each rounded up."""
    return np.ceil(values - _CRUMB).astype(np.int64)


def checked_points(points: Sequence[Point]) -> FloatTable:
    """Return `points` as an n × 2 array of degrees (latitude, longitude); raises `BadInput` at the first bad one."""
    for n, (lat, lon) in enumerate(points):
        for name, value, limit in (("lat", lat, 90), ("lon", lon, 180)):
            if not (math.isfinite(value) and -limit <= value <= limit):
                raise BadInput(f"points[{n}].{name}", f"must be from -{limit} to {limit} degrees, is {value}")
    return np.array(points, dtype=np.float64).reshape(len(points), 2)
