"""Heavy work in a process of its own: while a large table is read or a paper is printed, pages are answered as ever.

A thread that reckons keeps the others of its process waiting, however few they are; one that waits for another process
does not. On the command line, and where the settings want no such process, the work is done where it is asked for.
"""

from __future__ import annotations

import logging
import multiprocessing
import os
import signal
import threading
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import suppress
from typing import ParamSpec, TypeVar

from api.workers.giving_way import give_way

Given = ParamSpec("Given")
Made = TypeVar("Made")
PATIENCE_S = 300.0  # for one piece of work, waiting for its turn included: then its process is ended
_NICE = 10  # pages and planners are answered first
_log = logging.getLogger("eaveboard")


class Outside:
    """The process, begun at the first work; one that dies or hangs is ended, and the next work begins another."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._pool: ProcessPoolExecutor | None = None

    def do(self, work: Callable[Given, Made], *given: Given.args, **named: Given.kwargs) -> Made:
        """Return what `work`, a function of a module, gives; what it raises is raised here.

        Raises `BrokenProcessPool` where its process died, `TimeoutError` where it took longer than `PATIENCE_S`.
        """
        with self._lock:
            if self._pool is None:
                context = multiprocessing.get_context("spawn")
                self._pool = ProcessPoolExecutor(1, context, initializer=_begin)
            pool = self._pool
        try:
            return pool.submit(work, *given, **named).result(PATIENCE_S)
        except (BrokenProcessPool, TimeoutError):
            _log.error("%s was not done: its process died or took too long", getattr(work, "__name__", work))
            self._end(pool)
            raise

    def close(self) -> None:
        """End the process, where there is one, with what it is at."""
        if self._pool is not None:
            self._end(self._pool)

    def _end(self, pool: ProcessPoolExecutor) -> None:
        with self._lock:
            if self._pool is pool:
                self._pool = None
        for process in list((getattr(pool, "_processes", None) or {}).values()):
            with suppress(OSError, ValueError):
                process.kill()
        pool.shutdown(wait=True, cancel_futures=True)


_open: Outside | None = None


def open_outside() -> Outside:
    """Have `outside` work in a process of its own from now on; whoever calls this closes what is returned."""
    global _open
    _open = Outside()
    return _open


def close_outside(opened: Outside) -> None:
    """End a process that `open_outside` gave; `outside` works where it is asked again."""
    global _open
    if _open is opened:
        _open = None
    opened.close()


def outside(work: Callable[Given, Made], *given: Given.args, **named: Given.kwargs) -> Made:
    """Return what `work` gives, done in the process of its own where one was opened, else here."""
    return work(*given, **named) if _open is None else _open.do(work, *given, **named)


def _begin() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the service's business
    give_way(_NICE)
    threading.Thread(target=_end_with_the_service, name="parent", daemon=True).start()


def _end_with_the_service() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
