"""The customer's signature, written on the crew's phone: lines and a name, neither the pen's pace nor a place."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Sequence

from sqlmodel import Session, col, select

from api import tables
from api.languages import gettext
from api.ledger.days.day_rows import days_of
from api.ledger.plans.posted_days import Act, PostedDay
from scheduler.errors import BadInput

Strokes = Sequence[Sequence[Sequence[int]]]  # lines of (x, y) points
WIDE, HIGH = 1000, 400  # of the field that is written in
MOST_POINTS = 6000
SIGNED = ("install",)  # the kinds of visit that are handed over


def take_signature(
    session: Session, day: PostedDay, visit: tables.Visit, name: str, strokes: Strokes, act: Act
) -> tables.Signature:
    """Keep who signed for a visit, and what they wrote; a second signature of a day takes the place of the first.

    An install of several days is signed for on its last day, once the others are done. Raises `BadInput` for a visit
    that is not handed over, without a name, and where nothing or too much was written.
    """
    _require_handed_over(visit, days_of(session, visit))
    if not name:
        raise BadInput("name", gettext("must say who signed"))
    points = sum(len(stroke) for stroke in strokes)
    if not 2 <= points <= MOST_POINTS:
        raise BadInput(
            "strokes",
            gettext("nothing was written") if points < 2 else gettext("has more than {n} points").format(n=MOST_POINTS),
        )
    for x, y in (point for stroke in strokes for point in stroke):
        if not (0 <= x <= WIDE and 0 <= y <= HIGH):
            raise BadInput(
                "strokes",
                gettext("must stay within {wide} by {high}, has a point at {x}, {y}").format(
                    wide=WIDE, high=HIGH, x=x, y=y
                ),
            )
    row = session.get(tables.Signature, (visit.id, day.day))
    if row is None:
        row = tables.Signature(visit_id=visit.id, day=day.day, crew_id=day.crew_id, name="", at=act.at, taken_by=act.by)
    row.name, row.at, row.taken_by = name, act.at, act.by
    row.strokes = [[[x, y] for x, y in stroke] for stroke in strokes]
    session.add(row)
    act.note(session, "handed over", "visit", visit.id, {"signed by": name})
    return row


def _require_handed_over(visit: tables.Visit, days: Sequence[tables.Visit]) -> None:
    """Raise `BadInput` unless a visit ends an install; `days` are those of its job."""
    if days[0].kind not in SIGNED:
        words = gettext("{visit} is of the kind {work}: customers sign for an install")
        raise BadInput("visit", words.format(visit=visit.id, work=visit.work.name))
    if days[-1].id != visit.id:
        words = gettext("{visit} is not the last day of its job: the customer signs on that, {last}")
        raise BadInput("visit", words.format(visit=visit.id, last=days[-1].id))
    if to_do := ", ".join(one.id for one in days[:-1] if one.state != "done"):
        raise BadInput(
            "visit", gettext("not done yet: {visits}. The customer signs once they are").format(visits=to_do)
        )


def signed_on(days: Sequence[tables.Visit]) -> tables.Visit | None:
    """Return on which of a job's days the customer signs for it: the last; None where nobody signs."""
    return days[-1] if days[0].kind in SIGNED else None


def take_back(session: Session, day: PostedDay, visit: tables.Visit, act: Act) -> None:
    """Take the signature of a visit on a day back, where there is one."""
    row = session.get(tables.Signature, (visit.id, day.day))
    if row is not None:
        act.note(session, "took back", "visit", visit.id, {"signature of": row.name})
        session.delete(row)


def signatures(session: Session, visit_ids: Iterable[str], day: datetime.date) -> dict[str, tables.Signature]:
    """Return the signatures of visits on `day`, by visit."""
    wanted = select(tables.Signature).where(
        tables.Signature.day == day, col(tables.Signature.visit_id).in_([*visit_ids] or [""])
    )
    return {row.visit_id: row for row in session.exec(wanted)}


def signature_of(session: Session, days: Sequence[tables.Visit]) -> tables.Signature | None:
    """Return the newest signature for the job whose days these are, None where nobody has signed."""
    row = tables.Signature
    wanted = select(row).where(col(row.visit_id).in_([one.id for one in days]))
    return session.exec(wanted.order_by(col(row.day).desc(), col(row.at).desc())).first()


def path_of(strokes: Strokes) -> str:
    """Return what was written as the path of an SVG of WIDE by HIGH; a dot is a short line."""
    parts = []
    for stroke in strokes:
        points = [f"{x} {y}" for x, y in stroke]
        parts.append(f"M{points[0]}L{' '.join(points[1:] or [points[0]])}" if points else "")
    return "".join(parts)
