"""Days in a row: visits of one job that follow each other by one day, at one site, each going on with the same work."""

from __future__ import annotations

from collections.abc import Sequence

from sqlmodel import Session, col, select

from api import tables


def goes_on_as(visit: tables.Visit) -> tuple[str, str]:
    """Return what a visit that goes on with another counts as, and its kind of work.

    An install that has begun has no crate any more, and what is left of it is a repair.
    """
    return ("repair", "repair") if visit.kind == "install" else (visit.kind, visit.work_id)


def next_day(session: Session, visit: tables.Visit) -> tables.Visit | None:
    """Return the visit that goes on with the work of `visit` the day after, None where none does."""
    row, then = tables.VisitFollows, tables.Visit
    wanted = select(then).join(row, col(row.then_id) == col(then.id)).where(
        row.first_id == visit.id, row.min_days == 1, row.max_days == 1,
        then.site_id == visit.site_id, then.work_id == goes_on_as(visit)[1], then.state != "cancelled",
    )  # fmt: skip
    return session.exec(wanted.order_by(col(then.id))).first()


def day_before(session: Session, visit: tables.Visit) -> tables.Visit | None:
    """Return the visit whose work `visit` goes on with the day after, None where it goes on with none."""
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
