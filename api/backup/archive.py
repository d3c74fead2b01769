"""One backup: a ZIP file with the database, the other files of the data folder, and what each of them must hold.

backup.json is written last: {"kind", "program", "form", "made_at", "files": {name: {"sha256", "bytes"}}, "rows":
{table: rows}, "missing": [photos and papers that were named but not there], "chain": [number, hash] of its newest
link}.
"""

from __future__ import annotations

import datetime
import hashlib
import importlib.metadata
import os
import sqlite3
import tempfile
import zipfile
import zlib
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO

import msgspec
import sqlalchemy as sa

from api.backup.copying import faults_of, form_of, snapshot
from api.database.opening import make_folder, sqlite_file
from scheduler.errors import BadInput

KIND = "eaveboard backup/1"
DATABASE, MANIFEST = "database.sqlite", "backup.json"
CHUNK = 1 << 20
_PASSING = (
    "before-restore-",
    "exports/",
    "imports/",
    "lists/",
)  # an archive in the making would hold itself, without end
PACKED_ALREADY = ("photos/", "papers/")  # pictures and PDF files hardly get any smaller
_SQLITE = b"SQLite format 3\0"
_LEFT_OUT = (".lock", ".copy", ".unfinished", ".part", ".tmp", ".backup")


class Packed(msgspec.Struct, frozen=True):
    """What a file of a backup must hold."""

    sha256: str
    bytes: int


class Manifest(msgspec.Struct, frozen=True):
    """What a backup says of itself; `form` is its database's migration."""

    kind: str
    program: str
    form: str
    made_at: datetime.datetime
    files: dict[str, Packed]
    rows: dict[str, int]
    missing: list[str] = []
    chain: tuple[int, str] = (0, "")


def make_backup(database: sa.Engine, data: Path, out: Path, now: datetime.datetime) -> Manifest:
    """Write a backup of `database` and of the data folder into the file `out`, read it back, and say what it holds.

    The service may be at work: the database is taken as it is at one moment, before the files, and photos are written
    before they are named. `out` has its name only once it was verified. Raises `BadInput` where that cannot be.
    """
    make_folder(out.parent, str(out.parent))
    unfinished = out.with_name(f".{out.name}.{os.getpid()}.part")
    try:
        with tempfile.TemporaryDirectory(prefix=".backup-", dir=out.parent) as made:
            copy = Path(made) / DATABASE
            form = snapshot(database, copy)
            with os.fdopen(os.open(unfinished, os.O_RDWR | os.O_CREAT | os.O_TRUNC, 0o600), "w+b") as file:
                _write(file, copy, form, data, sqlite_file(database.url), now)
                file.flush()
                os.fsync(file.fileno())
        manifest = verify(unfinished, out.parent)
        os.replace(unfinished, out)
    except OSError as fault:
        raise BadInput(str(out), f"cannot be written: {fault.strerror or fault}") from None
    finally:
        unfinished.unlink(missing_ok=True)
    return manifest


def verify(file: Path, work: Path | None = None) -> Manifest:
    """Read a whole backup and return what it says of itself; raises `BadInput` where anything in it is not as it was.

    Every byte is compared with its hash, and the database with its own rules. A copy from before an upgrade, which is
    a SQLite file, is taken as a backup of nothing else. work: a folder for the database meanwhile, None for the
    system's.
    """
    if is_copy(file):
        return _copy_verified(file)
    with unpacking(file, "backup") as packed, tempfile.TemporaryDirectory(prefix=".verify-", dir=work) as made:
        manifest = manifest_of(packed, file)
        database = Path(made) / DATABASE
        for name, listed in manifest.files.items():
            with packed.open(name) as source, (database if name == DATABASE else Path(os.devnull)).open("wb") as to:
                if copied(source, to) != listed:
                    raise BadInput(str(file), f"is damaged: {name} in it is not what was backed up")
        if faults := faults_of(database):
            raise BadInput(str(file), f"is damaged: its database: {faults[0]}")
        if rows_of(database) != manifest.rows:
            raise BadInput(str(file), "is damaged: its database has other rows than were backed up")
    return manifest


def is_copy(file: Path) -> bool:
    """Say whether a file is a SQLite database, as the copies are that an upgrade makes."""
    try:
        with file.open("rb") as source:
            return source.read(len(_SQLITE)) == _SQLITE
    except OSError:
        return False


def _copy_verified(file: Path) -> Manifest:
    form = form_of(file)
    if faults := faults_of(file):
        raise BadInput(str(file), f"is damaged: {faults[0]}")
    if form is None:
        raise BadInput(str(file), "is no copy of a service's database: it does not say of which form it is")
    made_at = datetime.datetime.fromtimestamp(file.stat().st_mtime, datetime.UTC)
    with file.open("rb") as source, Path(os.devnull).open("wb") as to:
        whole = {DATABASE: copied(source, to)}
    return Manifest(KIND, "", form, made_at, whole, rows_of(file), chain=_chain(file))


