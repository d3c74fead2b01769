"""The service's settings, read once at start from EAVEBOARD_* environment variables, loudly.

Each setting has one row in `SETTINGS`; the manual lists the same rows. A variable that begins with EAVEBOARD_ and is
none of them is refused: a misspelt setting must not be silently without effect.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError

from scheduler.errors import BadInput

PREFIX = "EAVEBOARD_"

# name: (default, meaning)
SETTINGS = {
    "EAVEBOARD_DATA": ("./var", "folder for the database file, drawings and photos; made at start where missing"),
    "EAVEBOARD_PORT": ("8410", "port of the local pages; they answer on 127.0.0.1 only"),
    "EAVEBOARD_DATABASE": (
        "",
        "database address, such as postgresql+psycopg://user@host/eaveboard; empty: SQLite in the data folder",
    ),
}


@dataclass(frozen=True)
class Settings:
    """What the service was started with; `database` is a database address as SQLAlchemy reads it."""

    data: Path
    database: str
    port: int


def read_settings(environment: Mapping[str, str]) -> Settings:
    """Return the settings held in `environment` (as `os.environ`), defaults for what is not set.

    Raises `BadInput` naming the first variable that is unknown or cannot be used.
    """
    for name in sorted(environment):
        if name.startswith(PREFIX) and name not in SETTINGS:
            raise BadInput(name, f"is no setting; the settings are {', '.join(SETTINGS)}")
    values = {name: environment.get(name, "").strip() or default for name, (default, _) in SETTINGS.items()}
    data = Path(values["EAVEBOARD_DATA"]).expanduser().absolute()
    if data.exists() and not data.is_dir():
        raise BadInput("EAVEBOARD_DATA", f"must be a folder, {data} is a file")
    database = _database(values["EAVEBOARD_DATABASE"]) or sqlite_address(data)
    return Settings(data=data, database=database, port=_port(values["EAVEBOARD_PORT"]))


def sqlite_address(folder: Path) -> str:
    """Return the address of the SQLite database that lies in `folder`."""
    return f"sqlite:///{folder / 'eaveboard.sqlite'}"


def _port(text: str) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= 65535:
        raise BadInput("EAVEBOARD_PORT", f'must be a port from 1 to 65535, is "{text}"')
    return int(text)


def _database(address: str) -> str:
    if not address:
        return ""
    try:
        url = make_url(address)
    except ArgumentError:
        problem = "is no database address; write sqlite:///FILE or postgresql+psycopg://user@host/name"
        raise BadInput("EAVEBOARD_DATABASE", problem) from None
    if url.drivername == "postgresql":
        url = url.set(drivername="postgresql+psycopg")
    if url.drivername not in ("sqlite", "postgresql+psycopg"):
        problem = f'must begin with sqlite:/// or postgresql+psycopg://, begins with "{url.drivername}"'
        raise BadInput("EAVEBOARD_DATABASE", problem)
    return url.render_as_string(hide_password=False)
