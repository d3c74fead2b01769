"""Drives timed while the service runs: between all yards and the sites of open work, by the source that is set.

Only pairs that are not known yet, or have grown old, are asked for, in blocks that are each kept as they come. A source
that fails changes nothing but the words on it: what it timed before is still used, and the estimate fills the rest.
"""

from __future__ import annotations

import contextlib
import datetime
import logging
import threading
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import msgspec
import numpy as np
import sqlalchemy as sa
from sqlmodel import Session, col, select

from api import tables
from api.database import transaction
from api.ledger.drives import Spot, asked, known_places, lines_between, spot, words_for
from api.ledger.history import note
from api.roads.extracts.tiles import ExtractTable
from api.roads.judging import judged
from api.roads.sources import Extract, Router, Service, Source, SourceFailed
from api.roads.travel import Asking, open_router
from api.workers.lookout import Lookout
from api.workers.signals import Signals
from api.workers.turns import Turn, turn
from scheduler.errors import BadInput
from scheduler.travel.estimate import great_circle_m
from scheduler.travel.fit import MIN_PAIRS, Drives, fitted
from scheduler.travel.interface import FloatTable

LOOK_S = 30.0  # between two looks at whether a place is new, the source was changed or an hour is over
EVERY_S = 3600.0
AGAIN_S = 600.0  # after a source has failed
FIT_WITHIN_KM = 100.0  # longer drives than crews make would rule the fit
KEPT_DAYS = 400  # a drive that nobody has timed again for so long is of places without work
BY = "roads"
ASKED = "roads"  # what is told where drives are wanted at once
_log = logging.getLogger("eaveboard")


def tiles_folder(data: Path, name: str) -> Path:
    """Return the folder of the tiles called `name`; no other folder of this machine is ever read as one."""
    return data / "roads" / name


def source_of(row: tables.RoadSource | None, data: Path) -> Source | None:
    """Return the source that a row asks for, None where every drive is estimated."""
    if row is None or row.kind == "estimate":
        return None
    if row.kind == "extract":
        return Extract(str(tiles_folder(data, row.tiles)), row.profile or "auto")
    return Service(row.kind, row.address, row.profile or None, max_age_days=row.max_age_days)


def wanted_places(session: Session) -> list[Spot]:
    """Return the places of all yards and of the sites of open visits, each once, in a lasting order."""
    yards = session.execute(select(tables.Yard.lat, tables.Yard.lon).order_by(tables.Yard.id)).all()
    site, visit = tables.Site, tables.Visit
    is_open = select(visit.id).where(visit.site_id == site.id, visit.state == "open").exists()
    sites = session.execute(select(site.lat, site.lon).where(is_open, site.placed).order_by(site.id)).all()
    return list(dict.fromkeys(spot((lat, lon)) for lat, lon in [*yards, *sites]))


def fetch_all(
    database: sa.Engine, data: Path, now: datetime.datetime, stopped: Callable[[], bool] = lambda: False
) -> int:
    """Ask for every drive that is not known or has grown old, keep what comes, and return how many drives came."""
    with transaction(database) as session:
        row = session.get(tables.RoadSource, 1)
        source = source_of(row, data)
        if row is None or source is None:
            return 0
        table_id = _table_of(session, row)
        spots = wanted_places(session)
    failed, came = "", 0
    try:
        router = open_router(source)
    except SourceFailed as fault:
        failed = str(fault)
    else:
        with contextlib.closing(router):
            came, failed = _ask_all(database, table_id, router, spots, now, stopped)
    with transaction(database) as session:
        table = session.get_one(tables.RoadTable, table_id)
        _take_outcome(session, table, spots, came, failed, now)
        if came:
            _sweep(session, now.date())
    return came


def _ask_all(
    database: sa.Engine, table_id: int, router: Router, spots: list[Spot], now: datetime.datetime,
    stopped: Callable[[], bool],
) -> tuple[int, str]:  # fmt: skip
    """Return how many drives came, and why not all did."""
    points = [(lat / 1e5, lon / 1e5) for lat, lon in spots]
    oldest = now.date() - datetime.timedelta(days=min(router.max_age_days, KEPT_DAYS))
    with transaction(database) as session:
        table = session.get_one(tables.RoadTable, table_id)
        if table.identity != router.identity:
            session.execute(sa.delete(tables.Drive).where(col(tables.Drive.table_id) == table_id))
            table.constants, table.evidence, table.identity = None, [], router.identity
            table.version += 1
        table.name = router.name
        session.add(table)
        places = _places(session, spots)
        order = {place: n for n, place in enumerate(places)}
        known = np.eye(len(spots), dtype=bool)
        for line in lines_between(session, table_id, places):
            known[order[line.start], order[line.goal]] = line.got_on >= oldest
    asking, came = Asking(points, router, [], _block(router)), 0
    for starts, goals, (seconds, metres) in asking.blocks(known):
        if stopped():
            return came, ""
        from_, to = [points[i] for i in starts], [points[j] for j in goals]
        why = judged(from_, to, seconds, metres)
        with transaction(database) as session:
            came += _keep(
                session, table_id, [places[i] for i in starts], [places[j] for j in goals], (seconds, metres), why, now
            )
    return came, asking.failed


def _block(router: Router) -> tuple[int, int]:
    """Return how much to ask for at a time: routing in this process holds up every other thread until it is done."""
    return (1, router.block[1]) if isinstance(router, ExtractTable) else router.block


