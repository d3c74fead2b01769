"""The planner's own process: what runs there, and how it talks with the service.

The service sends ("stop", run) over the pipe. The process sends first its number, then ("progress", run, seconds, cost,
bound, phase, plan), the plan as its document where it is another than the last one sent, and ("note", run, words) where
a cluster could not do its share or late arrivals were weighed. Where the service has gone, the process ends.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
import time
from multiprocessing.connection import Connection
from typing import Any

from api.cluster import ClusterDoor
from api.ledger.plans.documents import TimeSpread, notes_from_data
from api.week.run.weighed import weighed
from api.workers.giving_way import give_way
from scheduler import Elsewhere, Progress, plan_by_yard, tiny_week
from scheduler import fixed_from_data as from_data
from scheduler import plan_week as solve
from scheduler.documents import encode
from scheduler.errors import BadInput
from scheduler.plan import Plan, read_plan
from scheduler.reports.odds import Doubts
from scheduler.reports.recourse import Recourse
from scheduler.week import Week, read_week

_NICE = 5  # pages are answered first
_line: Connection | None = None
_door: ClusterDoor | None = None  # to a cluster


def ready(line: Connection, cluster: str) -> None:
    """Make this process ready to plan; `line` is its end of the pipe, `cluster` the address of one, or empty."""
    global _line, _door
    _line = line
    _door = ClusterDoor(cluster) if cluster else None
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the service, which then says stop
    give_way(_NICE)
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
    cheapest: Plan | None = None
    phase = ""

    def report(progress: Progress) -> None:
        nonlocal sent, cheapest, phase
        phase = progress.phase
        document = ""
        if progress.plan is not None and progress.plan is not sent:
            sent = progress.plan
            if cheapest is None or sent.cost.total < cheapest.cost.total:
                cheapest = sent
            document = encode(sent).decode()
        assert _line is not None
        _line.send(("progress", run, progress.seconds, progress.cost, progress.bound, progress.phase, document))

    notes = notes_from_data(beside)
    whole = notes.put(read_week(week))
    recourse = None if notes.spread is None else _recourse(whole, notes.spread)
    try:
        made = _planned(
            whole,
            run,
            recourse=recourse,
            seconds=seconds,
            clock=time.monotonic,
            report=report,
            stop=lambda: _stopped(run),
            fixed=from_data(fixed) if fixed else None,
            start=read_plan(start) if start else None,
        )
    except BadInput as fault:
        return "refused", str(fault)
    if recourse is not None and cheapest is not None and made.cost.total > cheapest.cost.total:
        assert _line is not None
        saved = sum(map(recourse, cheapest.routes)) - sum(map(recourse, made.routes))
        _line.send(("note", run, weighed(made.cost.total - cheapest.cost.total, round(saved))))
    # What was found at the very end, or all there is of a search that ended before it was asked, is progress too.
    report(Progress(made.seconds, made.cost.total, made.bound, phase, made))
    return "plan", encode(made).decode()


def _recourse(week: Week, spread: TimeSpread) -> Recourse:
    doubts = Doubts(spread.median_min, spread.p80_factor, spread.drive_p80_factor, {}, {})
    return Recourse(week, doubts, spread.late_cents, spread.pace)


def _planned(week: Week, run: int, **how: Any) -> Plan:
    """Return the plan of a week, made by a cluster where there is one."""
    if _door is None:
        return solve(week, **how)
    assert _line is not None
    _door.begin()
    line = _door.line()
    try:
        return plan_by_yard(week, elsewhere=Elsewhere(_door, _door.at_once), line=line, **how)
    finally:
        line.close()
        if _door.note:
            _line.send(("note", run, _door.note))


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
