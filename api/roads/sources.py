"""Where travel times may come from: the settings of each source, and how a source may fail."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol, TypeAlias

import numpy as np

from scheduler.errors import BadInput
from scheduler.travel.interface import FloatTable, Point

SNAP_M = 500  # a place farther than this from every road is not routed: a road far away would answer for it
MOST_SECONDS, MOST_METRES = 1e7, 1e8  # past half a year or twice round the earth an answer is nonsense


@dataclass(frozen=True)
class EstimateOnly:
    """No data of roads: `scheduler.travel.matrices`."""


@dataclass(frozen=True)
class Extract:
    """A folder of routing tiles built from an OpenStreetMap extract (`extract.build_tiles`), routed in this process."""

    tiles: str
    costing: str = "auto"
    snap_m: int = SNAP_M


@dataclass(frozen=True)
class Service:
    """A table service by address, in one of the two open formats.

    kind: "osrm" (GET {address}/table/v1/{profile}/…) or "valhalla" (POST {address}/sources_to_targets). profile: OSRM's
    profile, Valhalla's costing; None: "driving", "auto". block: most sources and most targets in one request; None: 100
    and 50, the usual limits of such services (it is halved when a service says it is still too much). timeout_s: for
    one whole answer. attempts: tries of one request, backoff_s apart, doubling. budget_s: after this long no further
    request is begun. max_age_days: how long a cached answer is used.
    """

    kind: str
    address: str
    profile: str | None = None
    snap_m: int = SNAP_M
    block: int | None = None
    timeout_s: float = 20.0
    attempts: int = 3
    backoff_s: float = 0.5
    budget_s: float = 300.0
    max_age_days: float = 30.0

    def __post_init__(self) -> None:
        if self.kind not in ("osrm", "valhalla"):
            raise BadInput("kind", f'must be "osrm" or "valhalla", is "{self.kind}"')
        if not self.address.startswith(("http://", "https://")):
            raise BadInput("address", f'must begin with http:// or https://, is "{self.address}"')
        if self.block is not None and self.block < 1:
            raise BadInput("block", f"must be at least 1, is {self.block}")
        for name in ("attempts", "timeout_s", "budget_s"):
            if getattr(self, name) <= 0:
                raise BadInput(name, f"must be more than 0, is {getattr(self, name)}")


Source: TypeAlias = EstimateOnly | Extract | Service


class SourceFailed(Exception):
    """The source cannot be used further; the message is one sentence for a reader, without the final full stop."""


class BlockRefused(Exception):
    """The source works but does not answer this block of the table; the message says why."""


class BlockTooLarge(BlockRefused):
    """The source limits its tables to less than this block."""


class NoRoadNear(BlockRefused):
    """Some place of the block has no road within reach; the source does not say which."""


class Router(Protocol):
    """An opened source of routed drives."""

    name: str  # shown to readers
    identity: str  # cached answers are kept under this: same identity, same answers
    block: tuple[int, int]  # most sources and most targets of one call of `table`
    budget_s: float
    max_age_days: float

    def table(self, sources: Sequence[Point], targets: Sequence[Point]) -> tuple[FloatTable, FloatTable]:
        """Return (seconds, metres), sources × targets, NaN where no way leads; raises the errors above."""
        ...

    def close(self) -> None:
        """Let go of connections; the router is not used afterwards."""
        ...


def answer_table(rows: Sequence[Sequence[float | None]], shape: tuple[int, int], most: float) -> FloatTable:
    """Return an answer's rows as an array, null as NaN; raises `ValueError` for a wrong size or an impossible value."""
    if len(rows) != shape[0] or any(len(row) != shape[1] for row in rows):
        raise ValueError(f"a table of the wrong size (asked for {shape[0]} × {shape[1]})")
    table = np.array([[np.nan if v is None else v for v in row] for row in rows], dtype=np.float64).reshape(shape)
    if ((table < 0) | (table > most)).any():
        raise ValueError("an impossible value in a table")
    return table
