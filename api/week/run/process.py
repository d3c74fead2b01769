"""The planner's own process: what runs there, and how it talks with the service.

The service sends ("stop", run) over the pipe. The process sends first its number, then ("progress", run, seconds, cost,
bound, phase, plan), the plan as its document where it is another than the last one sent. Where the service has gone,
the process ends.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
import time
from multiprocessing.connection import Connection
from typing import Any

from api.ledger.plans.documents import notes_from_data
from scheduler import Progress, tiny_week
from scheduler import fixed_from_data as from_data
from scheduler import plan_week as solve
from scheduler.documents import encode
from scheduler.errors import BadInput
from scheduler.plan import Plan, read_plan
from scheduler.week import read_week

_NICE = 5  # pages are answered first
_line: Connection | None = None


def ready(line: Connection) -> None:
    """Make this process ready to plan; `line` is its end of the pipe."""
    global _line
    _line = line
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the service, which then says stop
    os.nice(_NICE)
    line.send(os.getpid())
    threading.Thread(target=_end_with_the_service, name="parent", daemon=True).start()
    solve(tiny_week(), seconds=None, clock=time.monotonic)  # loads the engine: not in the time of the first run


def _end_with_the_service() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def plan(
    run: int, week: str, beside: dict[str, Any], seconds: float, fixed: dict[str, Any], start: str
) -> tuple[str, str]:
    """Plan a week document and return ("plan", its document), or ("refused", a sentence) where no plan can be.

    `beside` is what stands beside it (`api.ledger.plans.documents`); `fixed` is as `scheduler.fixed_as_data` gives it;
    `start` is the plan document to search from, or empty.
    """
    sent: Plan | None = None

    def report(progress: Progress) -> None:
        nonlocal sent
        document = ""
        if progress.plan is not None and progress.plan is not sent:
            sent = progress.plan
            document = encode(sent).decode()
        assert _line is not None
        _line.send(("progress", run, progress.seconds, progress.cost, progress.bound, progress.phase, document))

    try:
        made = solve(
            notes_from_data(beside).put(read_week(week)),
            seconds=seconds,
            clock=time.monotonic,
            report=report,
            stop=lambda: _stopped(run),
            fixed=from_data(fixed) if fixed else None,
            start=read_plan(start) if start else None,
        )
    except BadInput as fault:
        return "refused", str(fault)
    return "plan", encode(made).decode()


def _stopped(run: int) -> bool:
    """Say whether the service wants the run to stop; what it said of a run before this one is past."""
    assert _line is not None
    try:
        while _line.poll():
            if _line.recv() == ("stop", run):
                return True
    except (EOFError, OSError):
        return True
    return False
