"""Surveys of walls as JSON records, and their drawing before they are kept."""

from __future__ import annotations

import datetime
from typing import Annotated, Any, Literal, Self

from fastapi import Query
from fastapi.responses import Response
from pydantic import BaseModel, Field, model_validator
from sqlmodel import Session, col, select

from api.access.accounts import Role
from api.access.guards import Who, allow, found, own_wall
from api.access.idempotency import Once
from api.clock import Now
from api.fields.limits import limit
from api.http.pages import Database
from api.http.problems import Problem, responses
from api.http.subject import Subject
from api.http.versions import IfMatch, IfNoneMatch
from api.jobs.numbers import numbered
from api.ledger.job_facts import rows
from api.ledger.plans.posted import crews_given
from api.routes import records
from api.routes.lists import Parts
from api.survey import keeping
from api.survey.drawing import drawn
from api.survey.form import Reading, read_fields
from api.tables import Awning, Business, MakerOrder, Order, Site, SiteSurvey, Visit
from scheduler.errors import BadInput
from scheduler.layout.documents import Survey, survey_from_data

router = Subject(prefix="/surveys", tags=("surveys",))
Reader = Annotated[Who, allow(Role.manager, Role.office, Role.lead, Role.reader)]
Writer = Annotated[Who, allow(Role.manager, Role.office, Role.lead)]


class SurveyBody(records.Body):
    """A survey without its id; `document` is in the form survey/2 or survey/1, its own `id` becomes the record's.

    Without an awning the wall was measured before one was chosen; the awning in the document is then a usual one.
    `visit_id` is the visit that measured it: the awning that is ordered for that visit has this wall. A change that
    leaves it out leaves it as it is.
    """

    site_id: Annotated[str, limit("site_survey.site_id")]
    awning_id: Annotated[str, limit("site_survey.awning_id")] | None = None
    visit_id: Annotated[str, limit("site_survey.visit_id")] | None = None
    surveyed_on: Annotated[datetime.date, limit("site_survey.surveyed_on")]
    surveyed_by: Annotated[str, limit("site_survey.surveyed_by")]
    document: dict[str, Any]
    uncertain: Annotated[str, limit("site_survey.uncertain")] = ""


class SurveyRecord(SurveyBody):
    id: str
    version: int


class SurveyList(records.Body):
    items: list[SurveyRecord]
    next: str | None


class DraftBody(records.Body):
    """A survey that is not kept yet: as the fields of the form, or as a document in the form survey/2 or survey/1."""

    fields: (
        Annotated[
            dict[Annotated[str, Field(max_length=80)], Annotated[str, Field(max_length=500)]], Field(max_length=6000)
        ]
        | None
    ) = None
    document: dict[str, Any] | None = None
    at_least: Annotated[int, Field(ge=0, le=20, description="brackets that the maker's list asks for")] = 0
    before: Annotated[bool, Field(description="no awning is chosen yet: fields of one are not read")] = False

    @model_validator(mode="after")
    def _one(self) -> Self:
        if (self.fields is None) == (self.document is None):
            raise ValueError("must have fields or a document, one of the two")
        return self


class Said(BaseModel):
    level: Literal["stop", "caution", "note"]
    code: str
    text: str


class Drawn(BaseModel):
    """`svg` is null where something is wrong; `wrong`, `missing` and `understood` go by field of the form.

    `usual` names what was drawn with usual values because it is not measured yet.
    """

    svg: str | None
    state: str
    brackets: int
    required: int
    findings: list[Said]
    wrong: dict[str, str]
    missing: dict[str, str]
    understood: dict[str, str]
    usual: list[str]


@router.post("/draw", response_model=Drawn)
def draw(session: Database, _: Writer, body: DraftBody) -> Response:
    """Draw a survey that is not kept yet, with its findings; nothing is stored."""
    business = session.get(Business, 1)
    units = "imperial" if business is None else business.units
    if body.fields is not None:
        reading = read_fields(body.fields, "draft", units, before=body.before)
    else:
        survey = _survey(body.document or {})
        reading = Reading(body.document or {}, survey)
    return drawn(reading, units, body.at_least)


@router.get("", response_model=SurveyList)
def surveys_list(
    session: Database,
    who: Reader,
    part: Parts,
    awning: Annotated[records.Words | None, Query(max_length=80, description="the id of the awning")] = None,
    site: Annotated[records.Words | None, Query(max_length=80, description="the id of the site")] = None,
) -> Response:
    """List surveys by id, `limit` at a time; a crew lead's own walls and those that no crew has been given yet."""
    pairs = ((SiteSurvey.awning_id, awning), (SiteSurvey.site_id, site))
    where = [col(column) == value for column, value in pairs if value]
    if who.role is Role.lead:
        where.append(col(SiteSurvey.id).not_in(_of_others(session, who)))
    return records.listed(session, SiteSurvey, part, *where)


@router.get("/{survey_id}", response_model=SurveyRecord)
def survey(session: Database, who: Reader, survey_id: str, if_none_match: IfNoneMatch = None) -> Response:
    """Give one survey with its ETag."""
    return records.shown(_own(session, who, survey_id), if_none_match)


