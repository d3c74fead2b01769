"""Jobs: the list of them, and each one's page with what its wall asks for, what is in its kit, and when it goes."""

from __future__ import annotations

import datetime
import zoneinfo
from collections.abc import Sequence
from typing import Annotated, Any, Literal
from urllib.parse import urlencode

import msgspec
from fastapi import Query, Request
from fastapi.responses import Response
from sqlmodel import Session, col, or_, select
from starlette.exceptions import HTTPException

from api.access.accounts import Role
from api.access.guards import LOOKERS, STAFF, Who, allow, own_job
from api.clock import Now, local_day
from api.falls.falls import CannotGo
from api.falls.now import falling
from api.fields.shown import at as shown_at
from api.hand_over.signing import path_of, signature_of, signed_on
from api.hand_over.warranty import callbacks, warranty_of
from api.http.pages import Database, page, wants_json
from api.http.subject import Subject
from api.jobs.listed import JobsWanted, jobs_list, places, towns_and_kinds
from api.jobs.story import job_story
from api.languages import chosen_language, gettext, speak
from api.ledger.days.day_rows import days_of
from api.ledger.facts.gates import gate_words
from api.ledger.history import in_words
from api.ledger.languages import language_of_crew
from api.ledger.told import HOLDS, told_now
from api.messages.papers import sent_papers
from api.office.papers import papers_of
from api.office.work_kinds import COST, STATES
from api.papers.shown.cautions import cautions
from api.papers.shown.drawings import said_sheets
from api.papers.shown.job_page import JobPage, allowed, job_page, rack_words, wall_page
from api.papers.shown.wall_words import wall_words
from api.routes import records
from api.routes.jobs.following import in_order
from api.routes.lists import Parts
from api.tables import Business, CalledBack, Gate, StoredAwning, Visit, WorkKind
from api.weeksheet import PILES
from api.weeksheet.names import KIT_MARKS
from api.yearly.making import next_visits
from scheduler.errors import BadInput
from scheduler.layout.drawing.cautions import sort_out

router = Subject(tags=("jobs",))
Staff = Annotated[Who, allow(*LOOKERS)]
Reader = Annotated[Who, allow(*STAFF, crew_link=True)]
Word = Annotated[records.Words, Query(max_length=120)]
SURVEYORS = (Role.manager, Role.office, Role.lead)


@router.get("/jobs")
def jobs(
    request: Request,
    session: Database,
    _: Staff,
    part: Parts,
    kind: Annotated[Word, Query(description="a kind of work of the business by its short name")] = "",
    state: Annotated[Literal["", "open", "done", "cancelled", "any"], Query(description="left out: open ones")] = "",
    kit: Annotated[Literal["", "uncounted", "short", "verified", "loaded"], Query(description="of installs")] = "",
    town: Word = "",
    because: Annotated[Word, Query(description="a code of the waiting pile, such as short")] = "",
    words: Annotated[Word, Query(description="all stand in the job's id, customer, address, order or note")] = "",
) -> Response:
    """List jobs by id, `limit` at a time, with their kits' conditions and where the plan has put them."""
    if kind and session.get(WorkKind, kind) is None:
        raise BadInput("kind", f'no kind of work has the id "{kind}"')
    standing = places(session)
    asked = JobsWanted(kind, {"": "open", "any": ""}.get(state, state), kit, town, because, words)
    lines, following = jobs_list(session, asked, standing, part.after or None, part.most)
    if wants_json(request):
        return part.answer({"items": lines, "next": following}, following)
    form = {"kind": kind, "state": state, "kit": kit, "town": town, "because": because, "words": words}
    codes, (towns, kinds) = standing.codes(), towns_and_kinds(session)
    values: dict[str, Any] = {
        "lines": lines,
        "form": form,
        "narrowed": any(form.values()),
        "after": part.after,
        "next": following and "/jobs?" + urlencode({k: v for k, v in form.items() if v} | {"after": following}),
        "towns": towns,
        "kinds": [("", gettext("any kind")), *((one, gettext(name)) for one, name in kinds)],
        "codes": [(code, title, codes.get(code, 0)) for code, title in PILES.items() if code in codes],
        "piles": PILES,
        "marks": KIT_MARKS,
    }
    return page(request, "jobs/jobs.html", values)


