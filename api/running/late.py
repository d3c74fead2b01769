"""Telling a customer how late the crew will be, while it is so."""

from __future__ import annotations

import datetime

from sqlmodel import Session

from api import tables
from api.http.problems import Problem
from api.messages.late import draft_late
from api.running.crews import crew_lines


def tell_today(
    session: Session, day: datetime.date, visit_id: str, *, now: datetime.datetime, by: str
) -> tables.Message:
    """Draft the message that says how late the crew will be at a visit on `day`; answers 409 where it will not be."""
    at_risk = ((line, risk) for line in crew_lines(session, day, now) for risk in line.risks)
    found = next(((line, risk) for line, risk in at_risk if risk.visit == visit_id), None)
    if found is None:
        raise Problem(409, f"{visit_id} is not expected late today: there is nothing to tell.", kind="not-now")
    line, risk = found
    spot = {"crew": line.crew, "date": day.isoformat(), "start": risk.start, "end": risk.end, "hold": risk.hold}
    return draft_late(session, visit_id, spot, risk.told, risk.expected, now=now, by=by)
