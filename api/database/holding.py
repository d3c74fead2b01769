"""One service on one database: whoever serves holds it, and a second one is refused before it touches anything."""

from __future__ import annotations

import errno
import os
import sys
from contextlib import suppress
from pathlib import Path
from typing import IO

import sqlalchemy as sa
from sqlalchemy.engine import make_url
from sqlalchemy.exc import DBAPIError, SQLAlchemyError

from api.database.opening import make_folder, make_private, sqlite_file, unusable
from scheduler.errors import BadInput

# "eavebord" as eight bytes: the number of the advisory lock on a PostgreSQL server, which is one for a database.
ADVISORY = int.from_bytes(b"eavebord", "big")


class Hold:
    """What one service holds while it works: locks on files, on PostgreSQL one of the server as well.

    A process that ends lets go of them, however it ends.
    """

    def __init__(self) -> None:
        self._files: list[IO[bytes]] = []
        self._engine: sa.Engine | None = None
        self._connection: sa.Connection | None = None

    def keep(self) -> bool:
        """Say whether all is still held; what a server let go of when its connection broke is taken up again.

        False: another service has taken the database meanwhile, or the server cannot be reached.
        """
        if self._engine is None:
            return True
        try:
            if self._connection is not None:
                self._connection.execute(sa.text("SELECT 1"))
                self._connection.commit()
                return True
        except SQLAlchemyError:
            with suppress(SQLAlchemyError):
                self._connection.invalidate()  # type: ignore[union-attr]
            self._connection = None
        try:
            return self._ask()
        except SQLAlchemyError:
            return False

    def release(self) -> None:
        """Let go of all."""
        for file in self._files:
            file.close()
        self._files = []
        if self._connection is not None:
            with suppress(SQLAlchemyError):
                self._connection.close()
        if self._engine is not None:
            self._engine.dispose()
        self._connection = self._engine = None

    def _file(self, path: Path, what: str) -> None:
        make_private(path)
        file = path.open("r+b")
        if not _lock(file):
            file.close()
            raise BadInput(what, "is served already by another eaveboard serve; end that one first")
        self._files.append(file)

    def _server(self, url: sa.URL) -> None:
        self._engine = sa.create_engine(url, poolclass=sa.NullPool)
        try:
            taken = self._ask()
        except DBAPIError as fault:
            raise unusable("EAVEBOARD_DATABASE", fault) from fault
        if not taken:
            raise BadInput("EAVEBOARD_DATABASE", "is served already by another eaveboard serve; end that one first")

    def _ask(self) -> bool:
        assert self._engine is not None
        connection = self._engine.connect()
        taken = bool(connection.scalar(sa.select(sa.func.pg_try_advisory_lock(ADVISORY))))
        connection.commit()
        if taken:
            self._connection = connection
        else:
            connection.close()
        return taken


def hold(data: Path, address: str) -> Hold:
    """Hold the data folder and the database of `address`, as long as the process lives or until `release`.

    Raises `BadInput` where another service holds one of them, or where they cannot be used.
    """
    make_folder(data, "EAVEBOARD_DATA")
    url, held = make_url(address), Hold()
    try:
        held._file(data / "serving.lock", str(data))
        file = sqlite_file(url)
        if file is not None and file.parent.resolve() != data.resolve():
            make_folder(file.parent, "EAVEBOARD_DATABASE")
            held._file(file.with_name(f"{file.name}.lock"), "EAVEBOARD_DATABASE")
        if url.get_backend_name() == "postgresql":
            held._server(url)
    except BaseException:
        held.release()
        raise
    return held


def _lock(file: IO[bytes]) -> bool:
    """Lock an open file for this process alone; say whether nobody else had done so."""
    try:
        if sys.platform == "win32":
            import msvcrt

            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(file.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as fault:
        if fault.errno in (errno.EAGAIN, errno.EACCES, errno.EDEADLK):
            return False
        raise BadInput(os.fspath(file.name), f"cannot be locked: {fault.strerror}") from None
    return True
