"""The drive times on record as a page and programs are told of them, and one drive asked for to try a source."""

from __future__ import annotations

import contextlib
import datetime
import math
from pathlib import Path

import msgspec
import sqlalchemy as sa
from sqlmodel import Session, col, select

from api import tables
from api.ledger.drives import asked, constants_of, known_places, lines_between, words_for
from api.roads.judging import NO_WAY, judged
from api.roads.keeper import source_of, wanted_places, without_patience
from api.roads.sources import BlockRefused, EstimateOnly, Source, SourceFailed
from api.roads.travel import open_router
from scheduler.errors import BadInput
from scheduler.travel.estimate import Constants, estimates, great_circle_m
from scheduler.travel.interface import Point

MOST_REFUSED = 20


class RefusedDrive(msgspec.Struct, frozen=True):
    """A drive that its source timed and that cannot be so."""

    start: str
    goal: str
    why: str


class DrivesStanding(msgspec.Struct, frozen=True):
    """How the drives of the source that is set stand: of `wanted` drives `known` can be used.

    `no_way` lead nowhere, `refused` cannot be right; both are estimated, as are those not asked for yet. `fitted` are
    what the estimate's constants rest on, empty where they are the usual ones.
    """

    kind: str
    name: str
    wanted: int
    known: int
    no_way: int
    refused: int
    refusals: tuple[RefusedDrive, ...]
    got_at: datetime.datetime | None
    failing_since: datetime.datetime | None
    words: str
    fitted: tuple[str, ...]


class Trial(msgspec.Struct, frozen=True):
    """One drive by the source that is set, `fault` where it gave none; beside it what the estimate says."""

    start: str
    goal: str
    minutes: int | None
    km: float | None
    by: str
    estimated_min: int
    fault: str


def standing(session: Session) -> DrivesStanding:
    """Return how the drives between the places of today's work stand."""
    source = session.get(tables.RoadSource, 1) or tables.RoadSource()
    spots = wanted_places(session)
    wanted = len(spots) * (len(spots) - 1)
    if source.kind == "estimate":
        return DrivesStanding("estimate", "", wanted, 0, 0, 0, (), None, None, "", ())
    table = session.exec(select(tables.RoadTable).where(tables.RoadTable.asked == asked(source))).first()
    if table is None:
        return DrivesStanding(source.kind, words_for(source), wanted, 0, 0, 0, (), None, None, "", ())
    assert table.id is not None
    at = {number: spot for spot, number in known_places(session, spots).items()}
    lines = lines_between(session, table.id, at)
    wrong = [line for line in lines if line.why not in ("", NO_WAY)]
    names = _names(session) if wrong else {}
    return DrivesStanding(
        kind=source.kind,
        name=table.name,
        wanted=wanted,
        known=sum(not line.why for line in lines),
        no_way=sum(line.why == NO_WAY for line in lines),
        refused=len(wrong),
        refusals=tuple(
            RefusedDrive(names[at[line.start]], names[at[line.goal]], line.why) for line in wrong[:MOST_REFUSED]
        ),
        got_at=table.got_at,
        failing_since=table.failing_since,
        words=table.words,
        fitted=tuple(table.evidence),
    )


def places_to_try(session: Session) -> tuple[tuple[str, Point], tuple[str, Point]]:
    """Return two known places with their names: the first yard, and the site of open work farthest from it.

    Raises `BadInput` where there are no two.
    """
    names = _names(session)
    spots = wanted_places(session)
    points: list[Point] = [(lat / 1e5, lon / 1e5) for lat, lon in spots]
    if len(points) < 2:
        raise BadInput("", "a drive needs two known places: a yard, and a site of open work or another yard")
    far = int(great_circle_m(points)[0].argmax())
    return (names[spots[0]], points[0]), (names[spots[far]], points[far])


def source_to_try(session: Session, data: Path) -> tuple[Source, Constants]:
    """Return the source that is set, asked once and briefly, and the constants of its estimate."""
    row = session.get(tables.RoadSource, 1)
    source = source_of(row, data)
    if row is None or source is None:
        return EstimateOnly(), constants_of(None)
    table = session.exec(select(tables.RoadTable).where(tables.RoadTable.asked == asked(row))).first()
    return without_patience(source), constants_of(table)


def tried(start: tuple[str, Point], goal: tuple[str, Point], source: Source, constants: Constants) -> Trial:
    """Ask `source` for one drive and say what came of it; nothing is kept."""
    ends = [start[1], goal[1]]
    metres, minutes = estimates(great_circle_m(ends), constants)
    estimated = math.ceil(float(minutes[0, 1]))
    if isinstance(source, EstimateOnly):
        return Trial(start[0], goal[0], estimated, round(float(metres[0, 1]) / 1000, 1), "the estimate", estimated, "")
    name = "the source"
    try:
        router = open_router(source)
        name = router.name
        with contextlib.closing(router):
            seconds, road_m = router.table(ends[:1], ends[1:])
    except (SourceFailed, BlockRefused) as fault:
        told = str(fault) if name in str(fault) or name == "the source" else f"the {name} answered: {fault}"
        return Trial(start[0], goal[0], None, None, name, estimated, f"{told[:1].upper()}{told[1:]}.")
    why = judged(ends[:1], ends[1:], seconds, road_m)[0][0]
    if why:
        told = "finds no way between them" if why == NO_WAY else f"answered what cannot be: {why}"
        return Trial(start[0], goal[0], None, None, name, estimated, f"The {name} {told}.")
    km = round(float(road_m[0, 0]) / 1000, 1)
    return Trial(start[0], goal[0], math.ceil(float(seconds[0, 0]) / 60), km, name, estimated, "")


def _names(session: Session) -> dict[tuple[int, int], str]:
    """Return what the places of yards and sites are called, by where they are; a yard's name goes first."""
    site, yard = tables.Site, tables.Yard
    found = {
        (round(lat * 1e5), round(lon * 1e5)): f"{address}, {town}"
        for lat, lon, address, town in session.execute(
            sa.select(col(site.lat), col(site.lon), col(site.address), col(site.town))
            .where(col(site.placed))
            .order_by(col(site.id))
        )
    }
    for lat, lon, name in session.execute(sa.select(col(yard.lat), col(yard.lon), col(yard.name))):
        found[round(lat * 1e5), round(lon * 1e5)] = name
    return found
