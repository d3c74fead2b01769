"""A planner's process as the service sees it: begun when first needed, handed runs, ended at once where it must be."""

from __future__ import annotations

import multiprocessing
from concurrent.futures import Future, ProcessPoolExecutor
from contextlib import suppress
from multiprocessing.connection import Connection
from typing import Any, Protocol

from api.week.run import process

START_S = 120.0  # for a new process to say that it is there: Python and its libraries, on a machine with other work


class Given(Protocol):
    """What a process is given of a run."""

    id: int
    week: str
    beside: dict[str, Any]
    seconds: float
    fixed: dict[str, Any]
    start: str


class Desk:
    """A planner's process with the service's end of the pipe to it; begun when first needed."""

    def __init__(self) -> None:
        self._pool: ProcessPoolExecutor | None = None
        self.line: Connection
        self.pid: int | None = None

    def hand_over(self, going: Given) -> Future[tuple[str, str]]:
        """Have the process begin with a run; returns what its answer comes in."""
        spare: Connection | None = None
        if self._pool is None:
            context = multiprocessing.get_context("spawn")
            self.line, spare = context.Pipe()
            self._pool = ProcessPoolExecutor(1, context, initializer=process.ready, initargs=(spare,))
        try:
            given = (going.id, going.week, going.beside, going.seconds, going.fixed, going.start)
            future = self._pool.submit(process.plan, *given)
        finally:
            if spare is not None:  # the process holds it now: its end is heard when the process ends
                spare.close()
        if spare is not None:
            if not self.line.poll(START_S):
                raise EOFError(f"the planner's process has not begun within {START_S:.0f} s")
            self.pid = self.line.recv()
        return future

    def kill(self) -> None:
        """End the process at once, even one that has been halted or has not said its number yet."""
        for child in [] if self._pool is None else list((self._pool._processes or {}).values()):
            with suppress(ProcessLookupError, ValueError, AttributeError):
                child.kill()

    def clear(self) -> None:
        """End the process, where there is one, whatever it is at; the next run begins another."""
        if self._pool is not None:
            self.kill()
            self._pool.shutdown(wait=True, cancel_futures=True)
            self.line.close()
            self._pool = self.pid = None
