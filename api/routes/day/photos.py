"""Photos of a job: taken by a crew, the bench or a survey, listed, and shown to whoever may see the job."""

from __future__ import annotations

import datetime
from typing import Annotated, Any, Literal
from urllib.parse import urlencode

from fastapi import File, Form, Request, UploadFile
from fastapi.responses import FileResponse, JSONResponse, RedirectResponse, Response
from pydantic import AwareDatetime
from sqlmodel import Session

from api.access.accounts import Role
from api.access.guards import STAFF, Who, allow, days_handed_in, found, own_job, own_wall
from api.access.idempotency import Once
from api.clock import Now
from api.day import photos
from api.fields.limits import as_sent
from api.http.pages import Database, wants_json
from api.http.problems import Problem, responses
from api.http.subject import Subject
from api.languages import gettext
from api.ledger.facts.job import zero_photos
from api.ledger.kept_files import MEDIA_TYPES, MOST_BYTES, path_of
from api.ledger.plans.posted_days import act, visit_of, working_day
from api.routes.day.noting import noted_in_time
from api.routes.lists import All
from api.routes.records import Words
from api.tables import Photo, Visit

router = Subject(tags=("photos",))
Reader = Annotated[Who, allow(*STAFF, crew_link=True)]
Writer = Annotated[Who, allow(Role.manager, Role.office, Role.lead, crew_link=True, hand_in=True)]
_PICTURE: dict[int | str, dict[str, Any]] = {
    200: {
        "description": "the picture",
        "content": {kind: {"schema": {"type": "string", "format": "binary"}} for kind in MEDIA_TYPES.values()},
    }
}


@router.get("/jobs/{visit_id}/photos")
def job_photos(session: Database, who: Reader, visit_id: str, part: All) -> Response:
    """List a job's photos in the order in which they came."""
    own_job(session, who, visit_id)
    found(session, Visit, visit_id, "job")
    return part.bare(photos.photos_of(session, visit_id), lambda row: row.id, photos.record)


@router.post("/jobs/{visit_id}/photos", status_code=201, responses=responses(409, 413, 415))
def add_photo(
    request: Request,
    session: Database,
    who: Writer,
    now: Now,
    once: Once,
    visit_id: str,
    file: Annotated[UploadFile, File(description="a JPEG, PNG or WebP picture of at most 12 MB")],
    shows: Annotated[photos.Shows, Form(description="what it shows")],
    caption: Annotated[str, Form(), as_sent("photo.caption")] = "",
    at: Annotated[AwareDatetime | None, Form(description="when it was taken, by the phone's clock")] = None,
) -> Response:
    """Keep a photo of a job; its place of taking and all else that a camera adds is dropped, but which way is up."""
    if who.link_id is not None:
        _of_link(session, who, visit_id, at or now)
    elif who.role is Role.lead:
        own_job(session, who, visit_id)
    found(session, Visit, visit_id, "job")
    data = file.file.read(MOST_BYTES + 1)
    folder = request.app.state.settings.data

    def write() -> Response:
        taken = act(who.name, at or now, now)
        row, new = photos.keep(session, folder, visit_id, shows, caption.strip(), data, taken)
        if wants_json(request) or "text/html" not in request.headers.get("accept", ""):
            return JSONResponse(photos.record(row), 201 if new else 200, {"Location": f"/photos/{row.id}"})
        return RedirectResponse(f"/jobs/{visit_id}#photos", 303)

    return once(session, write)


def _of_link(session: Session, who: Who, visit_id: str, at: datetime.datetime) -> None:
    """Answer 404 where a job is of no day of the link's phone; one that was moved away from such a day is."""
    assert who.crew_id is not None
    assert who.day is not None
    refused: Problem | None = None
    for day in (who.day, *(one for one in days_handed_in(session, who) if one != who.day)):
        try:
            visit_of(session, working_day(session, who.crew_id, day), visit_id, although_moved=True)
        except Problem as problem:
            refused = refused or problem
            continue
        noted_in_time(session, who, day, at)
        return
    assert refused is not None
    raise refused


@router.post("/jobs/{visit_id}/survey/photos", status_code=201, responses=responses(413, 415))
def add_survey_photo(
    request: Request,
    session: Database,
    who: Annotated[Who, allow(Role.manager, Role.office, Role.lead)],
    now: Now,
    once: Once,
    visit_id: str,
    file: Annotated[UploadFile, File(description="a JPEG, PNG or WebP picture of at most 12 MB")],
    shows: Annotated[Literal["zero", "wall"], Form(description="what it shows")] = "zero",
    caption: Annotated[str, Form(), as_sent("photo.caption")] = "",
    awning: Annotated[Words, Form(max_length=80, description="whose survey is shown again")] = "",
) -> Response:
    """Keep a photo of a wall's zero, or of the wall, by whoever may survey it, and show the survey again.

    A crew lead surveys walls whose job no crew has been given yet.
    """
    found(session, Visit, visit_id, "job")
    own_wall(session, who, [visit_id])
    data = file.file.read(MOST_BYTES + 1)
    folder = request.app.state.settings.data

    def write() -> Response:
        row, new = photos.keep(session, folder, visit_id, shows, caption.strip(), data, act(who.name, now, now))
        if wants_json(request):
            return JSONResponse(photos.record(row), 201 if new else 200, {"Location": f"/photos/{row.id}"})
        asked = f"?{urlencode({'awning': awning})}" if awning else ""
        return RedirectResponse(f"/jobs/{visit_id}/survey{asked}#zero", 303)

    return once(session, write)


@router.get("/jobs/{visit_id}/zero", responses=_PICTURE, response_class=Response)
def zero(request: Request, session: Database, who: Reader, visit_id: str) -> Response:
    """Give the newest photo of the zero of a job's wall, also where another visit took it."""
    own_job(session, who, visit_id)
    visit = found(session, Visit, visit_id, "job")
    row = zero_photos(session, [visit]).get(visit_id)
    if row is None:
        raise Problem(404, gettext('No photo shows the zero of the wall of "{visit}" yet.').format(visit=visit_id))
    return _picture(request, row)


@router.get("/photos/{photo_id}", responses=_PICTURE, response_class=Response)
def photo(request: Request, session: Database, who: Reader, photo_id: int) -> Response:
    """Give the picture of a photo to whoever may see its job."""
    if not 0 < photo_id < 2**31:
        raise Problem(404, f'No photo has the id "{photo_id}".')
    row = found(session, Photo, photo_id, "photo")
    own_job(session, who, row.visit_id)
    return _picture(request, row)


def _picture(request: Request, row: Photo) -> Response:
    tag = f'"{row.sha256[:32]}"'
    if tag in request.headers.get("if-none-match", ""):
        return Response(status_code=304, headers={"ETag": tag})
    path = path_of(request.app.state.settings.data, "photos", row.sha256)
    if not path.exists():
        raise Problem(404, f"The picture of photo {row.id} is missing from the data folder: restore it from a backup.")
    return FileResponse(path, media_type=row.media_type, headers={"ETag": tag}, content_disposition_type="inline")
