"""Planners that do what a test tells them, in place of processes that search."""

from __future__ import annotations

import functools
import threading
from concurrent.futures import Future
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import Pipe
from typing import Any

from scheduler import Put, by_hand
from scheduler.documents import encode
from scheduler.plan import Plan
from tests.two_crews import job, planned, week_of

SMALL = week_of(job("a"), job("b"))


@functools.cache  # planned by whoever asks first: not by everybody who reads this file
def best() -> Plan:
    return planned(SMALL)


@functools.cache
def worse() -> Plan:
    return by_hand(SMALL, best(), Put("b", "south", 1)).plan


class Script:
    """What a planner's process does with a run: tells of plans, waits for the word to stop or not, and ends."""

    def __init__(self, tells: list[bool], waits: bool, end: str) -> None:
        self.tells, self.waits, self.end = tells, waits, end


class ScriptedDesk:
    """A desk whose process is a thread that follows a script; `scripts` by run."""

    scripts: dict[int, Script]

    def __init__(self, cluster: str = "") -> None:
        self.line, self.far = Pipe()

    def hand_over(self, going: Any) -> Future[tuple[str, str]]:
        answer: Future[tuple[str, str]] = Future()
        threading.Thread(target=self._follow, args=(self.scripts[going.id], going, answer)).start()
        return answer

    def _follow(self, script: Script, going: Any, answer: Future[tuple[str, str]]) -> None:
        for n, better in enumerate(script.tells):
            plan = best() if better else worse()
            self.far.send(("progress", going.id, float(n), plan.cost.total, None, "at it", encode(plan).decode()))
        if script.end == "silent":
            return
        while script.waits and self.far.recv() != ("stop", going.id):
            pass
        if script.end == "plan":
            answer.set_result(("plan", encode(best()).decode()))
        elif script.end == "refused":
            answer.set_result(("refused", "fixed.a: cannot stay"))
        elif script.end == "dies":
            answer.set_exception(BrokenProcessPool("killed"))
        else:
            answer.set_exception(ZeroDivisionError("a defect"))

    def clear(self) -> None:
        self.line.close()
        self.far.close()
        self.line, self.far = Pipe()

    kill = clear
