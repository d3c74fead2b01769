"""`eaveboard export`, `import`, `packet` and `daysheet`: tables in and out, and papers, of the database in use."""

from __future__ import annotations

import datetime
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from api.cli.files import check_writable, read_document, write_document
from scheduler.errors import BadInput

if TYPE_CHECKING:
    from sqlmodel import Session

Out = Annotated[Path, typer.Option("--out", "-o", metavar="FILE", help="The file to write; - for standard output.")]


def export(out: Out) -> None:
    """Write every table as CSV and XLSX into one ZIP file; what signs people in is left out."""
    check_writable(out)
    from api.exchange.exporting import export_zip

    with _database() as session:
        write_document(out, export_zip(session, _now()))


def take_in(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A CSV or XLSX file.")],
    table: Annotated[
        str | None, typer.Option("--table", metavar="NAME", help="Which table it is; left out: as the file is called.")
    ] = None,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Only say what it would do.")] = False,
) -> None:
    """Take a table into the database, all or nothing; the same file again changes nothing.

    Every cell that is wrong is named with its file, sheet, row and column.
    """
    from api.exchange.importing import IMPORTABLE, import_tables
    from api.exchange.uploads import read_upload
    from api.places.filling import filled, questions
    from api.places.finder import Finder

    uploads = read_document(file, bytes)
    with _database() as session:
        tables = read_upload(uploads, file.name, IMPORTABLE, table)
        tables = filled(session, Finder(session.get_bind().engine, _now), tables)
        for question in questions(session, tables):
            typer.echo(question, err=True)
        done = import_tables(session, tables, keep=not dry_run, now=_now(), by="command line")
    for change in done.changes:
        if change.kind != "unchanged":
            words = "; ".join(
                f"{name} “{before}” → “{after}”" if change.kind == "changed" else f"{name} “{after}”"
                for name, (before, after) in change.fields.items()
            )
            typer.echo(f"{change.where}: {change.kind} {change.key}: {words}")
    for name in done.tables:
        counts = ", ".join(f"{done.count(kind, name)} {kind}" for kind in ("new", "changed", "unchanged"))
        typer.echo(f"{name}: {counts}{'' if done.kept else ' (nothing kept: a dry run)'}")


def packet(
    job: Annotated[str, typer.Argument(metavar="JOB", help="The id of a job, such as J-1042.")], out: Out
) -> None:
    """Write a job's packet as PDF: drawing, drill schedule, findings in full, kit, cautions, checks to sign."""
    check_writable(out)
    from api.jobs.packet import packet_pdf

    with _database() as session:
        data = packet_pdf(session, job, _now())
    if data is None:
        raise BadInput("JOB", f'no job has the id "{job}"')
    write_document(out, data)


def day_sheet(
    crew: Annotated[str, typer.Argument(metavar="CREW", help="The id of a crew, such as north-1.")],
    day: Annotated[datetime.datetime, typer.Argument(formats=["%Y-%m-%d"], metavar="DAY", help="Such as 2027-04-12.")],
    out: Out,
) -> None:
    """Write a crew's day on paper as PDF: stops in order, kit to tick, cautions, checks to sign."""
    check_writable(out)
    from api.day.paper import day_sheet_pdf
    from api.tables import Crew

    with _database() as session:
        if session.get(Crew, crew) is None:
            raise BadInput("CREW", f'no crew has the id "{crew}"')
        data = day_sheet_pdf(session, crew, day.date(), _now())
    if data is None:
        raise BadInput("DAY", f"no plan has been made for the week of {day.date()}")
    write_document(out, data)


@contextmanager
def _database() -> Iterator[Session]:
    """Give a session on the database that the settings name; it must be there already."""
    from api.database import open_database, transaction, upgrade
    from api.settings import read_settings

    settings = read_settings(os.environ)
    name = settings.database.removeprefix("sqlite:///")
    if name != settings.database and not Path(name).is_file():
        raise BadInput("EAVEBOARD_DATA", f"there is no database in {settings.data}: make one, or name another folder")
    engine = open_database(settings.database)
    try:
        upgrade(engine)
        with transaction(engine) as session:
            yield session
    finally:
        engine.dispose()


def _now() -> datetime.datetime:
    return datetime.datetime.now(datetime.UTC)
