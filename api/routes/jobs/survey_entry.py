"""Entering a survey: the form of a job's wall with its drawing, kept so that of two who edit it neither loses."""

from __future__ import annotations

import dataclasses
import datetime
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any

import msgspec
from fastapi import Depends, Query, Request
from fastapi.responses import JSONResponse, RedirectResponse, Response
from sqlmodel import Session, col, select
from starlette.datastructures import UploadFile

from api import tables
from api.access.accounts import Role
from api.access.guards import STAFF, Who, allow, found, own_job, own_wall
from api.access.idempotency import Once
from api.clock import Now, local_day
from api.http.pages import Database, page, wants_json
from api.http.problems import Problem, bad_fields, responses
from api.http.subject import Subject
from api.ledger.job_facts import unnamed_walls, waiting_walls, zero_photos
from api.ledger.plans.posted import does_job
from api.papers.shown.cautions import LEAD_PAINT_BEFORE
from api.routes import records
from api.routes.jobs.job_awning import before_awning, where_it_stands
from api.survey import keeping
from api.survey.compare import differences, merged
from api.survey.drawing import draft_of
from api.survey.fields import RowsOf, is_asked, lists, sections
from api.survey.form import BESIDE, NO_ZERO, Reading, label_of, row_numbers, rows_changed
from scheduler.errors import BadInput

router = Subject(tags=("surveys",))
Reader = Annotated[Who, allow(*STAFF, crew_link=True)]
Writer = Annotated[Who, allow(Role.manager, Role.office, Role.lead)]
SURVEYORS = (Role.manager, Role.office, Role.lead)
_MOST_FIELDS, _LONGEST = 6000, 500
_ROOTS = ("awning", "wall", "anchor", "place", "band", "obstacles", "doors", "datum", "outlet")
_ALONE = ("wind_class", "built", NO_ZERO)
_ROW = re.compile(r"(add|drop):([a-z.]+?)(?:\.([0-9]{1,4}))?")
_FORM = {
    "requestBody": {
        "content": {
            "application/x-www-form-urlencoded": {
                "schema": {
                    "type": "object",
                    "properties": {
                        "do": {
                            "type": "string",
                            "description": "draw, keep, add:LIST, drop:LIST.NUMBER, pick, take:SURVEY",
                        },
                        "awning": {"type": "string", "description": "which awning, where there are several"},
                        "version": {"type": "string", "description": "of the survey that is changed; empty: the first"},
                        "surveyed_on": {"type": "string"},
                        "surveyed_by": {"type": "string"},
                        "uncertain": {"type": "string"},
                    },
                    "additionalProperties": {"type": "string", "description": "by way into survey/2: awning.width"},
                }
            }
        }
    }
}


@dataclass
class SurveyEntry:
    """A form being filled: for which awning of which job, over which version of the survey (None: the first).

    awning: None before one is chosen; the survey is then that of the site's wall.
    """

    visit: tables.Visit
    awning: tables.Awning | None
    site_id: str
    row: tables.SiteSurvey | None
    units: str
    at_least: int
    several: list[tables.Awning]


@router.get("/jobs/{visit_id}/survey")
def survey_page(
    request: Request,
    session: Database,
    who: Reader,
    now: Now,
    visit_id: str,
    awning: Annotated[records.Words, Query(max_length=80, description="which awning, where there are several")] = "",
    saved: bool = False,
    added: Annotated[bool, Query(description="the awning was added just now: say what stands of its visit")] = False,
    model: Annotated[records.Words, Query(max_length=120, description="to be ordered, of what fits the wall")] = "",
    width: Annotated[records.Words, Query(max_length=60)] = "",
    projection: Annotated[records.Words, Query(max_length=60)] = "",
) -> Response:
    """Show the survey of a job's wall: a form for those who survey, as it is for others.

    Before an awning is chosen it asks for the wall alone, and says what fits a wall that is kept.
    """
    if who.link_id is not None:  # crew leads survey walls that no crew has been given yet
        own_job(session, who, visit_id)
    visit = found(session, tables.Visit, visit_id, "job")
    own_wall(session, who, [visit_id])
    entry = _entry(session, visit, awning)
    taken = ""
    if entry.row is not None:
        fields, taken = keeping.shown_fields(session, entry.awning, entry.row, entry.units)
    else:
        fields = {}
        if entry.awning is not None:
            fields, taken = keeping.first_fields(session, entry.awning, entry.units)
        fields |= {"surveyed_on": local_day(session, now).isoformat(), "surveyed_by": who.name, "uncertain": ""}
    version = "" if entry.row is None else str(entry.row.version)
    base = {**fields, "version": version}
    chosen = {"model": model, "width": width, "projection": projection}
    stands = (
        where_it_stands(request, session, visit, now) if added and who.role in (Role.manager, Role.office) else None
    )
    return _form(
        request, session, entry, fields, base, taken=taken, saved=saved, fresh=True, chosen=chosen, stands=stands
    )


