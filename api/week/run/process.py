"""The planner's own process: what runs there, and how it talks with the service.

The service sends ("stop", run) over the pipe. The process sends first its number, then ("progress", run, seconds, cost,
bound, phase, plan), the plan as its document where it is another than the last one sent, and ("note", run, words) where
a cluster could not do its share or late arrivals were to be weighed. Where the service has gone, the process ends.
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
from api.week.run.weighed import no_time, none_better, two_crews_meet, weighed, yards_apart
from api.workers.giving_way import give_way
from scheduler import Elsewhere, Fixed, Progress, parts_of, plan_by_yard, tiny_week
from scheduler import fixed_from_data as from_data
from scheduler import plan_week as solve
from scheduler.documents import encode
from scheduler.errors import BadInput
from scheduler.plan import Plan, Route, read_plan
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
    late = None if notes.spread is None else _Late(whole, notes.spread)
    kept = from_data(fixed) if fixed else None
    try:
        made = _planned(
            whole,
            run,
            recourse=late,
            seconds=seconds,
            clock=time.monotonic,
            report=report,
            stop=lambda: _stopped(run),
            fixed=kept,
            start=read_plan(start) if start else None,
        )
    except BadInput as fault:
        return "refused", str(fault)
    if late is not None:
        assert _line is not None
        _line.send(("note", run, late.told(whole, kept, cheapest, made)))
    # What was found at the very end, or all there is of a search that ended before it was asked, is progress too.
    report(Progress(made.seconds, made.cost.total, made.bound, phase, made))
    return "plan", encode(made).decode()


class _Late:
    """What is to be expected of a route beyond its plan, and whether anyone asked."""

    def __init__(self, week: Week, spread: TimeSpread) -> None:
        doubts = Doubts(spread.median_min, spread.p80_factor, spread.drive_p80_factor, {}, {})
        self.recourse = Recourse(week, doubts, spread.late_cents, spread.pace)
        self.asked = False

    def __call__(self, route: Route) -> float:
        self.asked = True
        return self.recourse(route)

    def told(self, week: Week, fixed: Fixed | None, cheapest: Plan | None, made: Plan) -> str:
        """Return in a sentence how the plan weighs late arrivals, or why it does not."""
        if self.asked and cheapest is not None and made.cost.total > cheapest.cost.total:
            saved = sum(map(self.recourse, cheapest.routes)) - sum(map(self.recourse, made.routes))
            return weighed(made.cost.total - cheapest.cost.total, round(saved))
        if self.asked or not made.routes:
            return none_better()
        if any(job.assist is not None for job in week.jobs):
            return two_crews_meet()
        return yards_apart() if _door is not None and len(parts_of(week, fixed)) > 1 else no_time()


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