@router.post("", status_code=201, response_model=SurveyRecord, responses=responses(400, 409))
def make_survey(session: Database, who: Writer, now: Now, once: Once, body: SurveyBody) -> Response:
    """Make a survey; the newest of an awning counts. Repeat safely by Idempotency-Key."""

    def write() -> Response:
        values = _checked(session, body)
        other = body.visit_id or body.awning_id or body.site_id
        own_wall(session, who, _jobs_of(session, SiteSurvey(id="", **values)))
        row = SiteSurvey(id=numbered(session, SiteSurvey, "V", other), **values)
        row.document = {**row.document, "id": row.id}
        answer = records.make(session, who, now, row, "survey", "/surveys")
        keeping.remake(session, row.awning_id, now)
        return answer

    return once(session, write)


@router.put("/{survey_id}", response_model=SurveyRecord, responses=responses(400, 409, 412, 428))
def change_survey(
    session: Database, who: Writer, now: Now, once: Once, survey_id: str, body: SurveyBody, if_match: IfMatch = None
) -> Response:
    """Change a survey as a whole, in the version that If-Match names; drawing and kit are made of it at once."""

    def write() -> Response:
        row = _own(session, who, survey_id)
        values = _checked(session, body)
        values["document"] = {**values["document"], "id": row.id}
        if "visit_id" not in body.model_fields_set:
            values["visit_id"] = row.visit_id
        own_wall(session, who, _jobs_of(session, SiteSurvey(id=row.id, **values)))
        answer = records.change(session, who, now, row, "survey", values, if_match)
        keeping.remake(session, row.awning_id, now)
        return answer

    return once(session, write)


@router.delete("/{survey_id}", status_code=204, responses=responses(400, 409, 412, 428))
def delete_survey(
    session: Database, who: Writer, now: Now, once: Once, survey_id: str, if_match: IfMatch = None
) -> Response:
    """Delete a survey that no open install rests on."""

    def write() -> Response:
        row = _own(session, who, survey_id)
        newest = keeping.survey_of(session, row.awning_id) if row.awning_id is not None else None
        if newest is not None and newest.id == row.id:
            wanted = (col(Visit.awning_id) == row.awning_id, col(Visit.state) == "open", col(Visit.kind) == "install")
            resting = rows(session, Visit, *wanted)
            if resting:
                words = ", ".join(visit.id for visit in resting)
                detail = f"{row.id} cannot be deleted: the open install {words} rests on it."
                raise Problem(409, detail, kind="in-use", used_by={"installs": len(resting)})
        users = {"orders to makers": col(MakerOrder.survey_id)}
        return records.remove(session, who, now, row, "survey", if_match, users)

    return once(session, write)


def _own(session: Session, who: Who, survey_id: str) -> SiteSurvey:
    """Return a survey; answers 404 to a lead whose crew it does not concern."""
    row = found(session, SiteSurvey, survey_id, "survey")
    own_wall(session, who, _jobs_of(session, row))
    return row


def _jobs_of(session: Session, row: SiteSurvey) -> list[str]:
    """Return the jobs at a survey's wall: those of its awning, or of the site where it is for none yet."""
    here = col(Visit.site_id) == row.site_id if row.awning_id is None else col(Visit.awning_id) == row.awning_id
    return list(session.exec(select(Visit.id).where(here)).all())


def _of_others(session: Session, who: Who) -> list[str]:
    """Return the surveys that a lead may not see."""
    jobs = {row.id: _jobs_of(session, row) for row in session.exec(select(SiteSurvey)).all()}
    given = crews_given(session, {one for of in jobs.values() for one in of})
    return [name for name, of in jobs.items() if of and all(given[one] and who.crew_id not in given[one] for one in of)]


def _checked(session: Session, body: SurveyBody) -> dict[str, Any]:
    """Return the values to keep; raises `BadInput` where the document is wrong or not of this awning and site."""
    awning = session.get(Awning, body.awning_id) if body.awning_id is not None else None
    if awning is not None:
        order = session.get_one(Order, awning.order_id)
        if order.site_id != body.site_id:
            raise BadInput("site_id", f"{awning.id} was ordered for the site {order.site_id}, not for {body.site_id}")
    elif body.awning_id is not None:
        raise BadInput("awning_id", f'no awning has the id "{body.awning_id}"')
    elif session.get(Site, body.site_id) is None:
        raise BadInput("site_id", f'no site has the id "{body.site_id}"')
    _check_visit(session, body)
    try:
        survey = _survey(body.document)
        if awning is not None:
            keeping.check_width(survey, awning)
    except BadInput as fault:
        where = fault.where if fault.where.startswith("document") else f"document.{fault.where}"
        raise BadInput(where, fault.problem) from None
    return body.model_dump()


def _check_visit(session: Session, body: SurveyBody) -> None:
    if body.visit_id is None:
        return
    visit = session.get(Visit, body.visit_id)
    if visit is None:
        raise BadInput("visit_id", f'no visit has the id "{body.visit_id}"')
    if visit.site_id != body.site_id:
        raise BadInput(
            "visit_id", f"{visit.id} is to another site, {visit.site_id}: name the visit that measured this wall"
        )


def _survey(document: dict[str, Any]) -> Survey:
    try:
        return survey_from_data(document)
    except BadInput as fault:
        raise BadInput(f"document.{fault.where}".rstrip("."), fault.problem) from None
