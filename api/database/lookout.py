"""A look at the database every so often, in a thread of its own, while the service runs."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable

import sqlalchemy as sa

_log = logging.getLogger("eaveboard")


class Lookout:
    """Calls `look` every `every_s` seconds and whenever it is woken; one that fails is tried again at the next look.

    `failed` says in the log what could not be done.
    """

    def __init__(self, name: str, look: Callable[[], None], *, every_s: float, failed: str) -> None:
        self._look, self._every_s, self._failed = look, every_s, failed
        self._stop, self._woken = threading.Event(), threading.Event()
        self._thread = threading.Thread(target=self._run, name=name, daemon=True)

    def start(self) -> None:
        self._thread.start()

    def wake(self) -> None:
        """Have it look at once, without waiting for it."""
        self._woken.set()

    def close(self) -> None:
        """Stop; a request that is under way to a slow service is not waited for."""
        self._stop.set()
        self._woken.set()
        if self._thread.is_alive():
            self._thread.join(2)

    def closing(self) -> bool:
        """Whether it is to stop: for whoever is in the middle of a long look."""
        return self._stop.is_set()

    def _run(self) -> None:
        while not self._stop.is_set():
            try:
                self._look()
            except (sa.exc.SQLAlchemyError, OSError):
                _log.exception("%s; trying again in a while", self._failed)
            self._woken.wait(self._every_s)
            self._woken.clear()
