"""Opening, reading and closing cases."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from typing import Any

from sqlmodel import Session, col, select

from api import tables
from api.falls.falls import Cause
from api.falls.today import Today
from api.http.problems import Problem
from api.ledger.history import note
from api.rebooking.standing import followers, was_cents
from scheduler.errors import BadInput

CAUSES: dict[str, str] = {
    "short": "short kit",
    "weather": "weather",
    "crew away": "crew away",
    "customer": "customer's call",
    "other": "something else",
}


def crew_day_visits(today: Today, crew_id: str, date: datetime.date) -> list[str]:
    """Return the posted visits of a crew's day that have not begun, in the order of time."""
    day = (date - today.posted.start_date).days
    begun = today.settled
    found = [(s.start, n) for n, s in today.posted.spots.items() if (s.crew, s.day) == (crew_id, day)]
    helped = today.posted.assists.items()
    found += [(s.start, n) for n, s in helped if (s.crew, s.day) == (crew_id, day) and n in today.posted.spots]
    return [name for _, name in sorted(found) if name not in begun]


def in_open_case(session: Session, visit_id: str) -> int | None:
    """Return the open case in which a visit is still to be dealt with."""
    row = session.exec(
        select(tables.CaseVisit).where(tables.CaseVisit.visit_id == visit_id, tables.CaseVisit.state == "open")
    ).first()
    return None if row is None else row.case_id


def open_case(
    session: Session, today: Today, cause: Cause, visit_ids: Sequence[str], *, detail: str, wishes: dict[str, Any],
    crew_day: tuple[str, datetime.date] | None, now: datetime.datetime, by: str,
) -> tables.RebookingCase:  # fmt: skip
    """Open a case for posted visits, and for those that follow them.

    wishes: as `api.rebooking.search.wishes_of` reads them. crew_day: the crew's day that falls out, where that is the
    cause. Raises `BadInput` where a visit is not posted or has begun, `Problem` 409 where it is in an open case.
    """
    posted, begun = today.posted, today.settled
    names = list(dict.fromkeys(visit_ids))
    names += [f for name in names for f in followers(today, name) if f not in visit_ids]
    names = list(dict.fromkeys(names))
    if not names:
        raise BadInput("visit", "names no visit that could fall")
    for name in names:
        if name not in posted.spots:
            raise BadInput("visit", f'"{name}" is not on the posted week')
        if name in begun:
            raise BadInput("visit", f"{name} is done or under way")
        known = in_open_case(session, name)
        if known is not None:
            detail_words = f"{name} is being given another time already."
            raise Problem(409, detail_words, kind="in-use", case=known)
    event: dict[str, Any] = {"wishes": wishes}
    if crew_day is not None:
        event |= {"crew": crew_day[0], "day": crew_day[1].isoformat()}
    case = tables.RebookingCase(
        cause=cause, detail=detail, start_date=posted.start_date, plan_id=posted.plan_id, event=event, opened_at=now,
        opened_by=by,
    )  # fmt: skip
    session.add(case)
    session.flush()
    assert case.id is not None
    for name in names:
        spot, stop = posted.spots[name], posted.stops[name]
        was: dict[str, Any] = {
            "crew": spot.crew, "day": spot.day, "date": posted.date(spot.day).isoformat(), "start": stop.start,
            "end": stop.end, "follows": name not in visit_ids,
        }  # fmt: skip
        if was["follows"]:
            was["cents"] = was_cents(today, name)
        session.add(tables.CaseVisit(case_id=case.id, visit_id=name, was=was))
    note(session, now, by, "opened", "case", str(case.id), {"cause": cause, "visits": names, "detail": detail})
    session.flush()
    return case


def visits_of(session: Session, case_id: int) -> list[tables.CaseVisit]:
    """Return the visits of a case in the order of the times at which they were."""
    rows = session.exec(select(tables.CaseVisit).where(tables.CaseVisit.case_id == case_id)).all()
    return sorted(rows, key=lambda row: (row.was["day"], row.was["start"], row.visit_id))


def open_cases(session: Session) -> list[tables.RebookingCase]:
    """Return the cases that are open, the oldest first."""
    rows = select(tables.RebookingCase).where(tables.RebookingCase.state == "open")
    return list(session.exec(rows.order_by(col(tables.RebookingCase.id))).all())


def close_if_done(session: Session, case: tables.RebookingCase, *, now: datetime.datetime, by: str) -> bool:
    """Close a case with no visit left to deal with; say whether it is closed."""
    if case.state == "open" and all(row.state != "open" for row in visits_of(session, case.id or 0)):
        case.state, case.closed_at, case.closed_by, case.version = "closed", now, by, case.version + 1
        session.add(case)
        note(session, now, by, "closed", "case", str(case.id), {})
    return case.state == "closed"
