"""Tables taken in behind the page, one at a time: read, looked through and kept in processes of their own."""

from __future__ import annotations

import datetime
import secrets
import threading
from collections.abc import Callable, Sequence
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from typing import Literal

import msgspec
import sqlalchemy as sa
from sqlalchemy.exc import SQLAlchemyError
from sqlmodel import Session

from api.database import Duty, Hold, open_database, transaction
from api.database.opening import make_folder
from api.exchange.behind import BrokenOff, Piece, Tell, behind, forget, kept
from api.exchange.importing import IMPORTABLE, Imported, import_tables
from api.fields.files.sheets import BadFiles
from api.http.problems import Problem
from api.outside import outside
from api.settings import Settings
from api.uploads.reading import Upload, read_upload
from scheduler.errors import BadInput

MOST_S = 1800.0  # for one table: then its process is ended
KEPT = datetime.timedelta(hours=1)  # for which can be seen what came of it
FOLDER = "imports"
Fill = Callable[[Session, Sequence[Upload]], tuple[list[Upload], list[str]]]
BROKEN_OFF = "was broken off: send it again; rows that were taken in already change nothing then"


class CellTold(msgspec.Struct, frozen=True):
    """What is wrong with a cell, a row or a file; what is not known of its place is None."""

    where: str
    problem: str
    file: str | None = None
    sheet: str | None = None
    row: int | None = None
    column: str | None = None

    @classmethod
    def of(cls, fault: BadInput) -> CellTold:
        place = {name: getattr(fault, name, None) for name in ("file", "sheet", "row", "column")}
        return cls(fault.where, fault.problem, **place)


@dataclass
class Sent:
    """A file as it was sent: `keep` False only tries it; `expected` is the fingerprint of the trial."""

    data: bytes
    name: str
    table: str
    keep: bool
    expected: str


class Import(Piece):
    """A table that is taken in: `done` of `total` rows; at last `imported`, or `faults`, one for each cell."""

    table: str = ""
    state: Literal["working", "done", "failed"] = "working"
    imported: Imported | None = None
    questions: tuple[str, ...] = ()
    faults: tuple[CellTold, ...] = ()


class Imports:
    """Takes tables in behind the pages: one at a time, whichever worker is asked.

    fill: gives the tables with the places of their addresses, and the questions that are left.
    """

    def __init__(self, engine: sa.Engine, settings: Settings, fill: Fill, held: Hold) -> None:
        self._engine, self._address, self._fill, self._held = engine, settings.database, fill, held
        self._own_process = settings.preparers > 0  # else in threads: a service that is to begin no processes
        self._folder = settings.data / FOLDER
        self._closing = threading.Event()
        self._thread: threading.Thread | None = None

    def begin(self, sent: Sent, by: str, machine: datetime.datetime, now: datetime.datetime) -> Import:
        """Begin to take a file in and return what comes of it. Answers 409 while another is taken in.

        machine: by which it is kept; now: the time of the work, by which the history is dated.
        """
        if not self._held.take(Duty.IMPORT):
            who = next((one.by for one in kept(self._folder, Import) if one.state == "working"), "Somebody")
            raise Problem(409, f"{who} takes a table in just now: wait for it.", kind="under-way")
        try:
            make_folder(self._folder, str(self._folder))
            forget(self._folder)
            made = Import(secrets.token_urlsafe(12), by, machine, str(self._folder), table=sent.table)
            made.keep()
            self._thread = threading.Thread(target=self._see_taken, args=(made, sent, now), name="import", daemon=True)
            self._thread.start()
        except BaseException:
            self._held.drop(Duty.IMPORT)
            raise
        return made

    def of(self, import_id: str, machine: datetime.datetime) -> Import:
        """Return what comes of a file by its id; answers 404 where it is not kept any more."""
        found = self._found(import_id)
        if found is not None and found.state == "working" and not self._held.is_taken(Duty.IMPORT):
            found = self._found(import_id)  # over since it was read, or its worker is no more
            if found is not None and found.state == "working":
                found = msgspec.structs.replace(found, state="failed", faults=(CellTold("", BROKEN_OFF),))
        if found is None or (found.state != "working" and abs(machine - found.begun_at) > KEPT):
            raise Problem(404, "What came of this table is not kept any more; the history says what was taken in.")
        return found

    def close(self) -> None:
        """Give up what is being taken in here: nothing of it is kept then."""
        self._closing.set()
        if self._thread is not None:
            self._thread.join()

    def _found(self, import_id: str) -> Import | None:
        return next((one for one in kept(self._folder, Import) if one.id == import_id), None)

    def _see_taken(self, made: Import, sent: Sent, now: datetime.datetime) -> None:
        try:
            self._take(made, sent, now)
        finally:
            if made.state == "working":
                made.state, made.faults = "failed", (CellTold(sent.name, BROKEN_OFF),)
            made.keep()
            self._held.drop(Duty.IMPORT)

    def _take(self, made: Import, sent: Sent, now: datetime.datetime) -> None:
        try:
            uploads = outside(read_upload, sent.data, sent.name, IMPORTABLE, sent.table or None)
            with transaction(self._engine) as session:  # addresses are asked for here: never two a second
                uploads, left = self._fill(session, uploads)
            made.questions = tuple(left)
            given = (self._address, uploads, sent.keep, now, made.by, sent.expected or None)
            made.imported = behind(
                _import, *given, step=made.step, ended=self._closing, own_process=self._own_process, most_s=MOST_S
            )
            made.done = made.total = len(made.imported.changes) * (1 + sent.keep)
            made.state = "done"
        except BadInput as fault:
            faults = fault.faults if isinstance(fault, BadFiles) else (fault,)
            made.faults, made.state = tuple(CellTold.of(one) for one in faults), "failed"
        except (BrokenOff, BrokenProcessPool, SQLAlchemyError, OSError):
            made.faults, made.state = (CellTold(sent.name, BROKEN_OFF),), "failed"


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
