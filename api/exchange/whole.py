"""The whole business as one archive that an empty base takes in: rows, files, drawings, documents, tables for people.

`rows/TABLE.jsonl` holds each table as it is stored, a row a line; `files/` the files of the data folder; README.txt,
`edit/`, `tables/`, `drawings/` and `documents/` are for people and programs, and are not read back. archive.json is
written last and says what everything must hold.
"""

from __future__ import annotations

import datetime
import importlib.metadata
import io
import json
import sqlite3
import tempfile
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import IO, Any

import msgspec
import sqlalchemy as sa
from sqlmodel import Session

from api.backup.archive import (
    DATABASE,
    PACKED_ALREADY,
    Packed,
    copied,
    files_named,
    kept_files,
    require_inside,
    rows_of,
    unpacking,
)
from api.backup.copying import faults_of, snapshot
from api.backup.restoring import put_in_place
from api.database import forms, open_database, upgrade
from api.database.opening import sqlite_file
from api.exchange.exporting import LEFT_OUT, SECRETS, put_tables
from api.papers.sheets import sheets_of
from scheduler.errors import BadInput

Step = Callable[[int, int], None]
KIND, MANIFEST = "eaveboard archive/1", "archive.json"
_OWN = {"alembic_version"}  # what the database keeps for itself
_SECRET_FILES = {"secret": "what forms and day links are signed with"}


class WholeManifest(msgspec.Struct, frozen=True):
    """What an archive says of itself: `form` is its database's migration, `left_out` what is not in it, and why."""

    kind: str
    program: str
    form: str
    made_at: datetime.datetime
    files: dict[str, Packed]
    rows: dict[str, int]
    left_out: dict[str, str]
    missing: list[str] = []


def write_whole(
    database: sa.Engine, data: Path, out: IO[bytes], now: datetime.datetime, step: Step = lambda *_: None
) -> WholeManifest:
    """Write the archive of a database and its data folder, all of one moment; the service may be at work.

    `step` is told after each table and file how many there are done, and of how many. Raises `BadInput` where the
    database cannot be copied.
    """
    with tempfile.TemporaryDirectory(prefix="eave-whole-") as made:
        copy = Path(made) / DATABASE
        form = snapshot(database, copy)
        with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED, compresslevel=3) as packed:
            files, rows = _write(packed, copy, data, sqlite_file(database.url), now, step)
            manifest = WholeManifest(
                kind=KIND,
                program=importlib.metadata.version("eaveboard"),
                form=form,
                made_at=now,
                files=files,
                rows=rows,
                left_out={**LEFT_OUT, **{f"{t}.{c}": "lets people sign in" for t, c in SECRETS}, **_SECRET_FILES},
                missing=sorted(name for name in files_named(copy) if f"files/{name}" not in files),
            )
            packed.writestr(MANIFEST, msgspec.json.format(msgspec.json.encode(manifest), indent=1))
    return manifest


def write_whole_file(
    address: str, data: Path, file: Path, now: datetime.datetime, step: Step = lambda *_: None
) -> None:
    """Write the archive of the database at `address` and its data folder into `file`, as `write_whole` does."""
    database = open_database(address)
    try:
        with file.open("wb") as out:
            write_whole(database, data, out, now, step)
    finally:
        database.dispose()


def is_whole(file: Path) -> bool:
    """Say whether a file is such an archive; an XLSX file is a ZIP file too."""
    try:
        with zipfile.ZipFile(file) as packed:
            return MANIFEST in packed.namelist()
    except (OSError, zipfile.BadZipFile):
        return False


def take_whole(file: Path, data: Path, address: str, *, replace: bool, now: datetime.datetime) -> WholeManifest:
    """Put an archive into the data folder and the database at `address`; return what it says of itself.

    Every byte is compared with its hash first, every row counted. Nobody can sign in by a password of before: those
    are not in it. Raises `BadInput`, with nothing changed, where the archive is damaged or of a newer program, or the
    place is in use, or holds something and `replace` is False.
    """
    with unpacking(file, "archive") as packed:
        manifest = _manifest(packed, file)

        def unpack(folder: Path) -> None:
            _unpack(packed, manifest, file, folder)

        put_in_place(unpack, file, data, address, replace=replace, now=now)
    return manifest


