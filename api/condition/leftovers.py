"""What killed uploads, exports and restores have left: swept when the service starts, and every night.

A file that is whole has its name; what is written has another one until then. A picture whose row was never kept, or
was erased, is found by comparing.
"""

from __future__ import annotations

import datetime
import os
import shutil
import stat
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlmodel import Session, col, select

from api import tables
from api.database import parts, transaction
from api.workers.lookout import Lookout

KEPT_S = 24 * 3600.0  # what is younger may still be written
TAKEN_AWAY = datetime.timedelta(days=30)  # for which a paper can be put back
NIGHTLY_S = 24 * 3600.0
# What is half written, by the folder in the data folder.
HALF = {
    "": (".restoring-*", ".secret-*", ".backup-*"),
    "photos": ("part-*",),
    "papers": ("part-*",),
    "forecasts": ("*.part",),
    "exports": ("*",),
    "imports": ("*",),
    "loads": ("*",),
    "lists": ("*",),
}
# What is made in the machine's own folder for such things while it is sent.
SENT = ("eave-export-*", "eave-customer-*", "eave-whole-*", "eave-backup-*", "eave-restore-*", "eave-tried-*")


def sweep(database: sa.Engine, data: Path, now: datetime.datetime) -> list[Path]:
    """Delete leftovers older than `KEPT_S`, and return what was deleted.

    Pictures and papers go whose digest no row has; so do papers that were taken away `TAKEN_AWAY` ago. Only what
    belongs to the service's own user is touched.
    """
    before = now.timestamp() - KEPT_S
    with transaction(database) as session:
        paper = tables.GatePaper
        session.execute(sa.delete(paper).where(col(paper.taken_away_at) < now - TAKEN_AWAY))
        found = [
            *_half_written(data),
            *_unnamed(session, data / "photos", tables.Photo.sha256),
            *_unnamed(session, data / "papers", paper.sha256),
        ]
    gone = []
    for path in found:
        if _is_old(path, before):
            shutil.rmtree(path, ignore_errors=True) if path.is_dir() else path.unlink(missing_ok=True)
            gone.append(path)
    return gone


def sweeper(database: sa.Engine, data: Path, clock: Callable[[], datetime.datetime]) -> Lookout:
    """Return what sweeps when it is started, and every night; `clock` is the machine's, as those of files are."""

    def look() -> None:
        sweep(database, data, clock())

    return Lookout("leftovers", look, every_s=NIGHTLY_S, failed="leftovers could not be swept", at_once=True)


def _half_written(data: Path) -> Iterator[Path]:
    for folder, patterns in HALF.items():
        for pattern in patterns:
            yield from (data / folder).glob(pattern)
    for pattern in SENT:
        yield from Path(tempfile.gettempdir()).glob(pattern)


def _unnamed(session: Session, folder: Path, digest: Any) -> Iterator[Path]:
    """Yield the files of a folder that no row names by its column `digest`."""
    there = {path.name: path for path in folder.glob("*") if len(path.name) == 64}
    named = set[str]()
    for some in parts(there):
        named |= set(session.exec(select(digest).where(col(digest).in_(some))).all())
    yield from (path for name, path in sorted(there.items()) if name not in named)


def _is_old(path: Path, before: float) -> bool:
    try:
        found = path.lstat()
    except OSError:  # gone meanwhile
        return False
    mine = sys.platform == "win32" or found.st_uid == os.getuid()  # there files say nothing of whose they are
    return found.st_mtime < before and not stat.S_ISLNK(found.st_mode) and mine
