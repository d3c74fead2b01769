"""The whole archive made in a process of its own, one at a time: pages go on meanwhile, and say how far it is.

It lies in the data folder with a file beside it that says how it stands, so that every worker can show and give it.
"""

from __future__ import annotations

import datetime
import secrets
import threading
from pathlib import Path
from typing import Literal

import msgspec

from api.database import Duty, Hold
from api.database.opening import make_folder, make_private
from api.exchange.behind import BrokenOff, Piece, behind, forget, kept
from api.exchange.whole import write_whole_file
from api.http.problems import Problem
from scheduler.errors import BadInput

MOST_S = 1800.0  # for one archive: then its process is ended
KEPT = datetime.timedelta(hours=1)  # for which one that is made can be fetched
FOLDER = "exports"
BROKEN_OFF = "It was broken off: try again."


class Export(Piece):
    """An archive that is being made, was made (`file` then holds it), or failed: `fault` says why, a sentence."""

    state: Literal["making", "made", "failed"] = "making"
    fault: str = ""

    @property
    def file(self) -> Path:
        return Path(self.folder) / f"{self.id}.zip"


class Exports:
    """Makes archives; `own_process` False: in a thread, for a service that is to begin no processes."""

    def __init__(self, address: str, data: Path, held: Hold, *, own_process: bool) -> None:
        self._address, self._data, self._held, self._own_process = address, data, held, own_process
        self._folder = data / FOLDER
        self._closing = threading.Event()
        self._thread: threading.Thread | None = None

    def begin(self, by: str, now: datetime.datetime) -> Export:
        """Begin an archive and return it; the one before can no longer be fetched. Answers 409 while one is made."""
        if not self._held.take(Duty.EXPORT):
            making = next((one.by for one in kept(self._folder, Export) if one.state == "making"), "Somebody")
            raise Problem(409, f"{making} has one made just now: wait for it.", kind="under-way")
        try:
            make_folder(self._folder, str(self._folder))
            forget(self._folder)
            made = Export(secrets.token_urlsafe(12), by, now, str(self._folder))
            make_private(made.file)
            made.keep()
            self._thread = threading.Thread(target=self._see_made, args=(made, now), name="export", daemon=True)
            self._thread.start()
        except BaseException:
            self._held.drop(Duty.EXPORT)
            raise
        return made

    def of(self, export_id: str, now: datetime.datetime) -> Export:
        """Return an archive by its id; answers 404 where there is none any more."""
        found = next((one for one in kept(self._folder, Export) if one.id == export_id), None)
        if found is not None and found.state != "making" and abs(now - found.begun_at) > KEPT:
            forget(self._folder)
            found = None
        if found is None:
            raise Problem(404, "This archive is not kept any more: make a new one.")
        if found.state == "making" and not self._held.is_taken(Duty.EXPORT):  # by a worker that is no more
            now_so = next(
                (one for one in kept(self._folder, Export) if one.id == export_id), found
            )  # or that has just made it
            found = now_so if now_so.state != "making" else msgspec.structs.replace(
                found, state="failed", fault=BROKEN_OFF
            )  # fmt: skip
        return found

    def close(self) -> None:
        """End what is being made here."""
        self._closing.set()
        if self._thread is not None:
            self._thread.join()

    def _see_made(self, export: Export, now: datetime.datetime) -> None:
        try:
            self._make(export, now)
        finally:
            if export.state == "making":
                export.state, export.fault = "failed", BROKEN_OFF
            export.keep()
            self._held.drop(Duty.EXPORT)

    def _make(self, export: Export, now: datetime.datetime) -> None:
        """Have the archive made and follow how far it is; whatever goes wrong ends as its fault."""
        given = (self._address, self._data, export.file, now)
        fault = ""
        try:
            behind(
                write_whole_file, *given, step=export.step, ended=self._closing, own_process=self._own_process,
                most_s=MOST_S,
            )  # fmt: skip
        except BrokenOff:
            fault = BROKEN_OFF
        except (BadInput, OSError) as wrong:
            fault = f"It could not be made: {str(wrong).splitlines()[0].rstrip('.')}."
        export.fault = fault
        export.state = "failed" if fault else "made"
