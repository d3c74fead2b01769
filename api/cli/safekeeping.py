"""`eaveboard backup`, `restore`, `doctor` and `new-secret`: all that the service keeps, and that it keeps well."""

from __future__ import annotations

import datetime
import os
import shutil
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from api.cli.files import STANDARD, check_writable
from scheduler.errors import BadInput

if TYPE_CHECKING:
    from api.backup.archive import Manifest

Json = Annotated[bool, typer.Option("--json", help="Print what it holds as JSON.")]
Quiet = Annotated[bool, typer.Option("--quiet", "-q", help="Say nothing where all went well.")]


def backup(
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", "-o", metavar="FILE",
            help="The file to write, or a folder to put it in; - for standard output; left out: EAVEBOARD_BACKUPS.",
        ),
    ] = None,
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:  # fmt: skip
    """Write all that the service keeps into one file: database, photos, drawings, secret; and read it back to verify.

    The service may be at work meanwhile. The file holds what signs people in: keep it as you would the database.
    """
    from api.backup.archive import make_backup
    from api.backup.keeper import name_of
    from api.database import open_database
    from api.settings import read_settings

    settings = read_settings(os.environ)
    if not _is_there(settings.data, settings.database):
        raise BadInput("EAVEBOARD_DATA", f"there is no database in {settings.data}: name the folder of the service")
    now = datetime.datetime.now(datetime.UTC)
    if out is None and settings.backups is None:
        raise BadInput("--out", "is missing; name a file, or set EAVEBOARD_BACKUPS to the folder of the backups")
    if out == STANDARD and as_json:
        raise BadInput("--json", "and --out - would both go to standard output; give the backup a file")
    where = out or settings.backups or Path()
    if where.is_dir() or out is None:
        where = where / name_of(now)
    elif where != STANDARD:
        check_writable(where)
    database = open_database(settings.database)
    try:
        with tempfile.TemporaryDirectory(prefix="eave-backup-") as made:
            file = Path(made) / "it.backup" if where == STANDARD else where
            manifest = make_backup(database, settings.data, file, now)
            if where == STANDARD:
                with file.open("rb") as whole:
                    shutil.copyfileobj(whole, sys.stdout.buffer)
                return
    finally:
        database.dispose()
    _tell(manifest, f"Backed up to {where} and read back", as_json, quiet)
    if settings.secret and not quiet and not as_json:
        typer.echo("The secret is a setting here and not in the backup: keep it elsewhere.", err=True)


def restore(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A backup; - reads standard input.")],
    check: Annotated[bool, typer.Option("--check", help="Only read the backup and say whether it is whole.")] = False,
    replace: Annotated[
        bool, typer.Option("--replace", help="Put it in the place of a SQLite database, of which a copy is kept.")
    ] = False,
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Put a backup back into the data folder and the database that the settings name; the service must not be running.

    Refused, with nothing changed, where the backup is damaged or of a newer program. One of an older program is
    brought to this program's form. A backup of SQLite may go into PostgreSQL and the other way round.
    """
    from api.backup.archive import verify
    from api.backup.restoring import restore as put_back
    from api.settings import read_settings

    os.umask(0o077)
    settings = read_settings(os.environ)
    with tempfile.TemporaryDirectory(prefix="eave-restore-") as made:
        if file == STANDARD:
            with (Path(made) / "standard-input").open("wb") as whole:
                shutil.copyfileobj(sys.stdin.buffer, whole)
            file = Path(made) / "standard-input"
        if check:
            _tell(verify(file), f"{file} is whole", as_json, quiet)
            return
        now = datetime.datetime.now(datetime.UTC)
        manifest = put_back(file, settings.data, settings.database, replace=replace, now=now)
    _tell(manifest, f"Put back into {settings.data}", as_json, quiet)


def new_secret(
    days: Annotated[
        int,
        typer.Option(
            "--days", min=0, max=400, metavar="DAYS",
            help="For so many days what the secret until now has signed stays good; 0: it ends at once, "
            "for a secret that has become known.",
        ),
    ] = 30,
) -> None:  # fmt: skip
    """Have forms, day links and calendar addresses signed by a new secret, from the next start of the service on.

    Nobody is signed out. EAVEBOARD_DATA names the folder.
    """
    import secrets

    from api.secret import change_secret
    from api.settings import read_settings

    now = datetime.datetime.now(datetime.UTC)
    until = now + datetime.timedelta(days=days)
    change_secret(read_settings(os.environ), secrets.token_urlsafe(32), until, now)
    ends = f"until {until:%Y-%m-%d %H:%M} UTC" if days else "no longer"
    typer.echo(f"Start the service anew: it then signs by the new secret, and takes what the old one signed {ends}.")


def _is_there(data: Path, database: str) -> bool:
    file = database.removeprefix("sqlite:///")
    return file == database or Path(file).is_file()


def _tell(manifest: Manifest, words: str, as_json: bool, quiet: bool) -> None:
    import msgspec

    if as_json:
        sys.stdout.write(msgspec.json.format(msgspec.json.encode(manifest), indent=1).decode() + "\n")
        return
    if quiet:
        return
    rows, size = sum(manifest.rows.values()), sum(one.bytes for one in manifest.files.values())
    typer.echo(
        f"{words}: {rows:,} rows, {len(manifest.files) - 1:,} files, {size / 1e6:,.1f} MB, form {manifest.form}."
    )
    if manifest.missing:
        typer.echo(f"Named in the database but not in the folder: {', '.join(manifest.missing[:5])}.", err=True)


def doctor(as_json: Json = False, quiet: Quiet = False) -> None:
    """Say how the service is: what is set, what can be reached, what is old, full or damaged, and what to do about it.

    Ends with 1 where something is broken. The service may be at work; nothing is changed.
    """
    from api.condition.doctor import examine, worst
    from api.database import open_database
    from api.settings import read_settings

    settings = read_settings(os.environ)
    if not _is_there(settings.data, settings.database):
        raise BadInput("EAVEBOARD_DATA", f"there is no database in {settings.data}: name the folder of the service")
    database = open_database(settings.database)
    try:
        found = list(examine(settings, database, datetime.datetime.now(datetime.UTC)))
    finally:
        database.dispose()
    if as_json:
        import msgspec

        sys.stdout.write(msgspec.json.format(msgspec.json.encode(found), indent=1).decode() + "\n")
    else:
        marks = {"fine": "fine  ", "look": "LOOK  ", "broken": "BROKEN"}
        for one in found:
            if not quiet or one.state != "fine":
                typer.echo(f"{marks[one.state]}  {one.about}: {one.words}")
    if worst(found) == "broken":
        raise typer.Exit(1)
