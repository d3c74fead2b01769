"""Long work behind the pages: in a process of its own, which tells how far it is, and may die without harm."""

from __future__ import annotations

import multiprocessing
import os
import threading
import time
from collections.abc import Callable
from multiprocessing.connection import Connection
from typing import Any

from sqlalchemy.exc import SQLAlchemyError

from scheduler.errors import BadInput

Tell = Callable[[int, int], None]  # what is done, of how much
_NICE = 10  # pages and planners are answered first


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
    end = time.monotonic() + most_s
    try:
        while time.monotonic() < end and not ended.is_set():
            if not here.poll(0.1):
                continue
            what, *told = here.recv()
            if what == "step":
                step(*told)
            elif what == "made":
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
    try:
        if multiprocessing.parent_process() is not None:
            os.nice(_NICE)
        line.send(("made", work(*given, lambda done, total: line.send(("step", done, total)))))
    except (BadInput, OSError) as fault:
        line.send(("fault", fault))
    except SQLAlchemyError as fault:
        line.send(("fault", BadInput("", str(fault).splitlines()[0])))
    finally:
        line.close()