async def _sent(request: Request) -> dict[str, str]:
    """Return the form that was sent; its fields are not known beforehand: a wall has any number of studs."""
    items = (await request.form()).multi_items()
    sent = {key: value for key, value in items if not isinstance(value, UploadFile)}
    _check_size(sent)
    return sent


@router.post("/jobs/{visit_id}/survey", responses=responses(400, 409, 412), openapi_extra=_FORM)
def survey_sent(
    request: Request,
    session: Database,
    who: Writer,
    now: Now,
    once: Once,
    visit_id: str,
    sent: Annotated[dict[str, str], Depends(_sent)],
) -> Response:
    """Draw, keep, or add and drop rows of a form, as its button `do` says; field names are ways into survey/2.

    `take` says that a wall, of which nobody said at which visit it was measured, is this visit's.
    """
    visit = found(session, tables.Visit, visit_id, "job")
    own_wall(session, who, [visit_id])
    if sent.get("do", "").startswith("take:"):
        return once(session, lambda: _take(session, who, now, visit, sent["do"][5:]))
    # A form from before there was an awning says so: it is kept for the wall, where the awning's form finds it.
    entry = _entry(session, visit, sent.get("awning", ""), before=sent.get("awning") == "")
    do, base = sent.get("do", "draw"), _unpacked(sent.get("base", ""))
    fields = {key: value for key, value in sent.items() if _is_field(key)}
    if do.startswith("pick"):
        return _picked(request, session, who, now, once, entry, sent, do)
    if do == "keep":
        return once(session, lambda: _keep(request, session, who, now, entry, fields, base, sent.get("version", "")))
    if row := _ROW.fullmatch(do):
        fields = rows_changed(fields, row[1], row[2], row[3])
    return _form(request, session, entry, fields, base)


def _take(session: Session, who: Who, now: datetime.datetime, visit: tables.Visit, survey_id: str) -> Response:
    keeping.take(session, visit, survey_id, by=who.name, now=now)
    return RedirectResponse(f"/jobs/{visit.id}/survey", 303)


def _entry(session: Session, visit: tables.Visit, awning_id: str, *, before: bool = False) -> SurveyEntry:
    """Return what the form is for; answers 404 to a wrong id."""
    units = session.get_one(tables.Business, 1).units
    several = [] if before else keeping.awnings_for(session, visit)
    chosen = next((one for one in several if awning_id in ("", one.id)), None)
    if chosen is None and awning_id:
        raise Problem(404, f'This job has no awning with the id "{awning_id}".')
    site_id = session.get_one(tables.Order, chosen.order_id).site_id if chosen is not None else visit.site_id
    row = keeping.survey_for(session, chosen, visit)
    brackets = keeping.maker_brackets(session, chosen.id) if chosen is not None else 0
    return SurveyEntry(visit, chosen, site_id, row, units, brackets, several)


def _read(entry: SurveyEntry, fields: Mapping[str, str]) -> Reading:
    survey_id = entry.row.id if entry.row is not None else "new"
    return keeping.read(fields, survey_id, entry.units, entry.awning)


def _kept_at(entry: SurveyEntry) -> str:
    """Return the address of the form once it is kept."""
    which = f"awning={entry.awning.id}&" if entry.awning is not None else ""
    return f"/jobs/{entry.visit.id}/survey?{which}saved=1"