def _manifest(packed: zipfile.ZipFile, file: Path) -> WholeManifest:
    try:
        manifest = msgspec.json.decode(packed.read(MANIFEST), type=WholeManifest)
    except (KeyError, msgspec.MsgspecError):
        raise BadInput(str(file), "is no archive: it says nothing of what it holds") from None
    if manifest.kind != KIND:
        raise BadInput(str(file), f'is an archive of a newer program ("{manifest.kind}", this one reads "{KIND}")')
    if manifest.form not in forms():
        problem = f"is of a newer program ({manifest.program}, form {manifest.form}; this one knows {forms()[-1]})"
        raise BadInput(str(file), f"{problem}: install that one")
    require_inside(manifest.files, file, "archive")
    return manifest


def _write(
    packed: zipfile.ZipFile, copy: Path, data: Path, own: Path | None, now: datetime.datetime, step: Step
) -> tuple[dict[str, Packed], dict[str, int]]:
    """Put everything but the manifest into the archive; return what must be read back, and the rows by table."""
    names = sorted(set(rows_of(copy)) - _OWN - set(LEFT_OUT))
    kept = [(name, path) for name, path in kept_files(data, own) if name not in _SECRET_FILES]
    done, total = 0, 2 * len(names) + len(kept)

    def one_more() -> None:
        nonlocal done
        step(done := done + 1, total)

    engine = open_database(f"sqlite:///{copy}")
    try:
        with Session(engine) as session:
            put_tables(packed, session, now, one_more)
    finally:
        engine.dispose()
    files: dict[str, Packed] = {}
    counts: dict[str, int] = {}
    connection = sqlite3.connect(copy)
    try:
        for name in names:
            lines = list(_lines(connection, name))
            counts[name] = len(lines)
            _put(packed, files, f"rows/{name}.jsonl", "".join(lines).encode(), now)
            one_more()
        for name, text in _documents(connection):
            packed.writestr(zipfile.ZipInfo(name, now.timetuple()[:6]), text, zipfile.ZIP_DEFLATED)
    finally:
        connection.close()
    for name, path in kept:
        one_more()
        info = zipfile.ZipInfo(f"files/{name}", now.timetuple()[:6])
        info.compress_type = zipfile.ZIP_STORED if name.startswith(PACKED_ALREADY) else zipfile.ZIP_DEFLATED
        try:
            source = path.open("rb")
        except FileNotFoundError:  # gone since the folder was read
            continue
        with source, packed.open(info, "w", force_zip64=True) as to:
            files[info.filename] = copied(source, to)
    return files, counts


def _put(packed: zipfile.ZipFile, files: dict[str, Packed], name: str, data: bytes, now: datetime.datetime) -> None:
    info = zipfile.ZipInfo(name, now.timetuple()[:6])
    info.compress_type = zipfile.ZIP_DEFLATED
    with packed.open(info, "w", force_zip64=True) as to:
        files[name] = copied(io.BytesIO(data), to)


def _lines(connection: sqlite3.Connection, table: str) -> Iterator[str]:
    """Yield the rows of a table by its key as JSON lines; what lets people sign in, or leads to it, is left empty."""
    columns = connection.execute(f'PRAGMA table_info("{table}")').fetchall()
    keys = [f'"{c[1]}"' for c in sorted(columns, key=lambda c: c[5]) if c[5]] or ["rowid"]
    names, astray = [str(c[1]) for c in columns], _astray(connection, table)
    chosen = ", ".join(
        "''" if (table, name) in SECRETS else "NULL" if name in astray else f'"{name}"' for name in names
    )
    for row in connection.execute(f'SELECT {chosen} FROM "{table}" ORDER BY {", ".join(keys)}'):
        values = [{"hex": one.hex()} if isinstance(one, bytes) else one for one in row]
        yield json.dumps(dict(zip(names, values, strict=True)), ensure_ascii=False) + "\n"


