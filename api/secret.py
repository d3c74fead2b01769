"""What forms, day links and calendar addresses are signed with: the secret now, and those of before for a set time.

The file `secret` in the data folder holds the secret in its first line; each further line is one of before, with the
moment until which what it has signed is still good.
"""

from __future__ import annotations

import datetime
import os
import tempfile
from collections.abc import Callable
from pathlib import Path

from api.settings import Settings
from scheduler.errors import BadInput

NAME, LEAST = "secret", 32


class Secret(str):
    """The secret by which is signed; `before` are those that were it, each with the moment until which it is taken."""

    before: tuple[tuple[str, datetime.datetime], ...] = ()


def accepted(secret: str, now: datetime.datetime) -> list[str]:
    """Return the secrets whose signatures are good at `now`, that by which is signed last, as signers take them."""
    before = secret.before if isinstance(secret, Secret) else ()
    return [*(old for old, until in before if until > now), str(secret)]


def read_secret(settings: Settings, make: Callable[[], str]) -> Secret:
    """Return the secret of the settings, or that of the data folder; `make` gives it where there is none yet.

    The file is readable by its owner alone. Raises `BadInput` where it has been cut short.
    """
    if settings.secret:
        return Secret(settings.secret)
    path = settings.data / NAME
    try:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        return _read(path)
    except OSError as fault:
        raise BadInput(str(path), f"cannot be made: {fault.strerror}") from None
    with os.fdopen(handle, "w", encoding="utf-8") as file:
        file.write(made := make())
    return Secret(made)


def change_secret(settings: Settings, made: str, until: datetime.datetime, now: datetime.datetime) -> int:
    """Put `made` in the place of the secret of the data folder; return how many of before are taken until then.

    A service takes it up at its next start. until: the moment until which what the one until now has signed is good.
    Raises `BadInput` where the secret is a setting, or there is none yet.
    """
    if settings.secret:
        raise BadInput("EAVEBOARD_SECRET", "is the secret: change it where it is set; all links by it then end at once")
    path = settings.data / NAME
    if not path.is_file():
        raise BadInput(str(path), "is not there: start the service once, or name its folder with EAVEBOARD_DATA")
    old = _read(path)
    kept = [(one, moment) for one, moment in ((str(old), until), *old.before) if moment > now]
    text = "\n".join([made, *(f"{one} {moment.isoformat()}" for one, moment in kept)]) + "\n"
    try:
        handle, part = tempfile.mkstemp(dir=path.parent, prefix=".secret-")  # 0600
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        os.replace(part, path)
    except OSError as fault:
        raise BadInput(str(path), f"cannot be written: {fault.strerror}") from None
    return len(kept)


def _read(path: Path) -> Secret:
    try:
        first, *rest = path.read_text(encoding="utf-8", errors="replace").strip().splitlines() or [""]
    except OSError as fault:
        raise BadInput(str(path), f"cannot be read: {fault.strerror}") from None
    if len(first) < LEAST:
        raise BadInput(str(path), f"holds no secret of {LEAST} characters or more; delete it to have one made")
    secret = Secret(first)
    try:
        pairs = [line.split(" ") for line in rest if line]
        secret.before = tuple((old, datetime.datetime.fromisoformat(moment)) for old, moment in pairs)
    except ValueError:
        raise BadInput(
            str(path), "holds a line that is no secret of before with its moment; delete that line"
        ) from None
    return secret
