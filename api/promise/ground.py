"""The weeks ahead as they stand at this moment, kept in memory while nothing changes."""

from __future__ import annotations

import datetime
import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass

import sqlalchemy as sa
from sqlmodel import Session

from api.clock import local_day
from api.database import transaction
from api.ledger.kept import on_record
from api.week.horizon.document import Horizon, horizon_of
from api.week.horizon.keeping import newest
from api.week.horizon.standing import standing
from api.week.run.planning import planned
from scheduler import offer
from scheduler.errors import BadInput
from scheduler.plan import Plan


@dataclass(frozen=True)
class Ground:
    """What times are found on: the weeks ahead of today's rows, and the plan that counts as far as it still stands.

    `made_from` is the number of that plan, None where none has been made: then only promises stand in `plan`.
    """

    horizon: Horizon
    plan: Plan
    made_from: int | None


class Sales:
    """Gives the ground of the moment."""

    def __init__(self, database: sa.Engine) -> None:
        self.database = database
        self._making = threading.Lock()
        self._kept: tuple[object, Ground] | None = None
        self._warming: threading.Thread | None = None

    def warm(self, clock: Callable[[], datetime.datetime]) -> None:
        """Have the engine and the ground ready for the first customer who asks, where the weeks ahead are planned."""

        def make() -> None:
            with suppress(BadInput, sa.exc.SQLAlchemyError):  # said to whoever asks for times
                with transaction(self.database) as session:
                    planned_ahead = newest(session) is not None
                if planned_ahead:
                    made = self.ground(clock())
                    for job in made.horizon.week.jobs[:1]:
                        offer(made.horizon.week, made.plan, job.id, best=1)

        # No daemon: a thread that is cut off inside compiled code can take the whole process down with it.
        self._warming = threading.Thread(target=make, name="times")
        self._warming.start()

    def close(self) -> None:
        """Wait until nothing is made ready any more."""
        if self._warming is not None:
            self._warming.join()

    def ground(self, now: datetime.datetime) -> Ground:
        """Return the weeks ahead as they stand at `now`; every change of the rows leaves a line in the history."""
        with self._making, transaction(self.database) as session:
            key = (on_record(session), local_day(session, now))
            if self._kept is not None and self._kept[0] == key:
                return self._kept[1]
            made = _made(session, now)
            self._kept = (key, made)
            return made


def _made(session: Session, now: datetime.datetime) -> Ground:
    horizon, before = horizon_of(session, now), newest(session)
    if before is None:
        return Ground(horizon, standing(horizon.week, planned(horizon.week, ()), 0), None)
    later = (horizon.start_date - before.start_date).days
    return Ground(horizon, standing(horizon.week, before.plan, later), before.id)
