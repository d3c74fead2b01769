"""When two crews met at a lift: that the second one came, and that it is over, one tap each by either crew."""

from __future__ import annotations

from typing import Literal

from sqlmodel import Session

from api import tables
from api.ledger.days.lifts import Noted, lift_times
from api.ledger.plans.posted_days import Act, PostedDay

What = Literal["here", "over"]
WORDS: dict[str, str] = {"here": "noted the second crew at", "over": "noted the lift as over at"}
_BACK: dict[str, str] = {"here": "took back the second crew at", "over": "took back the lift as over at"}


def note_lift(
    session: Session, day: PostedDay, visit: tables.Visit, what: What, noted: bool, act: Act
) -> tables.LiftTime | None:
    """Note that the second crew is there or that the lift is over, or take that back; what is noted first counts.

    Each crew notes for itself. A lift that is over was come to: where that is not noted, it is at the same moment.
    """
    found = lift_times(session, (visit.id,), day.day).get(visit.id, {}).get(day.crew_id, {})
    if not noted:
        for one in ("over",) if what == "over" else ("over", "here"):
            if (row := found.get(one)) is not None:
                session.delete(row)
                act.note(session, _BACK[one], "visit", visit.id, {"crew": day.crew_id})
        session.flush()
        return None
    for one in ("here",) if what == "here" else ("here", "over"):
        if one not in found:
            row = tables.LiftTime(
                visit_id=visit.id, day=day.day, crew_id=day.crew_id, what=one, at=act.at, noted_by=act.by
            )
            session.add(row)
            act.note(session, WORDS[one], "visit", visit.id, {"crew": day.crew_id})
    session.flush()
    return session.get_one(tables.LiftTime, (visit.id, day.day, day.crew_id, what))


def told(noted: Noted, visit_id: str, crew_id: str) -> dict[str, dict[str, str]]:
    """Return as JSON the moments of a lift that a crew noted (`mine`), and those of the other one (`theirs`)."""
    by_crew = noted.get(visit_id, {})
    mine = {what: row.at.isoformat() for what, row in by_crew.get(crew_id, {}).items()}
    others = [rows for crew, rows in by_crew.items() if crew != crew_id]
    return {"mine": mine, "theirs": {what: row.at.isoformat() for rows in others for what, row in rows.items()}}
