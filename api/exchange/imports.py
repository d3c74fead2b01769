"""Tables taken in behind the page, one at a time: read, looked through and kept in processes of their own."""

from __future__ import annotations

import datetime
import secrets
import threading
from collections.abc import Sequence
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from typing import Literal

import sqlalchemy as sa
from sqlalchemy.exc import SQLAlchemyError

from api.database import open_database, transaction
from api.exchange.behind import BrokenOff, Tell, behind
from api.exchange.importing import IMPORTABLE, Imported, import_tables
from api.exchange.uploads import Upload, read_upload
from api.fields.sheets import BadFiles
from api.http.problems import Problem
from api.outside import outside
from api.places.filling import filled, questions
from api.places.finder import Finder
from scheduler.errors import BadInput

MOST_S = 1800.0  # for one table: then its process is ended
KEPT = datetime.timedelta(hours=1)  # for which can be seen what came of it


@dataclass
class Sent:
    """A file as it was sent: `keep` False only tries it; `expected` is the fingerprint of the trial."""

    data: bytes
    name: str
    table: str
    keep: bool
    expected: str


@dataclass
class Import:
    """A table that is taken in: `done` of `total` rows; at last `imported`, or `faults`, one for each cell."""

    id: str
    by: str
    begun_at: datetime.datetime
    table: str
    state: Literal["working", "done", "failed"] = "working"
    done: int = 0
    total: int = 0
    imported: Imported | None = None
    questions: tuple[str, ...] = ()
    faults: tuple[BadInput, ...] = ()


class Imports:
    """Takes tables in behind the pages; `own_process` False: in threads, where a service is to begin no processes."""

    def __init__(self, engine: sa.Engine, address: str, places: Finder, *, own_process: bool) -> None:
        self._engine, self._address, self._places, self._own_process = engine, address, places, own_process
        self._lock, self._closing = threading.Lock(), threading.Event()
        self._thread: threading.Thread | None = None
        self._newest: Import | None = None

    def begin(self, sent: Sent, by: str, machine: datetime.datetime, now: datetime.datetime) -> Import:
        """Begin to take a file in and return what comes of it. Answers 409 while another is taken in.

        machine: by which it is kept; now: the time of the work, by which the history is dated.
        """
        with self._lock:
            if self._newest is not None and self._newest.state == "working":
                raise Problem(409, f"{self._newest.by} takes a table in just now: wait for it.", kind="under-way")
            made = self._newest = Import(secrets.token_urlsafe(12), by, machine, sent.table)
            self._thread = threading.Thread(target=self._take, args=(made, sent, now), name="import", daemon=True)
            self._thread.start()
            return made

    def of(self, import_id: str, machine: datetime.datetime) -> Import:
        """Return what comes of a file by its id; answers 404 where it is not kept any more."""
        found = self._newest
        old = found is None or (found.state != "working" and abs(machine - found.begun_at) > KEPT)
        if found is None or old or found.id != import_id:
            raise Problem(404, "What came of this table is not kept any more; the history says what was taken in.")
        return found

    def close(self) -> None:
        """Give up what is being taken in: nothing of it is kept then."""
        self._closing.set()
        if self._thread is not None:
            self._thread.join()

    def _take(self, made: Import, sent: Sent, now: datetime.datetime) -> None:
        def step(done: int, total: int) -> None:
            made.done, made.total = done, total

        try:
            uploads = outside(read_upload, sent.data, sent.name, IMPORTABLE, sent.table or None)
            with transaction(self._engine) as session:  # addresses are asked for here: never two a second
                uploads = filled(session, self._places, uploads)
                made.questions = tuple(questions(session, uploads))
            given = (self._address, uploads, sent.keep, now, made.by, sent.expected or None)
            made.imported = behind(
                _import, *given, step=step, ended=self._closing, own_process=self._own_process, most_s=MOST_S
            )
            made.state = "done"
        except BadFiles as fault:
            made.faults, made.state = fault.faults, "failed"
        except BadInput as fault:
            made.faults, made.state = (fault,), "failed"
        except (BrokenOff, BrokenProcessPool, SQLAlchemyError, OSError):
            problem = "was broken off: send it again; rows that were taken in already change nothing then"
            made.faults, made.state = (BadInput(sent.name, problem),), "failed"


def _import(
    address: str,
    uploads: Sequence[Upload],
    keep: bool,
    now: datetime.datetime,
    by: str,
    expected: str | None,
    tell: Tell,
) -> Imported:
    """Take tables in with a database connection of one's own: all of them, or nothing."""
    engine = open_database(address)
    try:
        with transaction(engine) as session:
            return import_tables(session, uploads, keep=keep, now=now, by=by, expected=expected, tell=tell)
    finally:
        engine.dispose()
