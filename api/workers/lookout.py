"""A look at the database every so often, in a thread of its own, for as long as this worker leads."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable

import msgspec
from sqlalchemy.exc import SQLAlchemyError

_log = logging.getLogger("eaveboard")


class Looked(msgspec.Struct, frozen=True):
    """How a keeper is: when it looked last (seconds since 1970, None: not yet), how often it does, and whether the last
    look failed."""

    name: str
    every_s: float
    looked_at: float | None
    failed: bool

    @property
    def ago_s(self) -> int | None:
        """Seconds since it looked last, None: not yet."""
        return None if self.looked_at is None else max(0, round(time.time() - self.looked_at))


class Lookout:
    """Calls `look` every `every_s` seconds and whenever it is woken; one that fails is tried again at the next look.

    `failed` says in the log what could not be done. at_once: look when started, not only after a while. once_more: look
    a last time when it is stopped. again_s: seconds until the next look after one that failed, None: as ever. wait_s:
    how long a look that is under way is waited for when it is stopped, None: until it is over.
    """

    def __init__(
        self, name: str, look: Callable[[], object], *, every_s: float, failed: str, at_once: bool = False,
        once_more: bool = False, again_s: float | None = None, wait_s: float | None = 2.0,
    ) -> None:  # fmt: skip
        self.name, self.every_s = name, every_s
        self._look, self._words, self._at_once, self._once_more = look, failed, at_once, once_more
        self._again_s, self._wait_s = every_s if again_s is None else again_s, wait_s
        self._stop, self._woken = threading.Event(), threading.Event()
        self._thread: threading.Thread | None = None
        self._rest_s = 0.0
        self._looked_at: float | None = None
        self._failed = False

    def start(self) -> None:
        """Begin to look, also after a stop."""
        self._stop = threading.Event()  # a look that was not waited for ends by the one before
        self._thread = threading.Thread(target=self._run, args=(self._stop,), name=self.name, daemon=True)
        self._thread.start()

    def wake(self) -> None:
        """Have it look at once, without waiting for it; nothing where it is stopped."""
        self._woken.set()

    def rest(self, seconds: float) -> None:
        """Have the next look come no sooner than in so many seconds; said by a look of itself."""
        self._rest_s = seconds

    def stop(self) -> None:
        """Look no more until it is started again."""
        self._stop.set()
        self._woken.set()
        if self._thread is not None:
            self._thread.join(self._wait_s)

    def stopping(self) -> bool:
        """Whether it is to stop: for whoever is in the middle of a long look."""
        return self._stop.is_set()

    def looked(self) -> Looked:
        """Return how it is."""
        return Looked(self.name, self.every_s, self._looked_at, self._failed)

    def _run(self, stop: threading.Event) -> None:
        self._woken.clear()
        if self._at_once:
            self._one()
        while not stop.is_set():
            pause = max(self._again_s if self._failed else self.every_s, self._rest_s)
            self._woken.wait(pause)
            self._woken.clear()
            if not stop.is_set():
                self._one()
        if self._once_more:
            self._one()

    def _one(self) -> None:
        self._rest_s = 0.0
        try:
            self._look()
            self._failed = False
        except (SQLAlchemyError, OSError) as fault:  # the database or the disk is away for a while
            self._failed = True
            _log.warning("%s; trying again in a while: %s", self._words, fault)
        except Exception:  # whatever it is: the next look must come all the same
            self._failed = True
            _log.exception("%s; trying again in a while", self._words)
        self._looked_at = time.time()