def _astray(connection: sqlite3.Connection, table: str) -> set[str]:
    """Return the columns that name rows of tables which are left out: a day off stays without its calendar."""
    return {str(key[3]) for key in connection.execute(f'PRAGMA foreign_key_list("{table}")') if key[2] in LEFT_OUT}


def _documents(connection: sqlite3.Connection) -> Iterator[tuple[str, str]]:
    """Yield what people and other programs can use as it is: drawings, surveys, weeks and plans."""
    for visit, text in connection.execute("SELECT visit_id, document FROM prepared WHERE what = 'drawing'"):
        for n, sheet in enumerate(sheets_of(str(text)), 1):
            yield f"drawings/{visit}-{n}.svg", sheet
    for survey, text in connection.execute("SELECT id, document FROM site_survey"):
        yield f"documents/surveys/{survey}.json", str(text)
    for plan, week, text in connection.execute("SELECT id, week, plan FROM stored_plan"):
        yield f"documents/plans/{plan}.week.json", str(week)
        yield f"documents/plans/{plan}.plan.json", str(text)


def _unpack(packed: zipfile.ZipFile, manifest: WholeManifest, file: Path, folder: Path) -> None:
    """Fill a folder with the archive's files and its database, in the form of its migration."""
    for name, listed in manifest.files.items():
        if name.startswith("files/"):
            to_file = folder / name.removeprefix("files/")
            to_file.parent.mkdir(parents=True, exist_ok=True)
            with packed.open(name) as source, to_file.open("wb") as to:
                found = copied(source, to)
        else:
            with packed.open(name) as source, tempfile.SpooledTemporaryFile(1 << 20) as to:
                found = copied(source, to)
        if found != listed:
            raise BadInput(str(file), f"is damaged: {name} in it is not what was put in")
    engine = open_database(f"sqlite:///{folder / DATABASE}")
    try:
        upgrade(engine, manifest.form)
        with engine.connect() as connection:
            connection.exec_driver_sql("PRAGMA journal_mode = DELETE")
    finally:
        engine.dispose()
    database = sqlite3.connect(folder / DATABASE)
    try:
        for name in manifest.rows:
            _fill(database, packed, name)
        database.commit()
    except (sqlite3.Error, ValueError, AttributeError) as fault:
        raise BadInput(str(file), f"is damaged: its rows cannot be taken in ({fault})") from None
    finally:
        database.close()
    if faults := faults_of(folder / DATABASE):
        raise BadInput(str(file), f"is damaged: {faults[0]}")
    counted = rows_of(folder / DATABASE)
    for name, count in manifest.rows.items():
        if counted.get(name) != count:
            raise BadInput(str(file), f"is damaged: {name} has {counted.get(name)} rows, {count} were put in")


def _fill(database: sqlite3.Connection, packed: zipfile.ZipFile, table: str) -> None:
    known = {str(column[1]) for column in database.execute("SELECT * FROM pragma_table_info(?)", (table,))}
    if not known or table in _OWN or table in LEFT_OUT:
        raise ValueError(f'there is no table "{table}" to be filled')
    if database.execute(f'SELECT 1 FROM "{table}" LIMIT 1').fetchone() is not None:
        database.execute(f'DELETE FROM "{table}"')  # what a new database begins with
    astray = _astray(database, table)  # archives of before hold the numbers of what is left out
    with packed.open(f"rows/{table}.jsonl") as lines:
        for line in lines:
            row: dict[str, Any] = json.loads(line)
            row |= {name: None for name in astray if name in row}
            if not set(row) <= known:
                raise ValueError(f"{table} has no column {', '.join(sorted(set(row) - known))}")
            names = ", ".join(f'"{name}"' for name in row)
            values = [bytes.fromhex(one["hex"]) if isinstance(one, dict) else one for one in row.values()]
            database.execute(f'INSERT INTO "{table}" ({names}) VALUES ({", ".join("?" * len(values))})', values)
