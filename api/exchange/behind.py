"""Long work behind the pages: in a process of its own, which tells how far it is, and may die without harm."""

from __future__ import annotations

import datetime
import multiprocessing
import os
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any, TypeVar

import msgspec
from sqlalchemy.exc import SQLAlchemyError

from api.database.opening import make_private
from api.workers.giving_way import give_way
from scheduler.errors import BadInput

Tell = Callable[[int, int], None]  # what is done, of how much
_NICE = 10  # pages and planners are answered first


WRITE_S = 0.2  # between two writes of how far a piece of work is
P = TypeVar("P", bound="Piece")


class Piece(msgspec.Struct):
    """A piece of work in the data folder, where every worker can say how far it is: `done` of `total`."""

    id: str
    by: str
    begun_at: datetime.datetime
    folder: str
    done: int = 0
    total: int = 0

    def keep(self) -> None:
        """Write down how it stands."""
        path = Path(self.folder) / f"{self.id}.json"
        part = path.with_suffix(".part")
        make_private(part)
        part.write_bytes(msgspec.json.encode(self))
        os.replace(part, path)

    def step(self, done: int, total: int) -> None:
        """Take in how far it is."""
        self.done, self.total = done, total
        self.keep()


def kept(folder: Path, kind: type[P]) -> list[P]:
    """Return the pieces of work that lie in a folder."""
    found = []
    for path in folder.glob("*.json"):
        try:
            found.append(msgspec.json.decode(path.read_bytes(), type=kind))
        except (OSError, msgspec.DecodeError):  # forgotten at this moment
            continue
    return found


def forget(folder: Path) -> None:
    """Delete what lies in a folder of pieces of work."""
    for path in folder.glob("*"):
        path.unlink(missing_ok=True)


class BrokenOff(Exception):
    """Work that was killed, was told to end, or took too long."""


def behind(
    work: Callable[..., Any], *given: Any, step: Tell, ended: threading.Event, own_process: bool, most_s: float
) -> Any:
    """Return what `work`, a function of a module, gives for `given` and for what it tells by how far it is.

    step: is told that. ended: once it is set, the work is given up. own_process False: in a thread, for a service that
    is to begin no processes. Raises what the work raises of `BadInput` and `OSError`, and `BrokenOff`.
    """
    here, there = multiprocessing.Pipe(duplex=False)
    worker: Any
    if own_process:
        worker = multiprocessing.get_context("spawn").Process(target=_do, args=(there, work, given), daemon=True)
    else:
        worker = threading.Thread(target=_do, args=(there, work, given), daemon=True)
    worker.start()
    if own_process:
        there.close()  # the other process holds it: where that dies, reading ends
    end, told_at, newest = time.monotonic() + most_s, 0.0, list[int]()
    try:
        while time.monotonic() < end and not ended.is_set():
            if not here.poll(0.1):
                continue
            what, *told = here.recv()
            if what == "step":
                newest = told
                if time.monotonic() - told_at >= WRITE_S:
                    step(*told)
                    told_at = time.monotonic()
            elif what == "made":
                if newest:
                    step(*newest)
                return told[0]
            else:
                raise told[0]
    except EOFError:
        pass
    finally:
        if own_process:
            worker.kill()
        worker.join(5)
        here.close()
    raise BrokenOff


def _do(line: Connection, work: Callable[..., Any], given: tuple[Any, ...]) -> None:
    """Do the work and tell of it: ("step", done, total), and at last ("made", what) or ("fault", what)."""
    with line, suppress(BrokenPipeError):  # of the line: whoever asked has given the work up
        try:
            if multiprocessing.parent_process() is not None:
                give_way(_NICE)
            line.send(("made", work(*given, lambda done, total: line.send(("step", done, total)))))
        except (BadInput, OSError) as fault:
            line.send(("fault", fault))
        except SQLAlchemyError as fault:
            line.send(("fault", BadInput("", str(fault).splitlines()[0])))