def _keep(
    request: Request,
    session: Session,
    who: Who,
    now: datetime.datetime,
    entry: SurveyEntry,
    fields: dict[str, str],
    base: dict[str, str],
    version: str,
) -> Response:
    reading = _read(entry, fields)
    beside = keeping.read_beside(fields, reading)
    if _wants_zero(session, entry) and beside is not None:
        if why := fields.get(NO_ZERO, "").strip():
            text = f"{beside.uncertain}\nNo photo of the zero: {why}".strip()
            beside = dataclasses.replace(beside, uncertain=text)
        else:
            reading.missing[NO_ZERO] = "No photo shows the zero: keep one, or say here why there is none."
    if reading.survey is not None and entry.awning is not None:
        try:
            keeping.check_width(reading.survey, entry.awning)
        except BadInput as fault:
            reading.wrong[fault.where] = f"{fault.problem[:1].upper()}{fault.problem[1:]}."
    if reading.faults or reading.survey is None or beside is None:
        if wants_json(request):
            raise bad_fields([(name, words) for name, words in reading.faults.items()])
        return _form(request, session, entry, fields, base, reading=reading, status=422, checked=True)
    expected = int(version) if version.isdecimal() and len(version) < 10 else None
    try:
        row = keeping.keep(
            session, entry.awning, entry.visit, entry.site_id, reading.survey, beside, expected, by=who.name, now=now
        )
    except keeping.ChangedMeanwhile as changed:
        return _both(request, session, entry, fields, base, changed.row)
    at = _kept_at(entry)
    if wants_json(request):
        body = {"survey": row.id, "version": row.version, "at": at}
        return JSONResponse(body, headers={"ETag": f'"{row.version}"', "Location": at})
    return RedirectResponse(at, 303)


def _wants_zero(session: Session, entry: SurveyEntry) -> bool:
    """Whether a first survey lacks the photo of its zero; of one that stands the pages ask for it."""
    return entry.row is None and entry.visit.id not in zero_photos(session, [entry.visit])


def _both(
    request: Request,
    session: Session,
    entry: SurveyEntry,
    fields: dict[str, str],
    base: dict[str, str],
    theirs: tables.SiteSurvey,
) -> Response:
    """Show both versions side by side, to choose from; a program gets both as fields."""
    kept = _theirs(session, entry, theirs, fields)
    if wants_json(request):
        detail = "Nothing was kept. Look at both versions, and send yours again with the new version if it still holds."
        headers = {"ETag": f'"{theirs.version}"'}
        raise Problem(412, detail, kind="changed-meanwhile", headers=headers, current=kept, sent=fields)
    known = {key: value for key, value in base.items() if key != "version"}
    values = {
        "entry": entry,
        "theirs": theirs,
        "by": _last_change(session, theirs.id),
        "differences": differences(fields, kept, known, entry.units),
        "mine": msgspec.json.encode(fields).decode(),
        "base": msgspec.json.encode(base).decode(),
    }
    return page(request, "survey/both.html", values, status=412)


def _theirs(
    session: Session, entry: SurveyEntry, theirs: tables.SiteSurvey, fields: Mapping[str, str]
) -> dict[str, str]:
    """Return the fields of the version that is kept; where no awning was chosen then, mine of that."""
    kept, _ = keeping.shown_fields(session, entry.awning, theirs, entry.units)
    if theirs.awning_id is None:
        kept = {name: text for name, text in kept.items() if is_asked(name, before=True)}
        kept |= {name: text for name, text in fields.items() if not is_asked(name, before=True)}
    return kept


def _picked(
    request: Request,
    session: Session,
    who: Who,
    now: datetime.datetime,
    once: Any,
    entry: SurveyEntry,
    sent: dict[str, str],
    do: str,
) -> Response:
    """Keep what was chosen of two versions; asked again where theirs has changed once more."""
    mine, base = _unpacked(sent.get("mine", "")), _unpacked(sent.get("base", ""))
    if entry.row is None:
        raise Problem(409, "The other version has been deleted meanwhile. Open the survey again.")
    if sent.get("version") != str(entry.row.version):
        return _both(request, session, entry, mine, base, entry.row)
    kept = _theirs(session, entry, entry.row, mine)
    if do == "pick:theirs":
        return RedirectResponse(_kept_at(entry), 303)
    picks = {key[5:]: value for key, value in sent.items() if key.startswith("pick:")}
    fields = mine if do == "pick:mine" else merged(mine, kept, picks)
    return once(  # type: ignore[no-any-return]
        session, lambda: _keep(request, session, who, now, entry, fields, kept, sent["version"])
    )


