"""Sealing while the service runs: rows are in the chain within a second or two of being written."""

from __future__ import annotations

import datetime
import logging
from collections.abc import Callable

import sqlalchemy as sa

from api import tables
from api.chain.links import AT_ONCE, Broken, broken, seal
from api.database import transaction
from api.workers.lookout import Lookout

LOOK_S = 1.0  # between two looks whether something was written
NEWEST = 2000  # links looked at when the service starts
_log = logging.getLogger("eaveboard")


class ChainKeeper:
    """Seals what is written to a database while it runs, what is left when it ends as well.

    `found` is what was wrong with the newest links when they were checked.
    """

    def __init__(self, database: sa.Engine, clock: Callable[[], datetime.datetime]) -> None:
        self._database, self._clock = database, clock
        self._seen: int | None = None
        self._whole = True  # until it has looked through all once
        self.found: list[Broken] = []
        self.lookout = Lookout(
            "chain", self.look, every_s=LOOK_S, failed="rows could not be sealed", at_once=True, once_more=True,
            wait_s=None,
        )  # fmt: skip

    def check(self) -> None:
        """Look through the newest links."""
        with transaction(self._database) as session:
            self.found = list(broken(session, newest=NEWEST))
        for one in self.found:
            _log.error("the chain is broken: %s; see eaveboard doctor", one.words)

    def look(self) -> None:
        """Seal what has been written since the last look; every change leaves a line in the history."""
        with transaction(self._database) as session:
            now = session.execute(sa.select(sa.func.max(tables.History.id))).scalar()
        if now != self._seen or self._whole or self.lookout.stopping():
            while True:
                with transaction(self._database) as session:
                    if seal(session, self._clock(), whole=self._whole) < AT_ONCE:  # then no table has more
                        break
            self._seen, self._whole = now, False
