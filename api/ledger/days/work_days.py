"""Days on which somebody of the business works: what "the next day" means to a job that takes several."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from sqlmodel import Session, select

from api import tables
from api.fields.rules import rules_from_data
from api.ledger.days.riders import NOON, Riding, roster_days

_LOOKED_AT = 60  # days: who has entered no hours for longer than that is taken to work on all


@dataclass(frozen=True)
class WorkDays:
    """What says when crews work: their hours by crew and weekday, who rides, and vans that cannot be driven.

    `week_days`: how many days of a week are planned, from Monday on.
    """

    crews: Sequence[tables.Crew]
    hours: Mapping[tuple[str, int], tables.CrewHours]
    riding: Riding
    vans_out: Sequence[tables.VanOut]
    week_days: int

    def span(self, crew: tables.Crew, date: datetime.date) -> tuple[int, int, int] | None:
        """Return when a crew begins and ends, in minutes after midnight, and how many minutes it may stay on.

        Its usual hours, without a half day on which no pair rides in its van; None where it does not work at all.
        """
        span = self.hours.get((crew.id, date.weekday()))
        out = self.riding.out_on(crew, date)
        is_away = any(van.van_id == crew.van_id and van.first <= date <= van.last for van in self.vans_out)
        if span is None or not out or is_away:
            return None
        start = span.start if 0 in out else max(span.start, NOON)
        end, overtime = (span.end, span.overtime) if 1 in out else (min(span.end, NOON), 0)
        return (start, end, overtime) if start < end else None

    def is_worked(self, date: datetime.date) -> bool:
        """Say whether a crew of the business works on a day that is planned at all."""
        planned = date.weekday() < self.week_days
        return planned and any(crew.active and self.span(crew, date) is not None for crew in self.crews)

    def next_after(self, date: datetime.date) -> datetime.date:
        """Return the first day after `date` on which a crew works; where none is near, the next of the calendar."""
        return self._nearest(date, 1)

    def last_before(self, date: datetime.date) -> datetime.date:
        """Return the last day before `date` on which a crew works; where none is near, that of the calendar."""
        return self._nearest(date, -1)

    def _nearest(self, date: datetime.date, step: int) -> datetime.date:
        days = (date + datetime.timedelta(days=step * n) for n in range(1, _LOOKED_AT))
        return next((day for day in days if self.is_worked(day)), date + datetime.timedelta(days=step))


def by_weekday(rows: Iterable[tables.CrewHours]) -> dict[tuple[str, int], tables.CrewHours]:
    """Return the hours of crews by crew and weekday."""
    return {(row.crew_id, row.weekday): row for row in rows}


def work_days(session: Session) -> WorkDays:
    """Return what says when crews work, of a business that is set up."""
    people = {person.id: person for person in session.exec(select(tables.Person))}
    riding = Riding(people, session.exec(select(tables.DayOff)).all(), roster_days(session))
    return WorkDays(
        crews=session.exec(select(tables.Crew)).all(),
        hours=by_weekday(session.exec(select(tables.CrewHours))),
        riding=riding,
        vans_out=session.exec(select(tables.VanOut)).all(),
        week_days=rules_from_data(session.get_one(tables.Business, 1).rules).week_days,
    )
