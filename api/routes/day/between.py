"""What a crew notes between its own visits: lifts at which two crews meet, and loads that it takes on in mid-day."""

from __future__ import annotations

import datetime
from typing import Annotated

from fastapi.responses import JSONResponse, Response
from pydantic import Field

from api.access.idempotency import Once
from api.clock import Now
from api.day import lift_times, load_times
from api.http.pages import Database
from api.http.subject import Subject
from api.ledger.plans.posted_days import lift_of, load_of
from api.routes.day.noting import REFUSALS, NotedOfVisit, OutBody, Writer, acting, own_day

router = Subject(tags=("days",))


class LiftBody(NotedOfVisit):
    """The second crew is at the visit's lift (`here`), or that is `over`, at `at`; `noted` false takes it back."""

    what: lift_times.What
    noted: bool = True


class LoadBody(OutBody):
    """The crew is in its yard for another load (`here`), or that is on the van (`loaded`); `noted` false takes it back.

    Where a kit is not on the van: who decides so by name, and why. `although_moved` as of a visit.
    """

    load: Annotated[int, Field(ge=2, le=99)]
    what: load_times.What
    noted: bool = True
    although_moved: bool = False


@router.post("/crews/{crew_id}/days/{day}/lifts", responses=REFUSALS)
def lift(
    session: Database, who: Writer, now: Now, once: Once, crew_id: str, day: datetime.date, body: LiftBody
) -> Response:
    """Note when a second crew came for a lift, or when that was over; both crews may, and each notes for itself."""

    def write() -> Response:
        posted, noted = acting(session, who, crew_id, day, body, now)
        visit = lift_of(session, posted, body.visit, although_moved=body.although_moved)
        row = lift_times.note_lift(session, posted, visit, body.what, body.noted, noted)
        return JSONResponse({"visit": visit.id, "what": body.what, "at": row.at.isoformat() if row else None})

    own_day(session, who, crew_id, day, write=True)
    return once(session, write)


@router.post("/crews/{crew_id}/days/{day}/loads", responses=REFUSALS)
def load(
    session: Database, who: Writer, now: Now, once: Once, crew_id: str, day: datetime.date, body: LoadBody
) -> Response:
    """Note that the crew is in its yard for another load, or has it on the van; refused as leaving the yard is."""

    def write() -> Response:
        posted, noted = acting(session, who, crew_id, day, body, now)
        number = load_of(session, posted, body.load, although_moved=body.although_moved)
        overruled = body.overruled_by, body.overruled_why
        row = load_times.note_load(session, posted, number, body.what, body.noted, overruled, noted)
        return JSONResponse({"load": number, "what": body.what, "at": row.at.isoformat() if row else None})

    own_day(session, who, crew_id, day, write=True)
    return once(session, write)
