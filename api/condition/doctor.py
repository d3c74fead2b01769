"""What `eaveboard doctor` asks: what is set, what can be reached, what is old, what is full, and what is damaged."""

from __future__ import annotations

import datetime
import shutil
import socket
import stat
import sys
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Literal

import httpx
import sqlalchemy as sa
from sqlalchemy.exc import SQLAlchemyError

from api.backup.archive import manifest_of
from api.backup.keeper import newest_of
from api.chain.links import Broken, Head, broken, head, unsealed
from api.condition.figures import Figures, figures
from api.database import forms, transaction
from api.database.opening import MORE, POOL, sqlite_file
from api.database.server_locks import workers_of
from api.settings import Settings
from api.tables import ChainLink
from scheduler.errors import BadInput

State = Literal["fine", "look", "broken"]
FREE_FINE, FREE_LEAST = 2_000_000_000, 100_000_000  # bytes
OLD_FORECAST_H = 12
PATIENCE_S = 3.0
CONNECTIONS = POOL + MORE + 3  # of a worker at most: its pool, its locks, what it hears, and a turn


@dataclass(frozen=True)
class Examined:
    """What was found of one thing: fine, worth a look, or broken; `words` say what is so and what to do."""

    about: str
    state: State
    words: str


def examine(settings: Settings, database: sa.Engine, now: datetime.datetime) -> Iterator[Examined]:
    """Yield what is found of a service's folder, database and surroundings at the moment `now`.

    The service may be at work. Nothing is changed.
    """
    yield _folder(settings.data)
    yield from _private(settings.data)
    yield _space("data folder", settings.data)
    form = _form(database)
    yield form
    if form.state != "broken":
        yield from _content(database)
        yield _chain(database, settings, now)
        yield from _figures(database, now)
    if form.state != "broken" and database.dialect.name == "postgresql":
        yield _workers(database)
    yield from _service(settings)
    yield _backups(settings, now)
    yield _mail(settings)
    yield _letters()
    if settings.clock:
        yield Examined("clock", "look", f"it is set to {settings.clock}: for the demo and training only")


def _folder(data: Path) -> Examined:
    if not data.is_dir():
        return Examined("data folder", "broken", f"there is no {data}: start the service once, or name another folder")
    return Examined("data folder", "fine", str(data))


def _private(data: Path) -> Iterator[Examined]:
    if sys.platform == "win32":
        return
    for path in (data, data / "secret", data / "eaveboard.sqlite"):
        if path.exists() and stat.S_IMODE(path.stat().st_mode) & 0o077:
            words = f"{path} may be read by others on this machine: chmod go= {path}"
            yield Examined("rights", "look", words)


def _space(name: str, folder: Path) -> Examined:
    there = next(path for path in (folder, *folder.parents) if path.exists())
    free = shutil.disk_usage(there).free
    words = f"{free / 1e9:,.1f} GB free"
    if free < FREE_FINE:
        return Examined(f"room in the {name}", "look" if free >= FREE_LEAST else "broken", f"{words}: make room")
    return Examined(f"room in the {name}", "fine", words)


def _form(database: sa.Engine) -> Examined:
    shown = database.url.render_as_string(hide_password=True)
    file = sqlite_file(database.url)
    if file is not None and not file.is_file():
        return Examined("database", "broken", f"there is no {file}")
    try:
        with database.connect() as connection:
            here = connection.execute(sa.text("SELECT version_num FROM alembic_version")).scalar()
    except SQLAlchemyError as fault:
        said = str(getattr(fault, "orig", None) or fault).strip().splitlines()[0]
        return Examined("database", "broken", f"{shown} cannot be read: {said}")
    if here != forms()[-1]:
        words = f"{shown} is in form {here}, this program has {forms()[-1]}: start this program's service once"
        return Examined("database", "broken", words)
    return Examined("database", "fine", f"{shown}, form {here}")


