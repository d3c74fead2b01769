"""What parts of a run tell from wherever they are planned, and how they are told to stop.

Every process keeps what its own tasks have told, by the run's word; whoever waits for the run collects it, here and
from the workers of the cluster. Nothing is kept at the scheduler.
"""

from __future__ import annotations

import secrets
import threading
from collections.abc import Callable, Iterable
from typing import Any

from scheduler import Progress

_lock = threading.Lock()
_told: dict[str, dict[int, Progress]] = {}
_stopped: set[str] = set()

Everywhere = Callable[..., list[Any]]  # runs a function in every worker's process; empty where none can be reached


class RunLine:
    """The line of one run (`scheduler.PartsLine`); what travels with a task is its word alone."""

    def __init__(self, everywhere: Everywhere | None = None) -> None:
        self.word = secrets.token_hex(8)
        self._everywhere = everywhere

    def __getstate__(self) -> dict[str, Any]:
        return {"word": self.word, "_everywhere": None}

    def tell(self, part: int, progress: Progress) -> None:
        """Keep the last that a part has told, for whoever collects it."""
        with _lock:
            kept = _told.setdefault(self.word, {})
            before = kept.get(part)
            if progress.plan is None and before is not None and before.plan is not None:
                progress = Progress(progress.seconds, progress.cost, progress.bound, progress.phase, before.plan)
            kept[part] = progress

    def stopped(self) -> bool:
        """Say whether the run is to end, as far as this process has been told."""
        return self.word in _stopped

    def heard(self) -> Iterable[tuple[int, Progress]]:
        """Return what was told since this was asked before, here and elsewhere."""
        found = collected(self.word)
        for one in self._elsewhere(collected):
            found += one
        return found

    def stop(self) -> None:
        """Have all parts of the run end, here and elsewhere."""
        stopped(self.word)
        self._elsewhere(stopped)

    def close(self) -> None:
        """Forget the run, here and elsewhere."""
        forgotten(self.word)
        self._elsewhere(forgotten)

    def _elsewhere(self, function: Callable[[str], Any]) -> list[Any]:
        return self._everywhere(function, self.word) if self._everywhere is not None else []


def collected(word: str) -> list[tuple[int, Progress]]:
    """Return and forget what this process's tasks of a run have told."""
    with _lock:
        return list(_told.pop(word, {}).items())


def stopped(word: str) -> None:
    """Have this process's tasks of a run end."""
    with _lock:
        _stopped.add(word)


def forgotten(word: str) -> None:
    """Forget a run in this process."""
    with _lock:
        _stopped.discard(word)
        _told.pop(word, None)
