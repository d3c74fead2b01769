"""Routed drives kept on disk, by source and coordinates, in one SQLite file that several processes may share.

A drive is kept as the source gave it: seconds and metres, or nothing where no way leads. Coordinates are kept in
millionths of a degree (11 cm), as they are asked.
"""

from __future__ import annotations

import contextlib
import sqlite3
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np

from scheduler.travel.interface import FloatTable, Point

FILE = "roads.sqlite"
_WAIT_S = 30.0
_TABLES = """
create table if not exists sources (id integer primary key, identity text not null unique);
create table if not exists places (id integer primary key, lat_e6 integer not null, lon_e6 integer not null,
    unique (lat_e6, lon_e6));
create table if not exists drives (source integer not null, start integer not null, goal integer not null,
    seconds real, metres real, day integer not null, primary key (source, start, goal)) without rowid;
"""


class Cache:
    """The drives of one source in the cache file of `folder`, made where missing.

    Every method raises `sqlite3.Error` or `OSError` where the file cannot be used.
    """

    def __init__(self, folder: Path, identity: str) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self._file = folder / FILE
        with self._opened() as database:
            _write_ahead(database)
            database.executescript(_TABLES)
            database.execute("insert or ignore into sources (identity) values (?)", (identity,))
            (self._source,) = database.execute("select id from sources where identity = ?", (identity,)).fetchone()

    def load(self, points: Sequence[Point], not_before: int) -> tuple[FloatTable, FloatTable, np.ndarray]:
        """Return (seconds, metres, known) between `points`, n × n, kept on day `not_before` or later.

        NaN where no way leads or nothing is known; days are numbered as `datetime.date.toordinal` does.
        """
        size = len(points)
        seconds, metres = np.full((size, size), np.nan), np.full((size, size), np.nan)
        known = np.zeros((size, size), dtype=bool)
        with self._opened() as database:
            _note_points(database, points)
            rows = database.execute(
                "select a.n, b.n, d.seconds, d.metres from asked a join drives d on d.source = ? and d.start = a.place"
                " join asked b on b.place = d.goal where d.day >= ?",
                (self._source, not_before),
            ).fetchall()
        if rows:
            table = np.array(rows, dtype=np.float64)  # None becomes NaN
            where = table[:, 0].astype(int), table[:, 1].astype(int)
            seconds[where], metres[where], known[where] = table[:, 2], table[:, 3], True
        return seconds, metres, known

    def keep(
        self, starts: Sequence[Point], goals: Sequence[Point], tables: tuple[FloatTable, FloatTable], day: int
    ) -> None:
        """Keep the drives from `starts` to `goals` (NaN: no way), found on `day`; older ones are overwritten."""
        with self._opened() as database:
            start_ids, goal_ids = _place_ids(database, starts), _place_ids(database, goals)
            seconds, metres = ([[None if v != v else v for v in row] for row in t.tolist()] for t in tables)
            database.executemany(
                "insert or replace into drives values (?, ?, ?, ?, ?, ?)",
                (
                    (self._source, a, b, seconds[i][j], metres[i][j], day)
                    for i, a in enumerate(start_ids)
                    for j, b in enumerate(goal_ids)
                ),
            )

    @contextlib.contextmanager
    def _opened(self) -> Iterator[sqlite3.Connection]:
        """A connection of its own for each use, so that threads and processes need not agree on anything."""
        database = sqlite3.connect(self._file, timeout=_WAIT_S)
        try:
            with database:
                yield database
        finally:
            database.close()


def _write_ahead(database: sqlite3.Connection) -> None:
    """Have readers and writers at once; a change of the mode is refused where somebody has the file, not waited for."""
    until = time.monotonic() + _WAIT_S
    while True:
        try:
            database.execute("pragma journal_mode = wal")
            return
        except sqlite3.OperationalError as fault:
            if fault.sqlite_errorcode != sqlite3.SQLITE_BUSY or time.monotonic() > until:
                raise
        time.sleep(0.02)


def _micro(point: Point) -> tuple[int, int]:
    return round(point[0] * 1e6), round(point[1] * 1e6)


def _note_points(database: sqlite3.Connection, points: Sequence[Point]) -> None:
    """Fill the temporary table `asked` with (n, place) for the points that the cache has ever seen."""
    database.execute("create temporary table asked (n integer, place integer primary key)")
    database.executemany(
        "insert or ignore into asked select ?, id from places where lat_e6 = ? and lon_e6 = ?",
        ((n, *_micro(p)) for n, p in enumerate(points)),
    )


def _place_ids(database: sqlite3.Connection, points: Sequence[Point]) -> list[int]:
    database.executemany("insert or ignore into places (lat_e6, lon_e6) values (?, ?)", map(_micro, points))
    ids = []
    for point in points:
        row = database.execute("select id from places where lat_e6 = ? and lon_e6 = ?", _micro(point)).fetchone()
        ids.append(int(row[0]))
    return ids
