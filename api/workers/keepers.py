"""What is done in the background, without anybody asking: in one place, and by the worker that leads alone.

The leader is the one that holds a lock of the database's server; where that one ends, another takes it. For a moment
there may be two, where the server has lost a connection: every look stands that.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Sequence

import msgspec
from sqlalchemy.exc import SQLAlchemyError

from api.database import Duty, Hold
from api.workers.lookout import Looked, Lookout
from api.workers.signals import Signals

KEEP_S = 2.0  # between two looks whether the locks are held, and whether somebody must lead
TELL = "keepers"
_log = logging.getLogger("eaveboard")


class Keepers:
    """Starts, stops and reports the lookouts of a worker. taking_lead: called first whenever it begins to lead."""

    def __init__(
        self, lookouts: Sequence[Lookout], held: Hold, signals: Signals, taking_lead: Callable[[], None]
    ) -> None:
        self._lookouts, self._held, self._signals, self._taking_lead = lookouts, held, signals, taking_lead
        self._told: list[Looked] = []
        self._lock, self._closed = threading.Lock(), False
        self.leads = False
        signals.on(TELL, self._hear)

    def keep(self) -> None:
        """Hold the locks, and lead where nobody else does; called every `KEEP_S`. Faults of the server are logged."""
        with self._lock:
            if not self._closed:
                self._keep()

    def _keep(self) -> None:
        leads = False
        try:
            if not self._held.keep():
                _log.warning("the locks of this worker were lost, and are taken up again")
            leads = self._held.holds(Duty.LEAD) or self._held.take(Duty.LEAD)
            if leads and not self.leads:
                self._taking_lead()
        except SQLAlchemyError as fault:
            _log.warning("whether this worker leads cannot be asked: %s", fault)
            leads = False
        if leads and not self.leads:
            for one in self._lookouts:
                one.start()
        elif self.leads and not leads:
            _log.warning("this worker leads no more")
            self._stop()
        self.leads = leads
        if leads:
            self._signals.tell(TELL, msgspec.json.encode(self.looked()).decode())

    def looked(self) -> list[Looked]:
        """Return how the keepers are, here or as the leader last told."""
        return [one.looked() for one in self._lookouts] if self.leads else self._told

    def close(self) -> None:
        """Stop all, and let another worker lead."""
        with self._lock:
            self._closed = True
            if self.leads:
                self._stop()
            self.leads = False
            self._held.drop(Duty.LEAD)

    def _stop(self) -> None:
        for one in reversed(self._lookouts):
            one.stop()

    def _hear(self, words: str) -> None:
        if words:
            self._told = msgspec.json.decode(words, type=list[Looked])
