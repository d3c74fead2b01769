"""The whole archive made in a process of its own, one at a time: pages go on meanwhile, and say how far it is."""

from __future__ import annotations

import datetime
import os
import secrets
import tempfile
import threading
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from api.exchange.behind import BrokenOff, behind
from api.exchange.whole import write_whole_file
from api.http.problems import Problem
from scheduler.errors import BadInput

MOST_S = 1800.0  # for one archive: then its process is ended
KEPT = datetime.timedelta(hours=1)  # for which one that is made can be fetched


@dataclass
class Export:
    """An archive that is being made, was made (`file` then holds it), or failed: `fault` says why, a sentence."""

    id: str
    by: str
    begun_at: datetime.datetime
    file: Path
    state: Literal["making", "made", "failed"] = "making"
    done: int = 0
    total: int = 0
    fault: str = ""


class Exports:
    """Makes archives; `own_process` False: in a thread, for a service that is to begin no processes."""

    def __init__(self, address: str, data: Path, *, own_process: bool) -> None:
        self._address, self._data, self._own_process = address, data, own_process
        self._lock, self._closing = threading.Lock(), threading.Event()
        self._thread: threading.Thread | None = None
        self._newest: Export | None = None

    def begin(self, by: str, now: datetime.datetime) -> Export:
        """Begin an archive and return it; the one before can no longer be fetched. Answers 409 while one is made."""
        with self._lock:
            if self._newest is not None and self._newest.state == "making":
                raise Problem(409, f"{self._newest.by} has one made just now: wait for it.", kind="under-way")
            self._forget()
            handle, name = tempfile.mkstemp(prefix="eave-export-", suffix=".zip")
            os.close(handle)
            made = self._newest = Export(secrets.token_urlsafe(12), by, now, Path(name))
            self._thread = threading.Thread(target=self._make, args=(made, now), name="export", daemon=True)
            self._thread.start()
            return made

    def of(self, export_id: str, now: datetime.datetime) -> Export:
        """Return an archive by its id; answers 404 where there is none any more."""
        with self._lock:
            found = self._newest
            if found is not None and found.state != "making" and abs(now - found.begun_at) > KEPT:
                self._forget()
                found = None
        if found is None or found.id != export_id:
            raise Problem(404, "This archive is not kept any more: make a new one.")
        return found

    def close(self) -> None:
        """End what is being made, and delete what was."""
        self._closing.set()
        if self._thread is not None:
            self._thread.join()
        with self._lock:
            self._forget()

    def _forget(self) -> None:
        if self._newest is not None:
            self._newest.file.unlink(missing_ok=True)
        self._newest = None

    def _make(self, export: Export, now: datetime.datetime) -> None:
        """Have the archive made and follow how far it is; whatever goes wrong ends as its fault."""

        def step(done: int, total: int) -> None:
            export.done, export.total = done, total

        fault = ""
        try:
            given = (self._address, self._data, export.file, now)
            behind(
                write_whole_file, *given, step=step, ended=self._closing, own_process=self._own_process, most_s=MOST_S
            )
        except BrokenOff:
            fault = "It was broken off: try again."
        except (BadInput, OSError) as wrong:
            fault = f"It could not be made: {str(wrong).splitlines()[0].rstrip('.')}."
        export.fault = fault
        export.state = "failed" if fault else "made"
