"""An empty SQLite database in the newest form, made once in a process: migrating takes longer than most tests."""

from __future__ import annotations

import functools
import tempfile
from pathlib import Path

from api.database import open_database, upgrade


def put_migrated(file: Path) -> Path:
    """Write the empty database to `file`, which its owner alone may read, as the service makes it."""
    file.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    file.touch(0o600)
    file.write_bytes(_migrated())
    return file


@functools.cache
def _migrated() -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "eaveboard.sqlite"
        engine = open_database(f"sqlite:///{file}")
        upgrade(engine)
        engine.dispose()
        return file.read_bytes()
