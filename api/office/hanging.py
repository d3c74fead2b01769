"""What hangs on a row: which posted visits could not go if it were changed, asked before it is."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from contextlib import nullcontext
from dataclasses import dataclass

from sqlmodel import Session

from api.database import aside
from api.falls.falls import CannotGo, findings
from api.falls.today import Days, Today, open_weeks, today_in
from api.fields.shown import clock, day_name
from api.jobs.numbers import only_tries
from api.languages import gettext
from scheduler.errors import BadInput

Todays = dict[datetime.date, tuple[Today, list[CannotGo]]]


@dataclass(frozen=True)
class Hanging:
    """What a change does to the posted weeks: `lost` days and hours in words, visits that fall or stand `again`."""

    lost: tuple[str, ...] = ()
    fall: tuple[CannotGo, ...] = ()
    again: tuple[CannotGo, ...] = ()


def hanging(
    days: Days, now: datetime.datetime, change: Callable[[Session], None], *, takes_long: bool = False
) -> Hanging:  # fmt: skip
    """Return what `change` would do to the posted weeks that are not over; nothing of it is kept.

    `days` are the weeks as they stand, in whose database it is tried; what `takes_long` where it keeps nobody waiting.
    Raises what `change` raises.
    """
    before = as_they_stand(days, now)
    apart = aside(days.database) if takes_long else nullcontext(days.database)
    with apart as database, Session(database) as session:
        only_tries(session)
        change(session)
        session.flush()
        session.expire_all()
        after = _todays(session, now, lambda monday: today_in(session, monday, now)) if before else {}
        session.rollback()
    return _compared(before, after)


def as_they_stand(days: Days, now: datetime.datetime) -> Todays:
    """Return the posted weeks that are not over, with what falls of them.

    To be asked before anything is written: papers that are stale are made and stored by a session of its own.
    """
    with Session(days.database) as session:
        return _todays(session, now, lambda monday: days.of(monday, now))


def hanging_on(session: Session, before: Todays, now: datetime.datetime) -> Hanging:
    """Return what the changes do that a session has made and that are not kept yet; `before`: as of `as_they_stand`."""
    if not before:
        return Hanging()
    session.flush()
    session.expire_all()
    return _compared(before, _todays(session, now, lambda monday: today_in(session, monday, now)))


def _compared(before: Todays, after: Todays) -> Hanging:
    lost: list[str] = []
    fall: list[CannotGo] = []
    again: list[CannotGo] = []
    for monday, (was, fell) in before.items():
        if monday not in after:  # as they are then, they cannot be planned: that is told where they are
            continue
        will, falls = after[monday]
        lost += _lost(was, will)
        fall += [one for one in falls if one.visit_id not in {f.visit_id for f in fell}]
        again += [one for one in fell if one.visit_id not in {f.visit_id for f in falls}]
    return Hanging(tuple(lost), tuple(fall), tuple(again))


def _todays(session: Session, now: datetime.datetime, today_of: Callable[[datetime.date], Today | None]) -> Todays:
    found: Todays = {}
    for monday in open_weeks(session, now):
        try:
            today = today_of(monday)
        except BadInput:  # rows that contradict each other cannot be planned, and are told where they are planned
            continue
        if today is not None:
            found[monday] = today, findings(today)
    return found


def _lost(was: Today, will: Today) -> list[str]:
    """Return in words which crews lose days or hours by a change."""
    words = []
    after = {crew.id: {shift.day: shift for shift in crew.shifts} for crew in will.built.week.crews}
    for crew in was.built.week.crews:
        for shift in crew.shifts:
            left, date = after.get(crew.id, {}).get(shift.day), was.posted.date(shift.day)
            name = was.crew_name(crew.id)
            if left is None:
                words.append(gettext("The crew {crew} loses {day}").format(crew=name, day=day_name(date)))
            elif (left.start, left.end) != (shift.start, shift.end) and (
                left.start > shift.start or left.end < shift.end
            ):
                said = gettext("The crew {crew} works {start}–{end} only on {day}")
                hours = {"start": clock(left.start), "end": clock(left.end)}
                words.append(said.format(crew=name, day=day_name(date), **hours))
    return words
