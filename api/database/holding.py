"""Who works on a database: one process alone, or on PostgreSQL any number of workers, one of whom leads.

Whoever holds it in a way that another one's does not allow is refused before anything is touched.
"""

from __future__ import annotations

import errno
import os
import secrets
import sys
import threading
from pathlib import Path
from typing import IO

from sqlalchemy.engine import make_url
from sqlalchemy.exc import DBAPIError

from api.database.opening import make_folder, make_private, sqlite_file, unusable
from api.database.server_locks import Duty, ServerLocks
from scheduler.errors import BadInput

SERVED = "is served already by another eaveboard serve"


class Served(BadInput):
    """Said where a service is at work on what somebody wants for himself."""


class Hold:
    """What a process holds while it works: locks on files, on PostgreSQL those of the server as well.

    A process that ends lets go of them, however it ends. One that was begun without a database is alone.
    """

    def __init__(self) -> None:
        self.number = secrets.randbelow(2**31 - 1) + 1  # of this worker among all
        self._files: list[IO[bytes]] = []
        self._server: ServerLocks | None = None
        self._here: set[Duty] = set()
        self._lock = threading.Lock()

    def keep(self) -> bool:
        """Say whether all is still held; what a server let go of when its connection broke is taken up again.

        False: another process has taken something of it meanwhile, or the server cannot be reached.
        """
        return self._server is None or self._server.keep()

    def join(self) -> None:
        """Be one of the workers at the database from now on: it is in this program's form."""
        if self._server is not None:
            self._server.join()

    def take(self, duty: Duty) -> bool:
        """Take a piece of work that one worker does at a time; say whether it was free. Taken once, it is not again.

        Raises `SQLAlchemyError` where the server cannot be asked.
        """
        if self._server is not None:
            return self._server.take(duty)
        with self._lock:
            free = duty not in self._here
            self._here.add(duty)
            return free

    def drop(self, duty: Duty) -> None:
        """Let go of a piece of work; one that is not held stays as it is."""
        self._here.discard(duty)
        if self._server is not None:
            self._server.drop(duty)

    def holds(self, duty: Duty) -> bool:
        """Say whether this worker is at a piece of work."""
        return duty in self._here if self._server is None else self._server.holds(duty)

    def is_taken(self, duty: Duty) -> bool:
        """Say whether any worker is at a piece of work; raises `SQLAlchemyError` where the server cannot be asked."""
        return duty in self._here if self._server is None else self._server.is_taken(duty)

    def workers(self) -> set[int]:
        """Return the numbers of all workers; raises `SQLAlchemyError` where the server cannot be asked."""
        return {self.number} if self._server is None else self._server.workers()

    def release(self) -> None:
        """Let go of all."""
        for file in self._files:
            file.close()
        self._files = []
        self._here = set()
        if self._server is not None:
            self._server.release()
        self._server = None

    def _file(self, path: Path, what: str, words: str, *, shared: bool) -> None:
        make_private(path)
        file = path.open("r+b")
        if not _lock(file, shared=shared):
            file.close()
            raise Served(what, words)
        self._files.append(file)

    def _on_server(self, server: ServerLocks) -> None:
        self._server = server
        try:
            taken = server.begin()
        except DBAPIError as fault:
            raise unusable("EAVEBOARD_DATABASE", fault) from fault
        if not taken:
            raise Served("EAVEBOARD_DATABASE", f"{SERVED}; end that one first")


def hold(data: Path, address: str, *, place: str | None = None) -> Hold:
    """Hold the data folder and the database of `address`, as long as the process lives or until `release`.

    place: of a worker the address at which it answers; on PostgreSQL others may then work beside it. None: alone.
    Raises `Served` where another process holds one of them, `BadInput` where they cannot be used.
    """
    make_folder(data, "EAVEBOARD_DATA")
    url, held = make_url(address), Hold()
    server = url.get_backend_name() == "postgresql"
    shared = server and place is not None
    words = f"{SERVED}; end that one first" if server else f"{SERVED}, and SQLite takes one process; end that one first"
    try:
        held._file(data / "serving.lock", str(data), words, shared=shared)
        file = sqlite_file(url)
        if file is not None and file.parent.resolve() != data.resolve():
            make_folder(file.parent, "EAVEBOARD_DATABASE")
            held._file(file.with_name(f"{file.name}.lock"), "EAVEBOARD_DATABASE", words, shared=False)
        if server:
            held._on_server(ServerLocks(url, held.number, place))
    except BaseException:
        held.release()
        raise
    return held


def _lock(file: IO[bytes], *, shared: bool) -> bool:
    """Lock an open file for this process, alone or with others who share it; say whether it could be."""
    try:
        if sys.platform == "win32":
            import msvcrt

            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(file.fileno(), (fcntl.LOCK_SH if shared else fcntl.LOCK_EX) | fcntl.LOCK_NB)
    except OSError as fault:
        if fault.errno in (errno.EAGAIN, errno.EACCES, errno.EDEADLK):
            return False
        raise BadInput(os.fspath(file.name), f"cannot be locked: {fault.strerror}") from None
    return True
