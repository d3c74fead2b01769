"""What of the jobs comes before and after which, on a job's page; and jobs that take several days in a row."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import Request
from fastapi.responses import RedirectResponse, Response
from sqlmodel import Session, col, or_, select

from api import tables
from api.access.accounts import Role
from api.access.guards import Who, allow, found
from api.clock import Now
from api.fields.limits import limit
from api.http.pages import Database, SentTexts, page
from api.http.problems import responses
from api.http.subject import Subject
from api.jobs.in_a_row import DAYS, MINUTES, InARow, check_row, in_a_row, share_of
from api.jobs.listed import Places
from api.ledger.days.day_rows import is_one_row
from api.ledger.days.work_days import WorkDays, work_days
from api.ledger.told import told_now
from api.office import keeping
from api.office.kinds import KINDS
from api.papers.shown.job_page import JobPage, job_page
from api.routes.office.kinds import what_hangs
from scheduler.errors import BadInput

router = Subject(tags=("jobs",))
Office = Annotated[Who, allow(Role.manager, Role.office)]
_USUAL_DAY_MIN = 480  # of a crew whose hours nobody has entered


@dataclass(frozen=True)
class Neighbour:
    """A visit before or after the one whose page it is: `row` says how, `mark` what tells that row's state.

    `day` is when it is planned or promised, `wrong`: the two days known are not in this order. `is_next`: they are two
    days of one job, the one on the next working day after the other.
    """

    visit: tables.Visit
    row: tables.VisitFollows
    mark: str
    day: datetime.date | None
    wrong: bool
    is_next: bool


def in_order(
    session: Session, shown: JobPage, standing: Places, days: Sequence[tables.Visit]
) -> dict[str, Any]:  # fmt: skip
    """Return what the page of a job says of the visits before and after it, and of its `days` in a row."""
    visit, row = shown.job.visit, tables.VisitFollows
    wanted = select(row).where(or_(row.first_id == visit.id, row.then_id == visit.id))
    rows = session.exec(wanted.order_by(col(row.first_id), col(row.then_id))).all()
    before, after = list[Neighbour](), list[Neighbour]()
    working: WorkDays | None = None
    for record in keeping.records(session, KINDS["follow-ons"], rows):
        one = record.row
        on = [_day(session, standing, name) for name in (one.first_id, one.then_id)]
        other = session.get_one(tables.Visit, one.first_id if one.then_id == visit.id else one.then_id)
        day = on[0] if one.then_id == visit.id else on[1]
        both = other.state == visit.state == "open"
        first, then = (visit, other) if one.first_id == visit.id else (other, visit)
        is_next = is_one_row(one, first, then)
        if is_next and working is None:
            working = work_days(session)
        wrong = both and not _fits(one, on[0], on[1], working if is_next else None)
        neighbour = Neighbour(other, one, record.mark, day, wrong, is_next)
        (before if one.then_id == visit.id else after).append(neighbour)
    held = [(visit.minutes or shown.job.needs.minutes), _longest_day(session)]
    days_needed = max(2, min(DAYS.most, -(-held[0] // held[1])))
    near = select(tables.Visit.id).where(tables.Visit.site_id == visit.site_id, tables.Visit.state == "open")
    return {
        "before": before,
        "after": after,
        "in_a_row": days,
        "near": [one for one in session.exec(near.order_by(col(tables.Visit.id))) if one != visit.id],
        "row": {"days": days_needed, "minutes": share_of(held[0], days_needed), "long": held[0] > held[1]},
        "limits": {"days": DAYS.attributes(), "minutes": MINUTES.attributes()}
        | {name: limit(f"visit_follows.{name}").attributes() for name in ("min_days", "max_days")},
    }


def _longest_day(session: Session) -> int:
    hours = tables.CrewHours
    spans = session.exec(select(hours.start, hours.end)).all()
    return max((end - start for start, end in spans), default=_USUAL_DAY_MIN)


def _day(session: Session, standing: Places, visit_id: str) -> datetime.date | None:
    if visit_id in standing.stops:
        return standing.stops[visit_id].date
    told = told_now(session, visit_id)
    return told.day if told is not None else None


def _fits(
    row: tables.VisitFollows, first: datetime.date | None, then: datetime.date | None, working: WorkDays | None
) -> bool:  # fmt: skip
    """Say whether two days are in the order asked for; `working` where they are days of one job in a row."""
    if first is None or then is None:
        return True
    if working is not None:
        return then == working.next_after(first)
    later = (then - first).days
    return row.min_days <= later and (row.max_days is None or later <= row.max_days)


@router.post("/jobs/{visit_id}/days", responses=responses(409))
def take_days(request: Request, session: Database, now: Now, who: Office, visit_id: str, sent: SentTexts) -> Response:
    """Make an open job several days in a row; what would fall of the posted week by it is shown first."""
    visit = found(session, tables.Visit, visit_id, "job")
    faults = {}
    values = {}
    for name, bound in (("days", DAYS), ("minutes", MINUTES)):
        try:
            values[name] = bound.parse(sent.get(name, "").strip())
        except BadInput as fault:
            faults[name] = fault.problem
    try:
        check_row(session, visit)
    except BadInput as fault:
        faults["days"] = fault.problem
    shown = {"visit": visit, "sent": sent, "faults": faults, "hangs": None, "limits": {
        "days": DAYS.attributes(), "minutes": MINUTES.attributes()}}  # fmt: skip
    if faults:
        return page(request, "job/days.html", shown, status=422)
    row = InARow(**values, same_crew=sent.get("same_crew") == "yes")

    papers = job_page(session, visit_id, now)
    hands, skills = (papers.job.needs.hands, papers.job.needs.skills) if papers is not None else (None, ())

    def do(session: Session) -> None:
        one = session.get_one(tables.Visit, visit_id)
        in_a_row(session, one, row, now=now, by=who.name, hands=hands, skills=skills)

    hangs = what_hangs(request, now, sent, do)
    if hangs is not None:
        return page(request, "job/days.html", shown | {"hangs": hangs}, status=409)
    do(session)
    return RedirectResponse(f"/jobs/{visit_id}#in-order", 303)
