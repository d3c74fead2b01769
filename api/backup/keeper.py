"""Backups made by the service itself, every so many hours, the newest ones kept for so many days."""

from __future__ import annotations

import datetime
import logging
from collections.abc import Callable
from pathlib import Path

import sqlalchemy as sa

from api.backup.archive import make_backup
from api.workers.lookout import Lookout
from scheduler.errors import BadInput

LOOK_S = 60.0  # between two looks whether one is due
AGAIN = datetime.timedelta(minutes=30)  # after one that failed
CLOCKS_DIFFER = datetime.timedelta(minutes=5)  # by so much between two machines that back up into one folder
SUFFIX = ".backup"
LEAST = 3  # backups that stay whatever their age
_log = logging.getLogger("eaveboard")


def name_of(now: datetime.datetime) -> str:
    """Return the name of a backup made at `now`; names sort as their moments do."""
    return f"eaveboard-{now.astimezone(datetime.UTC):%Y%m%dT%H%M%SZ}{SUFFIX}"


def made_at(file: Path) -> datetime.datetime | None:
    """Return the moment that the name of a backup tells, None where it tells none."""
    try:
        stamp = file.name.removeprefix("eaveboard-").removesuffix(SUFFIX)
        return datetime.datetime.strptime(stamp, "%Y%m%dT%H%M%SZ").replace(tzinfo=datetime.UTC)
    except ValueError:
        return None


def newest_of(folder: Path, now: datetime.datetime) -> tuple[Path, datetime.datetime] | None:
    """Return the newest backup in a folder and when it was made; None where there is none."""
    found = _in_order(folder, now)
    return (found[-1][1], found[-1][0]) if found else None


def sweep(folder: Path, kept: int, days: int, now: datetime.datetime) -> None:
    """Delete all backups in a folder but the newest `kept`, and those older than `days`: they hold what was erased.

    The newest LEAST stay whatever their age: a clock that runs ahead for a moment must not take them all.
    """
    found = _in_order(folder, now)
    too_old = [one for one in found[:-LEAST] if now - one[0] > datetime.timedelta(days=days)]
    for _, path in {*found[:-kept], *too_old}:
        path.unlink(missing_ok=True)


def _in_order(folder: Path, now: datetime.datetime) -> list[tuple[datetime.datetime, Path]]:
    """Return the backups in a folder, the oldest first; one of a time to come was made before a clock was set back."""
    found = [(moment, path) for path in folder.glob(f"eaveboard-*{SUFFIX}") if (moment := made_at(path)) is not None]
    return sorted(found, key=lambda one: (one[0] <= now + CLOCKS_DIFFER, one))


class BackupKeeper:
    """Makes a backup of a database and its data folder whenever the newest one is `hours` old.

    folder: None for no backups. `clock` is the machine's. `fault` says why the last one failed, empty where it did not.
    """

    def __init__(
        self, database: sa.Engine, data: Path, folder: Path | None, hours: int, kept: int, days: int,
        clock: Callable[[], datetime.datetime],
    ) -> None:  # fmt: skip
        self._database, self._data, self.folder, self._clock = database, data, folder, clock
        self._every, self._kept, self._days = datetime.timedelta(hours=hours), kept, days
        self._failed_at: datetime.datetime | None = None
        self.lookout = Lookout(
            "backups", self.look, every_s=LOOK_S, failed="no backup was made", at_once=True, wait_s=None
        )
        self.fault = ""

    def look(self) -> Path | None:
        """Make a backup if one is due, and return it."""
        if self.folder is None:
            return None
        now = self._clock()
        newest = newest_of(self.folder, now)
        if newest is not None and abs(now - newest[1]) < self._every:
            return None
        if self._failed_at is not None and abs(now - self._failed_at) < AGAIN:
            return None
        out = self.folder / name_of(now)
        try:
            make_backup(self._database, self._data, out, now)
        except (BadInput, sa.exc.SQLAlchemyError) as fault:
            self._failed_at, self.fault = now, str(fault)
            _log.error("no backup was made: %s", fault)
            return None
        self._failed_at, self.fault = None, ""
        sweep(self.folder, self._kept, self._days, now)
        return out
