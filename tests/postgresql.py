"""A PostgreSQL server of our own for tests, on a socket in a temporary folder; it refuses to run as root, so Debian's
user `postgres` runs it there."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


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
    _run(folder, f"{binaries()}/pg_ctl", "-D", str(folder / "data"), "-m", "immediate", "stop")


@contextmanager
def running(folder: Path) -> Iterator[str]:
    """Run a server with its data in the empty `folder`; give the address of its database."""
    if os.getuid() == 0:
        shutil.chown(folder, "postgres")
    data = str(folder / "data")
    _run(folder, f"{binaries()}/initdb", "-D", data, "-U", "eave", "-A", "trust", "-E", "UTF8", "--locale=C", "-N")
    start(folder)
    try:
        yield f"postgresql+psycopg://eave@/postgres?host={folder}"
    finally:
        stop(folder)