@contextmanager
def unpacking(file: Path, what: str) -> Iterator[zipfile.ZipFile]:
    """Give a ZIP file to read, called `what`; whatever is wrong with it on the way is a `BadInput` that names it."""
    try:
        with zipfile.ZipFile(file) as packed:
            yield packed
    except (zipfile.BadZipFile, KeyError, EOFError, NotImplementedError, RuntimeError, zlib.error) as fault:
        raise BadInput(str(file), f"is damaged or no {what}: {fault}") from None
    except OSError as fault:
        raise BadInput(str(file), f"cannot be read: {fault.strerror or fault}") from None


def require_inside(names: Iterable[str], file: Path, what: str) -> None:
    """Raise `BadInput` where a name in a ZIP file, called `what`, leads out of the folder that it is unpacked into."""
    for name in names:
        if name.startswith("/") or ".." in Path(name).parts or "\\" in name or ":" in name:
            raise BadInput(str(file), f'is no {what}: "{name}" would lie outside of the data folder')


def manifest_of(packed: zipfile.ZipFile, file: Path) -> Manifest:
    """Return what the backup says of itself; raises `BadInput` where it is none or a path leads out of it."""
    try:
        manifest = msgspec.json.decode(packed.read(MANIFEST), type=Manifest)
    except (KeyError, msgspec.MsgspecError):
        raise BadInput(str(file), "is no backup: it says nothing of what it holds") from None
    if manifest.kind != KIND:
        raise BadInput(str(file), f'is a backup of a newer program ("{manifest.kind}", this one reads "{KIND}")')
    if DATABASE not in manifest.files or set(packed.namelist()) != {MANIFEST, *manifest.files}:
        raise BadInput(str(file), "is damaged: it does not hold the files that it lists")
    require_inside(manifest.files, file, "backup")
    return manifest


def rows_of(file: Path) -> dict[str, int]:
    """Return how many rows each table of a SQLite file has."""
    connection = sqlite3.connect(file)
    try:
        names = [
            row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name")
        ]
        mine = [name for name in names if not name.startswith("sqlite_")]
        return {name: connection.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0] for name in mine}
    finally:
        connection.close()


def _write(file: IO[bytes], copy: Path, form: str, data: Path, own: Path | None, now: datetime.datetime) -> None:
    files: dict[str, Packed] = {}
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED, compresslevel=3) as packed:
        for name, path in [(DATABASE, copy), *kept_files(data, own)]:
            info = zipfile.ZipInfo(name, now.timetuple()[:6])
            info.compress_type = zipfile.ZIP_STORED if name.startswith(PACKED_ALREADY) else zipfile.ZIP_DEFLATED
            try:
                source = path.open("rb")
            except FileNotFoundError:  # gone since the folder was read
                continue
            with source, packed.open(info, "w", force_zip64=True) as to:
                files[name] = copied(source, to)
        manifest = Manifest(
            kind=KIND,
            program=importlib.metadata.version("eaveboard"),
            form=form,
            made_at=now,
            files=files,
            rows=rows_of(copy),
            missing=sorted(files_named(copy) - set(files)),
        )
        manifest = msgspec.structs.replace(manifest, chain=_chain(copy))
        packed.writestr(MANIFEST, msgspec.json.format(msgspec.json.encode(manifest), indent=1))


def kept_files(data: Path, own: Path | None) -> Iterator[tuple[str, Path]]:
    """Yield name and path of the files of the data folder that are kept: not the database, nor what is in passing."""
    for path in sorted(data.rglob("*")):
        name = path.relative_to(data).as_posix()
        passing = path.name.startswith(".") or path.suffix in _LEFT_OUT or name.startswith(_PASSING)
        database = own is not None and path.name.startswith(own.name) and path.parent.resolve() == own.parent.resolve()
        if path.is_file() and not path.is_symlink() and not passing and not database:
            yield name, path


def files_named(copy: Path) -> set[str]:
    """Return the files of the data folder, photos and papers, that a database file names."""
    connection, found = sqlite3.connect(copy), set[str]()
    try:
        for table, folder in (("photo", "photos"), ("gate_paper", "papers")):
            with suppress(sqlite3.Error):  # of a form before these
                found |= {f"{folder}/{row[0]}" for row in connection.execute(f"SELECT sha256 FROM {table}")}
        return found
    finally:
        connection.close()


def _chain(copy: Path) -> tuple[int, str]:
    """Return number and hash of the newest link of the chain."""
    connection = sqlite3.connect(copy)
    try:
        row = connection.execute("SELECT id, seal FROM chain_link ORDER BY id DESC LIMIT 1").fetchone()
    except sqlite3.Error:  # of a form before the chain
        row = None
    finally:
        connection.close()
    return (row[0], row[1]) if row else (0, "")


def copied(source: IO[bytes], to: IO[bytes]) -> Packed:
    """Copy what `source` holds, and return its hash and size."""
    whole, size = hashlib.sha256(), 0
    while block := source.read(CHUNK):
        whole.update(block)
        to.write(block)
        size += len(block)
    return Packed(whole.hexdigest(), size)
