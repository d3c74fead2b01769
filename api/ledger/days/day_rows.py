"""Days in a row: visits of one job that follow each other by one day, at one site, each going on with the same work.

"By one day" is by one day on which somebody works (`api.ledger.days.work_days`): from Friday to Monday, where nobody
works at the weekend. The order itself (`VisitFollows`) says one day at least and at most, as it always did: what these
days are is said where a week is built (`api.week.following`).
"""

from __future__ import annotations

from collections.abc import Sequence

from sqlmodel import Session, col, select

from api import tables


def goes_on_as(visit: tables.Visit) -> tuple[str, str]:
    """Return what a visit that goes on with another counts as, and its kind of work.

    An install that has begun has no crate any more, and what is left of it is a repair.
    """
    return ("repair", "repair") if visit.kind == "install" else (visit.kind, visit.work_id)


def is_one_row(follow: tables.VisitFollows, first: tables.Visit, then: tables.Visit) -> bool:
    """Say whether an order of two visits is that of two days of one job: `then` goes on with the work of `first`."""
    by_a_day = follow.min_days == 1 and follow.max_days == 1
    goes_on = then.site_id == first.site_id and then.work_id == goes_on_as(first)[1]
    return by_a_day and goes_on and then.state != "cancelled"


def next_day(session: Session, visit: tables.Visit) -> tables.Visit | None:
    """Return the visit that goes on with the work of `visit` the next day, None where none does."""
    row, then = tables.VisitFollows, tables.Visit
    wanted = select(row, then).join(then, col(row.then_id) == col(then.id)).where(row.first_id == visit.id)
    found = session.exec(wanted.order_by(col(then.id)))
    return next((one for follow, one in found if is_one_row(follow, visit, one)), None)


def day_before(session: Session, visit: tables.Visit) -> tables.Visit | None:
    """Return the visit whose work `visit` goes on with the next day, None where it goes on with none."""
    row, first = tables.VisitFollows, tables.Visit
    wanted = select(first).join(row, col(row.first_id) == col(first.id)).where(row.then_id == visit.id)
    for one in session.exec(wanted.order_by(col(first.id))):
        following = next_day(session, one)
        if following is not None and following.id == visit.id:
            return one
    return None


def days_of(session: Session, visit: tables.Visit) -> Sequence[tables.Visit]:
    """Return the days of the row that `visit` is of, in order; of a job of one day that alone."""
    found = [visit]
    while (before := day_before(session, found[0])) is not None and before not in found:
        found.insert(0, before)
    while (after := next_day(session, found[-1])) is not None and after not in found:
        found.append(after)
    return found


def wall_of(days: Sequence[tables.Visit], visit: tables.Visit) -> tables.Visit:
    """Return whose wall papers hold for a visit, `days` being its row: the install that it goes on with, else its own.

    What goes on with an install has neither crate nor layout of its own, and hangs the same awning.
    """
    return days[0] if days[0].kind == "install" else visit


def is_finished(session: Session, visit: tables.Visit) -> bool:
    """Say whether the job that `visit` is a day of is finished: all its days are done."""
    return all(one.state == "done" for one in days_of(session, visit))


def in_rows(session: Session) -> set[str]:
    """Return the visits that are days of jobs of several days."""
    follow, visit = tables.VisitFollows, tables.Visit
    pairs = session.exec(select(follow).where(follow.min_days == 1, follow.max_days == 1)).all()
    ids = {name for one in pairs for name in (one.first_id, one.then_id)}
    visits = {one.id: one for one in session.exec(select(visit).where(col(visit.id).in_(ids or {""})))}
    ends = ((one.first_id, one.then_id) for one in pairs if is_one_row(one, visits[one.first_id], visits[one.then_id]))
    return {name for pair in ends for name in pair}