def _content(database: sa.Engine) -> Iterator[Examined]:
    """Have SQLite look through its file; PostgreSQL looks after itself."""
    if sqlite_file(database.url) is None:
        return
    with database.connect() as connection:
        said = [str(row[0]) for row in connection.exec_driver_sql("PRAGMA quick_check(3)")]
        broken = sorted({str(row[0]) for row in connection.exec_driver_sql("PRAGMA foreign_key_check")})
    if said != ["ok"]:
        yield Examined("content", "broken", f"the file is damaged ({said[0]}): put a backup back")
    elif broken:
        yield Examined("content", "broken", f"rows of {', '.join(broken)} name rows that are gone: put a backup back")
    else:
        yield Examined("content", "fine", "the file is whole, and every row that is named is there")


def _chain(database: sa.Engine, settings: Settings, now: datetime.datetime) -> Examined:
    """Look through the whole chain, and whether it still goes through where it stood at the newest backup."""
    with transaction(database) as session:
        found = list(islice(broken(session), 5))
        last, waiting = head(session), unsealed(session)
        stood = _stood(settings, now)
        if not found and stood is not None:
            link = session.get(ChainLink, stood.id)
            if link is None or link.seal != stood.hash:
                words = (
                    f"link {stood.id} is not as in the newest backup: the chain was made anew, or the data are older"
                )
                found = [Broken(stood.id, words)]
    if found:
        words = "; ".join(one.words for one in found)
        return Examined("chain", "broken", f"{words}. Compare with a backup: somebody has written past the service")
    words = f"{last.id} links, whole; the newest is {last.hash[:16]}"
    return Examined("chain", "fine", words + (f"; {waiting} rows are not sealed yet" if waiting else ""))


def _stood(settings: Settings, now: datetime.datetime) -> Head | None:
    """Return how the chain stood at the newest backup, None where there is none that says so."""
    found = newest_of(settings.backups, now) if settings.backups is not None and settings.backups.is_dir() else None
    if found is None:
        return None
    try:
        with zipfile.ZipFile(found[0]) as packed:
            chain = manifest_of(packed, found[0]).chain
    except (OSError, zipfile.BadZipFile, BadInput):
        return None
    return Head(*chain) if chain[0] else None


def _figures(database: sa.Engine, now: datetime.datetime) -> Iterator[Examined]:
    with transaction(database) as session:
        found = figures(session, now)
    age = found.forecast_age_s
    if found.forecast_wanted and found.forecast_failing:
        words = f"it does not come for {found.forecast_failing} places: the page Weather says why"
        yield Examined("forecast", "look", words)
    elif found.forecast_wanted and (age is None or age > OLD_FORECAST_H * 3600):
        yield Examined("forecast", "look", f"the newest is {_hours(age)} old: does the service run, is it online?")
    elif found.forecast_wanted:
        yield Examined("forecast", "fine", f"the newest is {_hours(age)} old")
    else:
        yield Examined("forecast", "look", "none is fetched: choose a source on the page Weather")
    yield _roads(found)
    wait = found.longest_wait_s
    going = f"{found.runs['waiting']} runs wait, {found.runs['running']} are at work, {found.runs['failed']} failed"
    yield Examined("planner", "look" if wait is not None and wait > 900 else "fine", going)


def _roads(found: Figures) -> Examined:
    """Say what times the drives, and how old the newest one is."""
    if not found.roads_wanted:
        return Examined("roads", "fine", "every drive is estimated")
    if found.roads_failing_s is not None:
        words = f"none has been timed for {_hours(found.roads_failing_s)} ({found.roads_words})"
        return Examined("roads", "look", f"{words}: the page Roads says more")
    if found.roads_age_s is None:
        return Examined("roads", "look", "none has been timed yet: does the service run?")
    return Examined("roads", "fine", f"the newest drive is {_hours(found.roads_age_s)} old")


def _workers(database: sa.Engine) -> Examined:
    """Say which workers are at the database, by the locks that they hold on its server."""
    with database.connect() as connection:
        found = workers_of(connection)
        room = int(connection.scalar(sa.text("SELECT current_setting('max_connections')")) or 0)
    places = ", ".join(f"{one.place or 'somewhere'}{' (leads)' if one.leads else ''}" for one in found)
    if len(found) * CONNECTIONS > room:
        words = f"{len(found)} may take {len(found) * CONNECTIONS} connections, and the server lets {room} in"
        return Examined("workers", "look", f"{words}: raise its max_connections")
    if found and not any(one.leads for one in found):
        return Examined("workers", "look", f"{places}: none leads just now; ask again in a few seconds")
    return Examined("workers", "fine", places or "none is at work")


