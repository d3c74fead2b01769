"""The whole archive made in a process of its own, one at a time: pages go on meanwhile, and say how far it is.

It lies in the data folder with a file beside it that says how it stands, so that every worker can show and give it.
"""

from __future__ import annotations

import datetime
import multiprocessing
import os
import secrets
import threading
import time
from collections.abc import Callable
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any, Literal

import msgspec
from sqlalchemy.exc import SQLAlchemyError

from api.database import Duty, Hold
from api.database.opening import make_folder, make_private
from api.exchange.whole import write_whole_file
from api.http.problems import Problem
from scheduler.errors import BadInput

MOST_S = 1800.0  # for one archive: then its process is ended
KEPT = datetime.timedelta(hours=1)  # for which one that is made can be fetched
WRITE_S = 0.2  # between two writes of how far it is
FOLDER = "exports"
BROKEN_OFF = "It was broken off: try again."


class Export(msgspec.Struct):
    """An archive that is being made, was made (`file` then holds it), or failed: `fault` says why, a sentence."""

    id: str
    by: str
    begun_at: datetime.datetime
    folder: str
    state: Literal["making", "made", "failed"] = "making"
    done: int = 0
    total: int = 0
    fault: str = ""

    @property
    def file(self) -> Path:
        return Path(self.folder) / f"{self.id}.zip"

    def keep(self) -> None:
        """Write down how it stands."""
        path = Path(self.folder) / f"{self.id}.json"
        part = path.with_suffix(".part")
        make_private(part)
        part.write_bytes(msgspec.json.encode(self))
        os.replace(part, path)


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
            making = next((one.by for one in self._kept() if one.state == "making"), "Somebody")
            raise Problem(409, f"{making} has one made just now: wait for it.", kind="under-way")
        try:
            make_folder(self._folder, str(self._folder))
            self._forget()
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
        found = next((one for one in self._kept() if one.id == export_id), None)
        if found is not None and found.state != "making" and abs(now - found.begun_at) > KEPT:
            self._forget()
            found = None
        if found is None:
            raise Problem(404, "This archive is not kept any more: make a new one.")
        if found.state == "making" and not self._held.is_taken(Duty.EXPORT):  # by a worker that is no more
            now_so = next((one for one in self._kept() if one.id == export_id), found)  # or that has just made it
            found = now_so if now_so.state != "making" else msgspec.structs.replace(
                found, state="failed", fault=BROKEN_OFF
            )  # fmt: skip
        return found

    def close(self) -> None:
        """End what is being made here."""
        self._closing.set()
        if self._thread is not None:
            self._thread.join()

    def _kept(self) -> list[Export]:
        found = []
        for path in self._folder.glob("*.json"):
            try:
                found.append(msgspec.json.decode(path.read_bytes(), type=Export))
            except (OSError, msgspec.DecodeError):  # forgotten at this moment
                continue
        return found

    def _forget(self) -> None:
        for path in self._folder.glob("*"):
            path.unlink(missing_ok=True)

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
        here, there = multiprocessing.Pipe(duplex=False)
        given = (there, self._address, self._data, export.file, now)
        worker: Any
        if self._own_process:
            worker = multiprocessing.get_context("spawn").Process(target=_write, args=given, daemon=True)
        else:
            worker = threading.Thread(target=_write, args=given, daemon=True)
        worker.start()
        if self._own_process:
            there.close()  # the other process holds it: where that dies, reading ends
        end, written = time.monotonic() + MOST_S, 0.0
        fault = BROKEN_OFF
        try:
            while time.monotonic() < end and not self._closing.is_set():
                if not here.poll(0.1):
                    continue
                what, *told = here.recv()
                if what == "step":
                    export.done, export.total = told
                    if time.monotonic() - written >= WRITE_S:
                        export.keep()
                        written = time.monotonic()
                else:
                    fault = told[0]
                    break
        except (EOFError, OSError):
            pass
        finally:
            if self._own_process:
                worker.kill()
            worker.join(5)
            here.close()
        export.fault = fault
        export.state = "failed" if fault else "made"


def _write(line: Connection, address: str, data: Path, file: Path, now: datetime.datetime) -> None:
    """Write the archive and tell of it: ("step", done, total), and at last ("end", what went wrong or empty)."""
    told: Callable[..., None] = lambda *words: line.send(words)  # noqa: E731
    try:
        if multiprocessing.parent_process() is not None:
            os.nice(10)
        write_whole_file(address, data, file, now, lambda done, total: told("step", done, total))
        told("end", "")
    except (BadInput, OSError, SQLAlchemyError) as fault:
        told("end", f"It could not be made: {str(fault).splitlines()[0].rstrip('.')}.")
    finally:
        line.close()
