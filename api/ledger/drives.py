"""The drive times on record, and the one way to travel times: known drives first, the estimate for all others.

A drive is known by its source and its two places, rounded to hundred-thousandths of a degree. The estimate's constants
are those fitted to the drives of the same source, where enough of them are known.
"""

from __future__ import annotations

import datetime
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import NamedTuple

import msgspec
import numpy as np
import numpy.typing as npt
import sqlalchemy as sa
from sqlmodel import Session, col, select

from api import tables
from api.database import parts
from api.ledger.kept import kept
from api.ledger.plans.documents import DrivesTimed
from scheduler.travel.estimate import DEFAULT, Constants, estimates, great_circle_m
from scheduler.travel.interface import FloatTable, IntTable, Point, rounded
from scheduler.week import Travel

Spot = tuple[int, int]  # latitude and longitude in hundred-thousandths of a degree


@dataclass(frozen=True, eq=False)
class KnownDrives:
    """What is known of drives between the places of `number`: tables of seconds, meters and days, NaN and 0: unknown.

    `by` names the source; empty: none is set, and every drive is estimated. A drive takes `factor` times what is known
    or estimated, and `extra_min` minutes more: as the business's own crews have driven.
    """

    by: str = ""
    factor: float = 1.0
    extra_min: float = 0.0
    constants: Constants = DEFAULT
    number: dict[Spot, int] = field(default_factory=dict)
    seconds: FloatTable = field(default_factory=lambda: np.empty((0, 0)))
    metres: FloatTable = field(default_factory=lambda: np.empty((0, 0)))
    days: IntTable = field(default_factory=lambda: np.empty((0, 0), dtype=np.int64))

    def between(self, points: Sequence[Point]) -> tuple[Travel, DrivesTimed | None]:
        """Return travel between all `points` (latitude, longitude) in their order, whole minutes and meters.

        What is not known is estimated, as the second value says; None where no source is set.
        """
        metres, minutes = estimates(great_circle_m(points), self.constants)
        timed = None
        if self.by:
            place = np.array([self.number.get(spot(point), -1) for point in points], dtype=np.int64)
            known, rows = np.zeros(metres.shape, dtype=bool), np.flatnonzero(place >= 0)
            days = np.zeros(metres.shape, dtype=np.int64)
            if rows.size:
                here, there = np.ix_(rows, rows), np.ix_(place[rows], place[rows])
                known[here] = ~np.isnan(self.seconds[there])
                days[here] = self.days[there]
                minutes[here] = np.where(known[here], self.seconds[there] / 60, minutes[here])
                metres[here] = np.where(known[here], self.metres[there], metres[here])
            timed = _timed(self.by, known | (place[:, None] == place) & (place >= 0), days)
        if (self.factor, self.extra_min) != (1.0, 0.0):
            minutes = np.where(metres > 0, minutes * self.factor + self.extra_min, minutes)
        made = rounded(minutes, metres)
        travel = Travel(
            minutes=tuple(map(tuple, made.minutes.tolist())), metres=tuple(map(tuple, made.metres.tolist()))
        )
        return travel, timed


def drives(session: Session, points: Iterable[Point]) -> KnownDrives:
    """Return drives between `points` by the source that is set, corrected as the business has taken over."""
    known, rule = uncorrected(session, points), session.get(tables.LearningRule, 1)
    if rule is None or (rule.drive_factor, rule.drive_min) == (1.0, 0.0):
        return known
    return replace(known, factor=rule.drive_factor, extra_min=rule.drive_min)


def uncorrected(session: Session, points: Iterable[Point]) -> KnownDrives:
    """Return what the source that is set has timed between `points`; held in memory until one of them changes."""
    source = session.get(tables.RoadSource, 1)
    if source is None or source.kind == "estimate":
        return KnownDrives()
    table = session.exec(select(tables.RoadTable).where(tables.RoadTable.asked == asked(source))).first()
    if table is None:
        return KnownDrives(by=words_for(source))
    spots = frozenset(map(spot, points))
    return kept(session, ("drives", table.id, table.version, spots), lambda: _drives(session, table, spots))