def _keep(
    session: Session, table_id: int, starts: Sequence[int], goals: Sequence[int],
    found: tuple[FloatTable, FloatTable], why: list[list[str]], now: datetime.datetime,
) -> int:  # fmt: skip
    """Keep one block in place of what was known of its drives; return how many of them can be used."""
    row = tables.Drive
    session.execute(
        sa.delete(row).where(col(row.table_id) == table_id, col(row.start_id).in_(starts), col(row.goal_id).in_(goals))
    )
    lines = [
        {
            "table_id": table_id, "start_id": a, "goal_id": b, "got_on": now.date(), "why": why[i][j],
            "seconds": None if why[i][j] else float(found[0][i, j]),
            "metres": None if why[i][j] else float(found[1][i, j]),
        }
        for i, a in enumerate(starts) for j, b in enumerate(goals) if a != b
    ]  # fmt: skip
    if lines:
        session.execute(sa.insert(row), lines)
    table = session.get_one(tables.RoadTable, table_id)
    table.version += 1
    session.add(table)
    return sum(line["seconds"] is not None for line in lines)


def _table_of(session: Session, source: tables.RoadSource) -> int:
    """Return the number of the table of a source, made where there is none."""
    table = session.exec(select(tables.RoadTable).where(tables.RoadTable.asked == asked(source))).first()
    if table is None:
        table = tables.RoadTable(asked=asked(source), name=words_for(source))
        session.add(table)
        session.flush()
    assert table.id is not None
    return table.id


def _places(session: Session, spots: Sequence[Spot]) -> list[int]:
    """Return the numbers of `spots` in their order; those that are new get one."""
    known = known_places(session, spots)
    fresh = [{"lat_e5": lat, "lon_e5": lon} for lat, lon in spots if (lat, lon) not in known]
    if fresh:
        session.execute(sa.insert(tables.RoadPlace), fresh)
        known = known_places(session, spots)
    return [known[one] for one in spots]


def _take_outcome(
    session: Session, table: tables.RoadTable, spots: Sequence[Spot], came: int, failed: str, now: datetime.datetime
) -> None:
    assert table.id is not None
    table.tried_at = now
    words = f"{failed[:1].upper()}{failed[1:]}." if failed else ""
    if failed and table.failing_since is None:
        table.failing_since = now
        note(session, now, BY, "did not come", "drives", str(table.id), {"fault": words})
    elif not failed:
        table.failing_since, table.got_at = None, now
    table.words = words
    if came:
        table.got_at = now
        table.version += 1
        _fit(session, table, spots)
        note(session, now, BY, "came", "drives", str(table.id), {"from": table.name, "drives": came})
    session.add(table)


def _fit(session: Session, table: tables.RoadTable, spots: Sequence[Spot]) -> None:
    """Fit the estimate's constants to the drives of a table between `spots`; too few leave them as they are."""
    assert table.id is not None
    places = {name: where for where, name in known_places(session, spots).items()}
    number = {name: n for n, name in enumerate(places)}
    lines = [line for line in lines_between(session, table.id, places) if line.seconds is not None]
    if len(lines) < MIN_PAIRS:
        return
    between = great_circle_m([(lat / 1e5, lon / 1e5) for lat, lon in places.values()])
    straight = between[[number[line.start] for line in lines], [number[line.goal] for line in lines]]
    road_m, took_s = (np.array([getattr(line, name) for line in lines], float) for name in ("metres", "seconds"))
    near = straight <= 1000 * FIT_WITHIN_KM
    try:
        fit = fitted(Drives(straight[near], road_m[near], took_s[near] / 60))
    except BadInput:  # fewer than are needed lie apart and near enough
        return
    table.constants, table.evidence = msgspec.to_builtins(fit.constants), list(fit.evidence)


def _sweep(session: Session, today: datetime.date) -> None:
    old = today - datetime.timedelta(days=KEPT_DAYS)
    session.execute(sa.delete(tables.Drive).where(col(tables.Drive.got_on) < old))


class RoadKeeper:
    """Asks in a thread of its own: where a place is new, the source was changed, an hour is over, or somebody says so.

    No request ever waits for it: what is not known yet is estimated.
    """

    def __init__(
        self, database: sa.Engine, data: Path, clock: Callable[[], datetime.datetime], signals: Signals
    ) -> None:
        self._database, self._data, self._clock, self._signals = database, data, clock, signals
        self._now = threading.Event()
        self._fetched: datetime.datetime | None = None
        self._before: object = None
        self.lookout = Lookout("roads", self._look, every_s=LOOK_S, failed="drives could not be timed", at_once=True)
        signals.on(ASKED, lambda words: self._at_once() if words else None)

    def ask(self) -> None:
        """Have the drives asked for at once, by whichever worker leads, without waiting for them."""
        self._at_once()
        self._signals.tell(ASKED, "now")

    def _at_once(self) -> None:
        self._now.set()
        self.lookout.wake()

    def fetch(self) -> int:
        """Ask now, in the caller's thread; return how many drives came."""
        with turn(self._database, Turn.TIME_DRIVES):
            return fetch_all(self._database, self._data, self._clock(), self.lookout.stopping)

    def _look(self) -> None:
        with transaction(self._database) as session:
            row = session.get(tables.RoadSource, 1)
            state = None if row is None else (row.version, frozenset(wanted_places(session)))
            failing = False
            if row is not None:
                table = tables.RoadTable
                since = select(table.failing_since).where(table.asked == asked(row))
                failing = session.exec(since).first() is not None
        now = self._clock()
        wait_s = AGAIN_S if failing else EVERY_S
        due = self._fetched is None or abs((now - self._fetched).total_seconds()) >= wait_s or self._now.is_set()
        if state is not None and (due or state != self._before):
            self._now.clear()
            self._before, self._fetched = state, now
            self.fetch()


def without_patience(source: Source) -> Source:
    """Return a source that is asked once and briefly, for somebody who waits for the answer."""
    return replace(source, attempts=1, timeout_s=8.0, budget_s=8.0) if isinstance(source, Service) else source
