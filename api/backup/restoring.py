"""Putting a backup back: verified first, brought to this program's form, and then put in place in one step."""

from __future__ import annotations

import datetime
import os
import shutil
import sqlite3
import tempfile
import zipfile
from collections.abc import Callable
from pathlib import Path

import sqlalchemy as sa

from api.backup.archive import DATABASE, MANIFEST, Manifest, is_copy, verify
from api.backup.copying import copy_rows
from api.database import forms, hold, open_database, upgrade
from api.database.opening import sqlite_file
from scheduler.errors import BadInput


def restore(file: Path, data: Path, address: str, *, replace: bool, now: datetime.datetime) -> Manifest:
    """Put the backup `file` into the data folder and the database at `address`; return what it says of itself.

    `file` may also be a copy from before an upgrade: then the database alone is put back, and the secret stays.
    A backup of SQLite can be put into PostgreSQL, and the other way round. `replace`: a SQLite database that is there
    is replaced; it and the secret are then kept in a folder before-restore-…. Photos that are there stay, since they
    are called by their content. Raises `BadInput`, with nothing changed, where the backup is damaged or of a newer
    program, the place is in use by a service, or holds a business and `replace` is False; one in PostgreSQL always is.
    """
    manifest = verify(file)
    if manifest.form not in forms():
        said = ", ".join(filter(None, (manifest.program, f"form {manifest.form}")))
        problem = f"is of a newer program ({said}; this one knows {forms()[-1]})"
        raise BadInput(str(file), f"{problem}: install that one")

    def unpack(folder: Path) -> None:
        if is_copy(file):
            shutil.copyfile(file, folder / DATABASE)
            if (data / "secret").is_file():
                shutil.copy2(data / "secret", folder / "secret")
            return
        with zipfile.ZipFile(file) as packed:
            for name in manifest.files:
                packed.extract(name, folder)

    put_in_place(unpack, file, data, address, replace=replace, now=now)
    return manifest


def put_in_place(
    unpack: Callable[[Path], None], file: Path, data: Path, address: str, *, replace: bool, now: datetime.datetime
) -> None:
    """Have `unpack` fill a folder with a SQLite database and files, and put them where the service looks for them.

    The database, DATABASE in that folder, is brought to this program's form before. Raises `BadInput` as `restore`
    does, naming `file`.
    """
    held = hold(data, address)
    try:
        with tempfile.TemporaryDirectory(prefix=".restoring-", dir=data) as made:
            unpacked = Path(made)
            unpack(unpacked)
            database = open_database(f"sqlite:///{unpacked / DATABASE}")
            try:
                upgrade(database)
                with database.connect() as connection:
                    connection.exec_driver_sql("PRAGMA journal_mode = DELETE")
            finally:
                database.dispose()
            _put(unpacked, data, address, replace, now)
    except OSError as fault:
        raise BadInput(str(file), f"could not be put back: {fault.strerror or fault}") from None
    finally:
        held.release()


def _put(unpacked: Path, data: Path, address: str, replace: bool, now: datetime.datetime) -> None:
    """Put the files in place, the database last: until then what was there is what counts."""
    target = open_database(address)
    own = sqlite_file(target.url)
    try:
        if _holds_something(target) and (own is None or not replace):
            if own is None:  # its history only grows, for us as well; and a new database leaves the old one whole
                problem = "holds something already; make a new, empty database, name that one, and keep the old one"
                raise BadInput("EAVEBOARD_DATABASE", problem)
            raise BadInput(str(own), "holds something already; say --replace to put the backup in its place")
        aside = data / f"before-restore-{now:%Y%m%dT%H%M%S}"
        _set_aside(data / "secret", aside)
        for path in sorted(unpacked.rglob("*")):
            name = path.relative_to(unpacked)
            if path.is_file() and name.as_posix() != MANIFEST and not name.name.startswith(DATABASE):
                if ".copy" in name.suffixes:
                    continue
                (data / name).parent.mkdir(mode=0o700, parents=True, exist_ok=True)
                os.chmod(path, 0o600)
                os.replace(path, data / name)
        if own is None:
            upgrade(target)
            source = open_database(f"sqlite:///{unpacked / DATABASE}")
            try:
                with source.connect() as reading, target.begin() as writing:
                    copy_rows(reading, writing)
            finally:
                source.dispose()
            return
    finally:
        target.dispose()
    if own.is_file() and own.stat().st_size:
        with sqlite3.connect(own) as connection:  # what is in its log comes into the file, which is then whole
            connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        connection.close()
        _set_aside(own, aside)
    for log in ("-wal", "-shm"):
        own.with_name(own.name + log).unlink(missing_ok=True)
    os.chmod(unpacked / DATABASE, 0o600)
    shutil.move(unpacked / DATABASE, own) if own.parent != data else os.replace(unpacked / DATABASE, own)


def _holds_something(target: sa.Engine) -> bool:
    """Say whether any table has a row in it that a new database does not begin with."""
    begun_with = ("alembic_version", "work_kind")
    names = [name for name in sa.inspect(target).get_table_names() if name not in begun_with]
    with target.connect() as connection:
        some = (sa.select(sa.literal(1)).select_from(sa.table(name)).limit(1) for name in names)
        return any(connection.execute(query).first() is not None for query in some)


def _set_aside(path: Path, folder: Path) -> None:
    if path.is_file():
        folder.mkdir(mode=0o700, exist_ok=True)
        shutil.copy2(path, folder / path.name)