def _last_change(session: Session, survey_id: str) -> str:
    line = tables.History
    wanted = select(line.by).where(line.noun == "survey", line.noun_id == survey_id)
    return session.exec(wanted.order_by(col(line.id).desc()).limit(1)).first() or "somebody else"


def _form(
    request: Request,
    session: Session,
    entry: SurveyEntry,
    fields: dict[str, str],
    base: dict[str, str],
    *,
    reading: Reading | None = None,
    status: int = 200,
    taken: str = "",
    saved: bool = False,
    fresh: bool = False,
    checked: bool = False,
    chosen: Mapping[str, str] | None = None,
    stands: Mapping[str, Any] | None = None,
) -> Response:
    who: Who = request.state.who
    if reading is None:
        reading = _read(entry, fields)
    site = session.get_one(tables.Site, entry.visit.site_id)
    # What is missing is a fault when somebody wants to keep it, not while the form is still being filled.
    faults = reading.faults if checked else dict(reading.wrong)
    values = {
        "entry": entry,
        "site": site,
        "zero": zero_photos(session, [entry.visit]).get(entry.visit.id),
        "unnamed": unnamed_walls(session, entry.site_id) if entry.row is None else [],
        "waiting": waiting_walls(session, entry.visit) if entry.row is None and entry.awning is not None else [],
        "wants_zero": _wants_zero(session, entry),
        "customer": session.get_one(tables.Customer, site.customer_id),
        "sections": sections(before=entry.awning is None),
        "fields": fields,
        "rows": {rows.name: _rows_shown(fields, rows, who) for rows in lists()},
        "draft": draft_of(reading, entry.units, entry.at_least),
        "faults": faults,
        "listed": [(name, label_of(name), words) for name, words in faults.items()],
        "base": msgspec.json.encode(base).decode(),
        "version": base.get("version", ""),
        "may": who.role in SURVEYORS,
        "may_open": who.role is not Role.lead or bool(who.crew_id and does_job(session, who.crew_id, entry.visit.id)),
        "taken": taken,
        "saved": saved,
        "stands": stands,
        "unhung": entry.awning is not None and not keeping.has_install(session, entry.awning.id),
        "fresh": fresh,
        "checked": checked,
        "is_rows": lambda part: isinstance(part, RowsOf),
        "lead_paint_before": LEAD_PAINT_BEFORE,
    }
    if entry.awning is None:
        measured = reading.survey if entry.row is not None else None
        values |= before_awning(session, entry.visit, measured, dict(chosen or {}))
    return page(request, "survey/survey.html", values, status=status)


def _rows_shown(fields: Mapping[str, str], rows: RowsOf, who: Who) -> list[int]:
    """Return the numbers of a list's rows, with an empty one to write in where there is none."""
    numbers = row_numbers(fields, rows.name)
    least = 2 if rows.name == "awning.arms" else 1
    if who.role in SURVEYORS:
        while len(numbers) < least:
            numbers.append(max(numbers, default=-1) + 1)
    return numbers


def _is_field(key: str) -> bool:
    root, dot, _ = key.partition(".")
    return key in BESIDE or key in _ALONE or (dot == "." and root in _ROOTS)


def _check_size(sent: Mapping[str, str]) -> None:
    if len(sent) > _MOST_FIELDS:
        raise BadInput("", f"the form has more than {_MOST_FIELDS} fields")
    for key, value in sent.items():
        if _is_field(key) and len(value) > (keeping.LONGEST_NOTE + 200 if key == "uncertain" else _LONGEST):
            raise BadInput(key, f"must have at most {_LONGEST} characters")


def _unpacked(text: str) -> dict[str, str]:
    """Return the fields that a page has carried along; none where they are not what the page wrote."""
    try:
        return msgspec.json.decode(text or "{}", type=dict[str, str])
    except (msgspec.DecodeError, UnicodeEncodeError):
        return {}
