"""A whole business taken in behind the page: its files read and kept in a process that tells how far it is."""

from __future__ import annotations

import contextlib
import datetime
import secrets
import threading
from collections.abc import Callable
from concurrent.futures.process import BrokenProcessPool
from typing import Literal

import msgspec
from sqlalchemy.exc import SQLAlchemyError

from api.business import begin, demo
from api.business.load import load_business
from api.business.seed import read_business
from api.database import Duty, Hold, open_database, transaction
from api.database.opening import make_folder
from api.exchange.behind import BrokenOff, Piece, Tell, behind, forget, kept
from api.exchange.imports import KEPT, MOST_S, CellTold
from api.fields.files.sheets import BadFiles
from api.http.problems import Problem
from api.places.finder import Finder
from api.settings import Settings
from scheduler.errors import BadInput

FOLDER = "loads"
BROKEN_OFF = "was broken off, and nothing of it was kept: begin again"


class BusinessLoad(Piece):
    """A business that is taken in: `done` of `total` rows, total 0 while its files are read; at last `faults`."""

    state: Literal["working", "done", "failed"] = "working"
    faults: tuple[CellTold, ...] = ()


class BusinessLoads:
    """Takes whole businesses in behind the pages, one at a time and never beside a table.

    loaded: called in this process once one is in.
    """

    def __init__(self, settings: Settings, held: Hold, loaded: Callable[[], None]) -> None:
        self._address, self._held, self._loaded = settings.database, held, loaded
        self._own_process = settings.preparers > 0  # else in threads: a service that is to begin no processes
        self._folder = settings.data / FOLDER
        self._closing = threading.Event()
        self._thread: threading.Thread | None = None

    def begin(
        self, data: bytes | None, name: str, by: str, machine: datetime.datetime, now: datetime.datetime
    ) -> BusinessLoad:
        """Begin to take in the files of a ZIP file called `name`, None: the demo's; return what comes of it.

        machine: by which it is kept; now: the time of the work. Answers 409 while anything else is taken in.
        """
        made = self._begun(by, machine)
        try:
            self._thread = threading.Thread(target=self._see, args=(made, data, name, now), name="load", daemon=True)
            self._thread.start()
        except BaseException:
            self._held.drop(Duty.IMPORT)
            raise
        return made

    def take(self, data: bytes | None, name: str, by: str, machine: datetime.datetime, now: datetime.datetime) -> None:
        """Take them in and return once they are; raises `BadInput`, and answers as `begin`, or 503 when broken off."""
        made = self._begun(by, machine)
        try:
            self._take(made, data, name, now)
        except (BrokenOff, BrokenProcessPool):
            raise Problem(503, f"The load {BROKEN_OFF}.") from None
        finally:
            made.state = "done"
            made.keep()
            self._held.drop(Duty.IMPORT)

    def of(self, load_id: str, machine: datetime.datetime) -> BusinessLoad:
        """Return what comes of a load by its id; answers 404 where it is not kept any more."""
        found = next((one for one in kept(self._folder, BusinessLoad) if one.id == load_id), None)
        if found is not None and found.state == "working" and not self._held.is_taken(Duty.IMPORT):
            found = next((one for one in kept(self._folder, BusinessLoad) if one.id == load_id), None)
            if found is not None and found.state == "working":  # its worker is no more
                found = msgspec.structs.replace(found, state="failed", faults=(CellTold("", BROKEN_OFF),))
        if found is None or (found.state != "working" and abs(machine - found.begun_at) > KEPT):
            raise Problem(404, "What came of this is not kept any more; the first page shows what is there.")
        return found

    def close(self) -> None:
        """Give up what is being taken in here: nothing of it is kept then."""
        self._closing.set()
        if self._thread is not None:
            self._thread.join()

    def _begun(self, by: str, machine: datetime.datetime) -> BusinessLoad:
        if not self._held.take(Duty.IMPORT):
            raise Problem(409, "Something is taken in just now: wait for it.", kind="under-way")
        try:
            make_folder(self._folder, str(self._folder))
            forget(self._folder)
            made = BusinessLoad(secrets.token_urlsafe(12), by, machine, str(self._folder))
            made.keep()
        except BaseException:
            self._held.drop(Duty.IMPORT)
            raise
        return made

    def _see(self, made: BusinessLoad, data: bytes | None, name: str, now: datetime.datetime) -> None:
        try:
            self._take(made, data, name, now)
            made.state = "done"
        except BadInput as fault:
            faults = fault.faults if isinstance(fault, BadFiles) else (fault,)
            made.faults = tuple(CellTold.of(one) for one in faults)
        except (BrokenOff, BrokenProcessPool, SQLAlchemyError, OSError):
            made.faults = (CellTold(name, BROKEN_OFF),)
        finally:
            if made.state == "working":
                made.state, made.faults = "failed", made.faults or (CellTold(name, BROKEN_OFF),)
            made.keep()
            self._held.drop(Duty.IMPORT)

    def _take(self, made: BusinessLoad, data: bytes | None, name: str, now: datetime.datetime) -> None:
        given = (self._address, data, name, now)
        behind(_load, *given, step=made.step, ended=self._closing, own_process=self._own_process, most_s=MOST_S)
        self._loaded()


def _load(address: str, data: bytes | None, name: str, now: datetime.datetime, tell: Tell) -> None:
    """Read the files and keep them, with a database connection of one's own: all of them, or nothing."""
    files = contextlib.nullcontext(demo.FILES) if data is None else begin.unpacked(data, name)
    engine = open_database(address)
    try:
        finder = Finder(engine, lambda: now)
        with files as folder:
            business, fingerprint = read_business(folder, _find_by(finder)), demo.files_fingerprint(folder)
        with transaction(engine) as session:
            if not begin.is_bare(session):
                raise BadInput("", "there is a business already; nothing was changed")
        load_business(engine, business, fingerprint, now, tell, bare=True)
    finally:
        engine.dispose()


def _find_by(finder: Finder) -> Callable[[str], tuple[float, float]]:
    """Return what gives the latitude and longitude of a yard's address; it raises `BadInput` where that is not sure."""

    def find(address: str) -> tuple[float, float]:
        answer = finder.find(address, "")
        if answer.state == "no source":
            words = (
                "no source of addresses is set yet: choose one on the page Addresses, or write lat and lon beside it"
            )
            raise BadInput("address", words)
        if answer.sure is None:
            raise BadInput("address", f"its place is not sure: {answer.words} Or write lat and lon beside it")
        return answer.sure.lat, answer.sure.lon

    return find