def _service(settings: Settings) -> Iterator[Examined]:
    host = "127.0.0.1" if settings.host in ("0.0.0.0", "::") else settings.host
    address = f"http://{f'[{host}]' if ':' in host else host}:{settings.port}"
    try:
        answer = httpx.get(f"{address}/ready", timeout=PATIENCE_S, headers={"Accept": "application/json"})
        health = httpx.get(f"{address}/health", timeout=PATIENCE_S)
    except httpx.HTTPError:
        yield Examined("service", "look", f"nothing answers at {address}: it is not running, or on another port")
        return
    if answer.status_code == 200:
        yield Examined("service", "fine", f"it answers at {address}")
    else:
        yield Examined("service", "broken", f"it answers at {address}, but is not ready: {_detail(answer)}")
    yield _keepers(health)


def _keepers(health: httpx.Response) -> Examined:
    """Say how what is done in the background is, as /health tells it."""
    try:
        looked = health.json()["keepers"]
        failed = [one["name"] for one in looked if one["failed"]]
        words = ", ".join(f"{one['name']} {_ago(one['looked_s'])}" for one in looked)
    except (ValueError, KeyError, TypeError):
        return Examined("background", "look", "what answers there does not say how it is: is it an older program?")
    if failed:
        return Examined("background", "look", f"the last look failed of {', '.join(failed)}: the log says why")
    if not looked:
        return Examined("background", "look", "the worker that leads has told nothing yet; ask again in a few seconds")
    return Examined("background", "fine", f"looked at: {words}")


def _ago(seconds: float | None) -> str:
    if seconds is None:
        return "not yet"
    return f"{seconds:.0f} s ago" if seconds < 120 else f"{seconds / 60:.0f} min ago"


def _detail(answer: httpx.Response) -> str:
    try:
        return str(answer.json()["detail"]).rstrip(".")
    except (ValueError, KeyError, TypeError):
        return f"status {answer.status_code}"


def _backups(settings: Settings, now: datetime.datetime) -> Examined:
    if settings.backups is None:
        return Examined("backups", "look", "the service makes none: set EAVEBOARD_BACKUPS to a folder on another disk")
    found = newest_of(settings.backups, now) if settings.backups.is_dir() else None
    if found is None:
        return Examined("backups", "look", f"there is none in {settings.backups} yet")
    hours = (now - found[1]).total_seconds() / 3600
    late = hours > 2 * settings.backup_hours
    words = (
        f"the newest, {found[0].name}, is {hours:.0f} hours old{': the log of the service says why' if late else ''}"
    )
    return Examined("backups", "broken" if late else "fine", words)


def _mail(settings: Settings) -> Examined:
    if settings.smtp is None:
        return Examined("mail", "fine", "messages are told by telephone or by hand: EAVEBOARD_SMTP is not set")
    try:
        socket.create_connection((settings.smtp.host, settings.smtp.port), PATIENCE_S).close()
    except OSError as fault:
        return Examined("mail", "broken", f"{settings.smtp} cannot be reached: {fault.strerror or fault}")
    return Examined("mail", "fine", f"{settings.smtp} can be reached")


def _letters() -> Examined:
    try:
        import weasyprint  # noqa: F401  (it looks for the system's libraries as it is loaded)
    except OSError as fault:
        return Examined("PDF files", "broken", f"a library is missing, install Pango: {str(fault).splitlines()[0]}")
    return Examined("PDF files", "fine", "what they need is there")


def _hours(seconds: float | None) -> str:
    return "not there, or" if seconds is None else f"{seconds / 3600:.0f} hours"


def worst(findings: list[Examined]) -> State:
    """Return the worst state that was found."""
    rank: Callable[[State], int] = ("fine", "look", "broken").index
    return max((one.state for one in findings), key=rank, default="fine")
