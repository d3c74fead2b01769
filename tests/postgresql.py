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


@contextmanager
def running(folder: Path) -> Iterator[str]:
    """Run a server with its data in the empty `folder`; give the address of its database."""
    programs = binaries()
    assert programs is not None
    as_user = ["runuser", "-u", "postgres", "--"] if os.getuid() == 0 else []
    if as_user:
        shutil.chown(folder, "postgres")

    def run(*words: str) -> None:
        subprocess.run([*as_user, *words], check=True, capture_output=True, cwd=folder, timeout=120)

    data = folder / "data"
    run(str(programs / "initdb"), "-D", str(data), "-U", "eave", "-A", "trust", "-E", "UTF8", "--locale=C", "-N")
    options = f"-c listen_addresses= -c unix_socket_directories={folder} -c fsync=off"
    run(str(programs / "pg_ctl"), "-D", str(data), "-o", options, "-l", str(folder / "log"), "-w", "start")
    try:
        yield f"postgresql+psycopg://eave@/postgres?host={folder}"
    finally:
        run(str(programs / "pg_ctl"), "-D", str(data), "-m", "immediate", "stop")