def asked(source: tables.RoadSource) -> str:
    """Return the name under which the drives of a source are kept."""
    return " ".join((source.kind, source.tiles if source.kind == "extract" else source.address, source.profile)).strip()


def words_for(source: tables.RoadSource) -> str:
    """Return what a source is called before it has answered."""
    return f"road extract {source.tiles}" if source.kind == "extract" else f"{source.kind} service at {source.address}"


def spot(point: Point) -> Spot:
    """Return a place as it is kept."""
    return round(point[0] * 1e5), round(point[1] * 1e5)


def known_places(session: Session, spots: Iterable[Spot]) -> dict[Spot, int]:
    """Return the numbers of those of `spots` that drives are on record for, or ever were asked for."""
    row, wanted = tables.RoadPlace, set(spots)
    found: dict[Spot, int] = {}
    for some in parts(sorted({lat for lat, _ in wanted})):
        columns = (col(row.id), col(row.lat_e5), col(row.lon_e5))
        lines = session.execute(sa.select(*columns).where(col(row.lat_e5).in_(some)))
        found |= {(lat, lon): number for number, lat, lon in lines if (lat, lon) in wanted}
    return found


class TimedDrive(NamedTuple):
    """One drive on record, between places by their numbers; without seconds `why` says why it cannot be used."""

    start: int
    goal: int
    seconds: float | None
    metres: float | None
    got_on: datetime.date
    why: str


def lines_between(session: Session, table_id: int, places: Collection[int]) -> list[TimedDrive]:
    """Return every drive on record in a table between `places`, in a lasting order."""
    row, inside = tables.Drive, set(places)
    columns = (col(row.start_id), col(row.goal_id), col(row.seconds), col(row.metres), col(row.got_on), col(row.why))
    found: list[TimedDrive] = []
    for some in parts(sorted(inside)):
        wanted = sa.select(*columns).where(col(row.table_id) == table_id, col(row.start_id).in_(some))
        lines = session.execute(wanted.order_by(col(row.start_id), col(row.goal_id)))
        found += [TimedDrive(*line) for line in lines if line[1] in inside]
    return found


def _drives(session: Session, table: tables.RoadTable, spots: frozenset[Spot]) -> KnownDrives:
    assert table.id is not None
    found = known_places(session, spots)
    place = {row: n for n, row in enumerate(sorted(found.values()))}
    size = len(place)
    seconds, metres = np.full((size, size), np.nan), np.full((size, size), np.nan)
    days = np.zeros((size, size), dtype=np.int64)
    for line in lines_between(session, table.id, place):
        if line.seconds is not None and line.metres is not None:
            at = place[line.start], place[line.goal]
            seconds[at], metres[at], days[at] = line.seconds, line.metres, line.got_on.toordinal()
    np.fill_diagonal(seconds, 0.0)
    np.fill_diagonal(metres, 0.0)
    return KnownDrives(
        by=table.name,
        constants=constants_of(table),
        number={where: place[row] for where, row in found.items()},
        seconds=seconds,
        metres=metres,
        days=days,
    )


def constants_of(table: tables.RoadTable | None) -> Constants:
    """Return the estimate's constants as they were fitted to a table's drives, else the usual ones."""
    return DEFAULT if table is None or table.constants is None else msgspec.convert(table.constants, Constants)


def _timed(by: str, known: npt.NDArray[np.bool_], days: IntTable) -> DrivesTimed:
    """Return who timed which drives; `known` tells, a drive without a day is from a place to itself."""
    dated = days[known & (days > 0)]
    if not dated.size:
        return DrivesTimed(by=by, first=None, last=None, estimated=())
    np.fill_diagonal(known, True)
    return DrivesTimed(
        by=by,
        first=datetime.date.fromordinal(int(dated.min())),
        last=datetime.date.fromordinal(int(dated.max())),
        estimated=tuple(tuple(np.flatnonzero(~row).tolist()) for row in known),
    )
