"""The data that the settings name, as a command finds them: there already, and a service may be at work on them."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from scheduler.errors import BadInput

if TYPE_CHECKING:
    from sqlalchemy import Engine

    from api.settings import Settings


def settings_in_use() -> Settings:
    """Return the settings; raises `BadInput` where they name a SQLite database that is not there."""
    from api.settings import read_settings

    settings = read_settings(os.environ)
    file = settings.database.removeprefix("sqlite:///")
    if file != settings.database and not Path(file).is_file():
        problem = f"there is no database in {settings.data}: name the folder of the service, or make one"
        raise BadInput("EAVEBOARD_DATA", problem)
    return settings


@contextmanager
def database_in_use() -> Iterator[tuple[Engine, Settings]]:
    """Give the database that the settings name, in this program's form, and the settings.

    Raises `BadInput` where there is none, or where it is in an older form and served: by an older program then.
    """
    from api.opened import opened_beside

    settings = settings_in_use()
    with opened_beside(settings.data, settings.database) as database:
        yield database, settings
