"""How far searches are, those of this worker and, as far as they tell of them, those of the others."""

from __future__ import annotations

import math
import threading
import time
from dataclasses import dataclass, replace

import msgspec

from api.workers.signals import Signals

SILENT_S = 90.0  # after which a search that another worker tells nothing of is over
TOLD = "search"  # what is told of


@dataclass(frozen=True)
class SearchProgress:
    """How far the search for one visit is; `phase` empty: nothing is being searched. `fault` says why it ended.

    `heard` is when another worker last told of its search, endless for one of this worker.
    """

    phase: str = ""
    begun: float = 0.0
    moving: bool = False
    fault: str = ""
    heard: float = math.inf


class SearchesUnderWay:
    """The newest search for each visit of a case. signals: None where no other worker can be."""

    def __init__(self, signals: Signals | None) -> None:
        self._lock, self._signals = threading.Lock(), signals
        self._newest: dict[tuple[int, str], SearchProgress] = {}
        if signals is not None:
            signals.on(TOLD, self._hear)

    def of(self, case_id: int, visit_id: str) -> SearchProgress:
        """Return how far the search for a visit is; one whose worker is no more has ended."""
        with self._lock:
            found = self._newest.get((case_id, visit_id), SearchProgress())
        return replace(found, phase="") if found.heard + SILENT_S < time.monotonic() else found

    def begin(self, case_id: int, visit_id: str, *, moving: bool) -> bool:
        """Note a search that is to begin; say whether it is: not where one that looks as far is under way."""
        known = self.of(case_id, visit_id)
        if known.phase and (known.moving or not moving):
            return False
        self._keep(case_id, visit_id, SearchProgress("waiting for its turn", time.monotonic(), moving))
        return True

    def say(self, case_id: int, visit_id: str, phase: str, fault: str) -> None:
        """Note how far a search of this worker is."""
        with self._lock:
            known = self._newest.get((case_id, visit_id), SearchProgress(begun=time.monotonic()))
        self._keep(case_id, visit_id, replace(known, phase=phase, fault=fault, heard=math.inf))

    def _keep(self, case_id: int, visit_id: str, now: SearchProgress) -> None:
        with self._lock:
            self._newest[case_id, visit_id] = now
        if self._signals is not None:
            told = case_id, visit_id, now.phase, time.monotonic() - now.begun, now.moving, now.fault
            self._signals.tell(TOLD, msgspec.json.encode(told).decode())

    def _hear(self, words: str) -> None:
        if words:
            case_id, visit_id, phase, took_s, moving, fault = msgspec.json.decode(words)
            now = time.monotonic()
            with self._lock:
                self._newest[case_id, visit_id] = SearchProgress(phase, now - took_s, moving, fault, now)
