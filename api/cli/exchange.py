"""`eaveboard export`, `import`, `packet` and `daysheet`: tables in and out, and papers, of the database in use."""

from __future__ import annotations

import datetime
import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from api.cli.files import STANDARD, on_disk, read_document, write_document
from api.cli.in_use import database_in_use
from api.cli.saying.voice import voice
from scheduler.errors import BadInput

if TYPE_CHECKING:
    from sqlmodel import Session


Out = Annotated[Path, typer.Option("--out", "-o", metavar="FILE", help="The file to write; - for standard output.")]


def export(out: Out) -> None:
    """Write the whole business into one ZIP file: tables, photos, drawings, documents; an empty base takes it in.

    Tables are in it as CSV and XLSX too. What signs people in is left out, and archive.json in it says so.
    """
    told = voice()
    told.will_write(out)
    from api.exchange.whole import write_whole

    with database_in_use() as (engine, settings), tempfile.TemporaryFile() as made:
        manifest = write_whole(engine, settings.data, made, _now())
        made.seek(0)
        write_document(out, made.read())
    told.give({"file": str(out), "holds": manifest})
    if out != STANDARD:
        rows, files = sum(manifest.rows.values()), len(manifest.files) - len(manifest.rows)
        told.say(f"Wrote {out}: {rows:,} rows of {len(manifest.rows)} tables, {files:,} files.")
        told.note(f"Left out: {'; '.join(f'{name} ({why})' for name, why in manifest.left_out.items())}.")
    if manifest.missing:
        told.note(f"Named in the database but not in the folder: {', '.join(manifest.missing[:5])}.")


def take_in(
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE", help="A CSV or XLSX file, or an archive that `export` wrote; - reads standard input."
        ),
    ],
    table: Annotated[
        str | None, typer.Option("--table", metavar="NAME", help="Which table it is; left out: as the file is called.")
    ] = None,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Only say what it would do.")] = False,
    replace: Annotated[
        bool,
        typer.Option("--replace", help="Put an archive in the place of a SQLite database, of which a copy is kept."),
    ] = False,
) -> None:
    """Take a table into the database, or a whole business that `export` wrote into an empty base; all or nothing.

    The same table again changes nothing. Every cell that is wrong is named with its file, sheet, row and column. For
    a whole business the service must not be running, and nobody has a password after it: see reset-password.
    """
    from api.exchange.whole import is_whole

    with on_disk(file) as given:
        if is_whole(given):
            _take_whole(given, replace=replace, but=(("--table", table), ("--dry-run", dry_run)))
            return
        if replace:
            raise BadInput("--replace", f"is for an archive that `eaveboard export` wrote, and {file} is none")
        uploads = read_document(given, bytes)
    from api.exchange.importing import IMPORTABLE, Kind, import_tables
    from api.places.filling import filled, questions
    from api.places.finder import Finder
    from api.uploads.reading import read_upload

    told = voice()

    def tell(done: int, total: int) -> None:
        show(f"Taking {file} in: {done} of {total} rows")

    with told.status(f"Reading {file} …") as show, _database() as session:
        tables = read_upload(uploads, file.name, IMPORTABLE, table)
        tables = filled(session, Finder(session.get_bind().engine, _now), tables)
        for question in questions(session, tables):
            told.note(question)
        done = import_tables(session, tables, keep=not dry_run, now=_now(), by="command line", tell=tell)
    kinds: tuple[Kind, ...] = ("new", "changed", "unchanged")
    told.give(
        {
            "kept": done.kept,
            "tables": {name: {kind: done.count(kind, name) for kind in kinds} for name in done.tables},
            "changes": [change for change in done.changes if change.kind != "unchanged"],
        }
    )
    for change in done.changes:
        if change.kind != "unchanged":
            words = "; ".join(
                f"{name} “{before}” → “{after}”" if change.kind == "changed" else f"{name} “{after}”"
                for name, (before, after) in change.fields.items()
            )
            told.say(f"{change.where}: {change.kind} {change.key}: {words}")
    for name in done.tables:
        counts = ", ".join(f"{done.count(kind, name)} {kind}" for kind in kinds)
        told.say(f"{name}: {counts}{'' if done.kept else ' (nothing kept: a dry run)'}")


def packet(
    job: Annotated[str, typer.Argument(metavar="JOB", help="The id of a job, such as J-1042.")], out: Out
) -> None:
    """Write a job's packet as PDF: drawing, drill schedule, findings in full, kit, cautions, checks to sign."""
    voice().will_write(out)
    from api.jobs.packet import packet_pdf

    with _database() as session:
        data = packet_pdf(session, job, _now())
    if data is None:
        raise BadInput("JOB", f'no job has the id "{job}"')
    _write_paper(out, data)


def day_sheet(
    crew: Annotated[str, typer.Argument(metavar="CREW", help="The id of a crew, such as north-1.")],
    day: Annotated[datetime.datetime, typer.Argument(formats=["%Y-%m-%d"], metavar="DAY", help="Such as 2027-04-12.")],
    out: Out,
) -> None:
    """Write a crew's day on paper as PDF: stops in order, kit to tick, cautions, checks to sign."""
    voice().will_write(out)
    from api.day.content import day_sheet_pdf
    from api.tables import Crew

    with _database() as session:
        if session.get(Crew, crew) is None:
            raise BadInput("CREW", f'no crew has the id "{crew}"')
        data = day_sheet_pdf(session, crew, day.date(), _now())
    if data is None:
        raise BadInput("DAY", f"no plan has been made for the week of {day.date()}")
    _write_paper(out, data)


def _write_paper(out: Path, data: bytes) -> None:
    write_document(out, data)
    voice().give({"file": str(out), "bytes": len(data)})


def _take_whole(file: Path, *, replace: bool, but: tuple[tuple[str, object], ...]) -> None:
    from api.exchange.whole import take_whole
    from api.settings import read_settings

    for option, given in but:
        if given:
            raise BadInput(option, "is for a table; an archive is taken in whole")
    os.umask(0o077)
    settings = read_settings(os.environ)
    manifest = take_whole(file, settings.data, settings.database, replace=replace, now=_now())
    rows, files = sum(manifest.rows.values()), len(manifest.files) - len(manifest.rows)
    voice().give({"folder": str(settings.data), "holds": manifest})
    voice().say(f"Taken into {settings.data}: {rows:,} rows of {len(manifest.rows)} tables, {files:,} files.")
    voice().say("Nobody has a password in it: `eaveboard reset-password NAME` gives one, once for each who signs in.")


@contextmanager
def _database() -> Iterator[Session]:
    """Give a session on the database that the settings name; it must be there already."""
    from api.database import transaction

    with database_in_use() as (engine, _), transaction(engine) as session:
        yield session


def _now() -> datetime.datetime:
    return datetime.datetime.now(datetime.UTC)
