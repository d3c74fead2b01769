"""A PostgreSQL server of our own for tests, on a socket in a temporary folder; it refuses to run as root, so Debian's
user `postgres` runs it there."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import sqlalchemy as sa

from api.database import open_database, upgrade

MIGRATED = "migrated"  # the database in the newest form beside the empty one


def binaries() -> Path | None:
    """Return the folder of the newest installed server's programs, None where there is none."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda path: int(path.parts[-3]))
    if found:
        return found[-1].parent
    initdb = shutil.which("initdb")
    return Path(initdb).parent if initdb else None


def _run(folder: Path, *words: str) -> None:
    as_user = ["runuser", "-u", "postgres", "--"] if os.getuid() == 0 else []
    subprocess.run([*as_user, *words], check=True, capture_output=True, cwd=folder, timeout=120)


def start(folder: Path) -> None:
    """Start the server whose data lie in `folder`."""
    options = f"-c listen_addresses= -c unix_socket_directories={folder} -c fsync=off"
    data = str(folder / "data")
    _run(folder, f"{binaries()}/pg_ctl", "-D", data, "-o", options, "-l", str(folder / "log"), "-w", "start")


def stop(folder: Path) -> None:
    """Stop that server at once, whoever is connected."""
    _stop(folder, "immediate")


def _stop(folder: Path, how: str) -> None:
    _run(folder, f"{binaries()}/pg_ctl", "-D", str(folder / "data"), "-m", how, "stop")


def _lay_out(folder: Path) -> None:
    """Make the data of a server in the empty `folder`."""
    data = str(folder / "data")
    _run(folder, f"{binaries()}/initdb", "-D", data, "-U", "eave", "-A", "trust", "-E", "UTF8", "--locale=C", "-N")


def _address(folder: Path) -> str:
    return f"postgresql+psycopg://eave@/postgres?host={folder}"


def lay_out(kept: Path) -> Path:
    """Put into `kept` a server's data with an empty database and another in the newest form; return their folder.

    It is for `running`, which copies it: laying out a server takes longer than many tests.
    """
    folder = Path(tempfile.mkdtemp(prefix="eave-pg-", dir="/tmp"))  # as in tests.conftest: a short path for all
    try:
        _give(folder)
        _lay_out(folder)
        start(folder)
        address = _address(folder)
        try:
            whole = sa.create_engine(address, isolation_level="AUTOCOMMIT")
            with whole.connect() as connection:
                connection.execute(sa.text(f"CREATE DATABASE {MIGRATED}"))
            whole.dispose()
            engine = open_database(address.replace("/postgres?", f"/{MIGRATED}?"))
            upgrade(engine)
            engine.dispose()
        finally:
            _stop(folder, "fast")
        shutil.move(folder / "data", kept / "data")
    finally:
        shutil.rmtree(folder)
    return kept / "data"


def _give(folder: Path) -> None:
    """Have `folder` and all in it belong to the server's user."""
    if os.getuid() == 0:
        subprocess.run(["chown", "-R", "postgres:", str(folder)], check=True)


@contextmanager
def running(folder: Path, laid_out: Path | None = None) -> Iterator[str]:
    """Run a server with its data in the empty `folder`; give the address of its database.

    laid_out: of `lay_out`, to begin with; None: a server of its own from the first.
    """
    if laid_out is not None:
        shutil.copytree(laid_out, folder / "data")
    _give(folder)
    if laid_out is None:
        _lay_out(folder)
    start(folder)
    try:
        yield _address(folder)
    finally:
        stop(folder)


def fresh(server: sa.URL, name: str) -> str:
    """Return the address of a new, empty database of a PostgreSQL server."""
    engine = sa.create_engine(server, isolation_level="AUTOCOMMIT", poolclass=sa.NullPool)
    with engine.connect() as connection:
        connection.execute(sa.text(f"DROP DATABASE IF EXISTS {name}"))
        connection.execute(sa.text(f"CREATE DATABASE {name}"))
    return server.set(database=name).render_as_string(hide_password=False)
