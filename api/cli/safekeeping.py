"""`eaveboard backup`, `restore`, `doctor` and `new-secret`: all that the service keeps, and that it keeps well."""

from __future__ import annotations

import datetime
import os
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from api.cli.files import on_disk, takes_a_stream, write_stream
from api.cli.in_use import settings_in_use
from api.cli.saying.voice import voice
from scheduler.errors import BadInput

if TYPE_CHECKING:
    from api.backup.archive import Manifest


def backup(
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", "-o", metavar="FILE",
            help="The file to write, or a folder to put it in; - for standard output; left out: EAVEBOARD_BACKUPS.",
        ),
    ] = None,
) -> None:  # fmt: skip
    """Write all that the service keeps into one file: database, photos, drawings, secret; and read it back to verify.

    The service may be at work meanwhile. The file holds what signs people in: keep it as you would the database.
    """
    from api.backup.archive import make_backup
    from api.backup.keeper import name_of
    from api.database import open_database
    from api.database.opening import make_folder

    settings = settings_in_use()
    now = datetime.datetime.now(datetime.UTC)
    if out is None and settings.backups is None:
        raise BadInput("--out", "is missing; name a file, or set EAVEBOARD_BACKUPS to the folder of the backups")
    where = out or settings.backups or Path()
    if out is None:
        make_folder(where, "EAVEBOARD_BACKUPS")
    if where.is_dir() or out is None:
        where = where / name_of(now)
    else:
        voice().will_write(where)
    database = open_database(settings.database)
    try:
        with tempfile.TemporaryDirectory(prefix="eave-backup-") as made:
            file = Path(made) / "it.backup" if takes_a_stream(where) else where.resolve()
            manifest = make_backup(database, settings.data, file, now)
            if takes_a_stream(where):
                with file.open("rb") as whole:
                    write_stream(where, whole)
    finally:
        database.dispose()
    _tell(manifest, f"Backed up to {where} and read back")
    if settings.secret:
        voice().note("The secret is a setting here and not in the backup: keep it elsewhere.")


def restore(
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="A backup, or a copy from before an upgrade; - reads standard input.")
    ],
    check: Annotated[bool, typer.Option("--check", help="Only read the backup and say whether it is whole.")] = False,
    replace: Annotated[
        bool, typer.Option("--replace", help="Put it in the place of a SQLite database, of which a copy is kept.")
    ] = False,
) -> None:
    """Put a backup back into the data folder and the database that the settings name; the service must not be running.

    Refused, with nothing changed, where the backup is damaged or of a newer program. One of an older program is
    brought to this program's form. A backup of SQLite may go into PostgreSQL and the other way round. A copy that the
    service made before an upgrade (eaveboard.form-….copy) puts the database back alone.
    """
    from api.backup.archive import verify
    from api.backup.restoring import restore as put_back
    from api.settings import read_settings

    os.umask(0o077)
    settings = read_settings(os.environ)
    with on_disk(file) as given:
        if check:
            _tell(verify(given), f"{file} is whole")
            return
        now = datetime.datetime.now(datetime.UTC)
        manifest = put_back(given, settings.data, settings.database, replace=replace, now=now)
    _tell(manifest, f"Put back into {settings.data}")


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
    voice().give({"old_secret_until": until if days else None})
    ends = f"until {until:%Y-%m-%d %H:%M} UTC" if days else "no longer"
    voice().say(f"Start the service anew: it then signs by the new secret, and takes what the old one signed {ends}.")


def _tell(manifest: Manifest, words: str) -> None:
    told = voice()
    told.give(manifest)
    rows, size = sum(manifest.rows.values()), sum(one.bytes for one in manifest.files.values())
    told.say(f"{words}: {rows:,} rows, {len(manifest.files) - 1:,} files, {size / 1e6:,.1f} MB, form {manifest.form}.")
    if manifest.missing:
        told.note(f"Named in the database but not in the folder: {', '.join(manifest.missing[:5])}.")


def doctor() -> None:
    """Say how the service is: what is set, what can be reached, what is old, full or damaged, and what to do about it.

    Ends with 1 where something is broken. The service may be at work; nothing is changed.
    """
    from api.condition.doctor import examine, worst
    from api.database import open_database

    settings = settings_in_use()
    database = open_database(settings.database)
    try:
        found = list(examine(settings, database, datetime.datetime.now(datetime.UTC)))
    finally:
        database.dispose()
    told = voice()
    told.give(found)
    marks = {"fine": "fine  ", "look": "LOOK  ", "broken": "BROKEN"}
    for one in found:
        (told.say if one.state == "fine" else told.show)(f"{marks[one.state]}  {one.about}: {one.words}")
    if worst(found) == "broken":
        raise typer.Exit(1)