@router.get("/jobs/{visit_id}")
def job(request: Request, session: Database, who: Reader, now: Now, visit_id: str) -> Response:
    """Show a job with its wall drawing, findings, kit and time on site, and what has happened to it."""
    own_job(session, who, visit_id)
    found = _found(session, visit_id, now)
    falls = falling(session, request.app.state.searches.days, now).get(visit_id)
    if wants_json(request):
        return Response(_documents(found, falls), media_type="application/json")
    standing = places(session)
    visit = found.job.visit
    days = days_of(session, visit)
    story, on = job_story(session, visit, found.customer.id), wall_page(session, found, days, now)
    zone = zoneinfo.ZoneInfo(session.get_one(Business, 1).timezone)

    def moment(at: datetime.datetime) -> str:
        return shown_at(at, zone.key)

    office = who.role in (Role.manager, Role.office)
    findings = sort_out(on.job.layout.findings if on.job.layout else ())
    values = {
        "stops": findings.stops,
        "serious": findings.special,
        "usual": findings.standing + findings.notes,
        "page": found,
        "job": found.job,
        "on": on,
        "measured": story if on is found else job_story(session, on.job.visit, on.customer.id),
        "sheets": said_sheets(session, on.job, now),
        "where": standing.stops.get(visit_id),
        "lift": standing.lifts.get(visit_id),
        "waiting": standing.waiting.get(visit_id, ()),
        "places": standing.stops,
        "story": story,
        "moment": moment,
        "history": [(line, in_words(line, of=visit_id)) for line in story.history] if who.role else [],
        "wall": wall_words(on.job, found.site, session.get_one(Business, 1), now.year),
        "cautions": list(cautions(found.job, found.site, on.job)),
        "allowed": allowed(found.hours),
        "office": office,
        "falls": falls,
        "holds": HOLDS,
        "may_survey": who.role in SURVEYORS,
        "may_photograph": who.role in SURVEYORS or who.link_id is not None,
        "marks": KIT_MARKS,
        **_hand_over(request, session, visit, days, now),
        **_around(session, visit, local_day(session, now)),
        **in_order(session, found, standing, days),
    }
    return page(request, "job/job.html", values)


def _around(session: Session, visit: Visit, today: datetime.date) -> dict[str, Any]:
    """Return what the page says of open gates, callbacks, the awning's place in a rack, and its yearly services."""
    about = select(CalledBack).where(or_(col(CalledBack.visit_id) == visit.id, col(CalledBack.of_id) == visit.id))
    told = session.exec(about.order_by(col(CalledBack.visit_id))).all()
    awning = visit.awning_id
    stored = session.get(StoredAwning, awning) if awning is not None else None
    gates = session.exec(select(Gate).where(Gate.visit_id == visit.id).order_by(col(Gate.id))).all()
    papers = papers_of(session, gates) if gates else {}
    standing = {gate.id: [one for one in papers.get(gate.id or 0, []) if one.taken_away_at is None] for gate in gates}
    told_of = told_now(session, visit.id)
    day = told_of.day if told_of is not None else visit.due_on
    return {
        "gates": [gate_words(gate, day) for gate in gates if gate.state == "open"] if visit.state == "open" else [],
        "gate_papers": [(gate, standing[gate.id]) for gate in gates if standing[gate.id]],
        "callback": next((row for row in told if row.visit_id == visit.id), None),
        "called_back": [row for row in told if row.of_id == visit.id],
        "costs": dict(COST),
        "stored": stored,
        "rack": rack_words(session, stored),
        "racks": dict(STATES),
        "yearly": next_visits(session, today, awning) if awning is not None else [],
    }


def _hand_over(
    request: Request, session: Session, visit: Visit, days: Sequence[Visit], now: datetime.datetime
) -> dict[str, Any]:  # fmt: skip
    """Return what the page says of signature, warranty and callbacks."""
    signed, today = signature_of(session, days), local_day(session, now)
    awning, on = visit.awning_id, signed_on(days)
    return {
        "signed_on": on.id if on is not None and on.id != visit.id else None,
        "hangs": days[0].kind == "install",  # the last of several days hangs it too, whatever its kind
        "signed": signed,
        "written": path_of(signed.strokes) if signed is not None else "",
        "warranty": warranty_of(session, awning) if awning is not None else None,
        "callbacks": callbacks(session, awning, today) if awning is not None else [],
        "today": today,
        "mails": sent_papers(session, "hand-over", visit.id),
        "may_mail": request.app.state.settings.smtp is not None,
        "kept": request.query_params.get("kept", "")[:200],
    }


@router.get("/jobs/{visit_id}/drawing.svg")
def drawing(
    session: Database,
    who: Reader,
    now: Now,
    visit_id: str,
    number: Annotated[int, Query(alias="page", ge=1, le=99, description="which page of the drawing")] = 1,
) -> Response:
    """Give a sheet of the wall drawing alone, for printing: the first is what one drills by."""
    own_job(session, who, visit_id)
    found = _found(session, visit_id, now)
    if found.job.drawing is None:
        raise HTTPException(404, f'There is no wall drawing of "{visit_id}": its wall has not been surveyed.')
    if who.crew_id is not None:  # a crew reads it
        speak(chosen_language() or language_of_crew(session, who.crew_id, who.day or local_day(session, now)))
    sheets = said_sheets(session, found.job, now)
    if number > len(sheets):
        raise HTTPException(404, f'The wall drawing of "{visit_id}" has {len(sheets)} pages.')
    return Response(sheets[number - 1], media_type="image/svg+xml")


def _found(session: Session, visit_id: str, now: datetime.datetime) -> JobPage:
    found = None if "\0" in visit_id else job_page(session, visit_id, now)
    if found is None:
        raise HTTPException(404, f'No job has the id "{visit_id}".')
    return found


def _documents(found: JobPage, falls: CannotGo | None) -> bytes:
    """Return the job's documents as one JSON object; null where it has none (a survey, a repair).

    `falls` says why it cannot go as it is posted; null where it can, or is not posted.
    """
    job = found.job
    documents = {"survey": job.survey, "layout": job.layout, "kit": job.kit, "duration": job.duration}
    standing = {"stale": sorted(found.stale), "falls": None if falls is None else falls.words}
    return msgspec.json.encode({"id": job.visit.id, "kind": job.visit.kind, **documents, **standing})
