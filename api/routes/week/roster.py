"""The roster page: who rides with whom, set by hand with the verdict at once, filled by the solver, taken back."""

from __future__ import annotations

import dataclasses
import datetime
from typing import Annotated, Any, Literal

import msgspec
from fastapi import Form, Path, Query, Request
from fastapi.responses import RedirectResponse, Response
from sqlmodel import Session

from api.access.accounts import Role
from api.access.guards import LOOKERS, Who, allow, found
from api.clock import Now, local_moments
from api.fields.limits import as_sent
from api.http.pages import Database, page, wants_json
from api.http.problems import Problem, responses
from api.http.subject import Subject
from api.roster import keeping
from api.roster.filling import RosterKeeper, last_filled
from api.roster.keeping import RosterPlace, TriedPlace
from api.roster.shown import roster_shown
from api.tables import RosterChange
from scheduler.errors import BadInput
from scheduler.roster.seats import HALVES

router = Subject(prefix="/roster", tags=("roster",))
Staff = Annotated[Who, allow(*LOOKERS)]
Manager = Annotated[Who, allow(Role.manager)]
ChangeId = Annotated[int, Path(ge=1, le=2**31 - 1)]
Part = Literal["day", "morning", "afternoon"]
PersonId = Annotated[str, as_sent("person.id")]


@router.get("")
def roster(
    request: Request, session: Database, who: Staff, now: Now,
    of: Annotated[datetime.date | None, Query(alias="from", description="any day of the first week")] = None,
    person: Annotated[str, Query(max_length=80)] = "",
    day: Annotated[datetime.date | None, Query()] = None,
) -> Response:  # fmt: skip
    """Show two weeks of who rides with whom: people down, days across, and why it is not as usual where it is not.

    As JSON: `yards` with people and their days, `not_as_usual`, `broken` rules, `version` by date, and `filled`: when
    the solver last did it, what the roster is worth and the most that any could be, in cents.
    """
    return _page(request, session, who, now, of or day, {"person": person, "day": day})


@router.post("/places", responses=responses(400, 409, 412))
def put(
    request: Request, session: Database, who: Manager, now: Now,
    person: Annotated[PersonId, Form()],
    day: Annotated[datetime.date, Form()],
    crew: Annotated[str, Form(max_length=40)] = "",
    instead: Annotated[str, Form(max_length=40)] = "",
    part: Annotated[Part, Form()] = "day",
    version: Annotated[int, Form(ge=0, le=2**31 - 1)] = 0,
    look: Annotated[bool, Form()] = False,
) -> Response:  # fmt: skip
    """Put somebody with a crew ("": none) on a day or a half of it, in place of somebody who then trades with them.

    The verdict comes at once: `broken` rules, for which it is refused by 409, and what `follows`. look: say so and
    change nothing. `version` is that of the day: changed by somebody else since, it is refused by 412.
    """
    halves = (0, 1) if part == "day" else (HALVES.index(part),)
    place = RosterPlace(person, crew, day, halves, instead)
    if look:
        tried, _, _ = keeping.try_by_hand(session, place, now)
    elif wants_json(request):
        tried = keeping.put_by_hand(session, place, version, now, who.name)
    else:
        try:
            tried = keeping.put_by_hand(session, place, version, now, who.name)
        except Problem as fault:
            if fault.status != 409:
                raise
            tried = dataclasses.replace(keeping.try_by_hand(session, place, now)[0])
    if wants_json(request):
        return _json(dataclasses.asdict(tried))
    if look or tried.broken:
        form = {"person": person, "day": day, "crew": crew, "instead": instead, "part": part}
        return _page(request, session, who, now, day, form, tried, 200 if look else 409)
    return RedirectResponse(f"/roster?from={day}#changes", 303)


@router.post("/fill", status_code=202, responses=responses(409))
def fill(request: Request, _: Database, who: Manager) -> Response:
    """Have the solver fill the roster in the background; what was set by hand stays. It takes a moment."""
    keeper: RosterKeeper = request.app.state.roster
    if not keeper.ask(who.name):
        raise Problem(409, "The roster is being filled already.", kind="run-under-way")
    return _json({"going": True}, 202) if wants_json(request) else RedirectResponse("/roster", 303)


@router.post("/changes/{change_id}/undo", responses=responses(409))
def undo(request: Request, session: Database, who: Manager, now: Now, change_id: ChangeId) -> Response:
    """Take a change back, if none of its days has been changed since."""
    keeping.undo(session, found(session, RosterChange, change_id, "change of the roster"), now, who.name)
    return _json({"undone": change_id}) if wants_json(request) else RedirectResponse("/roster#changes", 303)


def _page(
    request: Request, session: Session, who: Who, now: datetime.datetime, monday: datetime.date | None,
    form: dict[str, Any], tried: TriedPlace | None = None, status: int = 200,
) -> Response:  # fmt: skip
    try:
        shown = roster_shown(session, now, monday)
    except BadInput as fault:
        raise Problem(404, f"There is no roster yet: {fault.problem}.") from None
    keeper: RosterKeeper = request.app.state.roster
    filled = last_filled(session)
    if wants_json(request):
        record = dataclasses.asdict(shown)
        record["filled"] = None if filled is None else {
            "made_at": filled.made_at, "by": filled.made_by, "cents": filled.cents, "bound": filled.bound,
        }  # fmt: skip
        record["version"] = {date.isoformat(): version for date, version in shown.version.items()}
        return _json(record | {"going": keeper.going, "fault": keeper.fault})
    people = [row for _, rows in shown.yards for row in rows]
    chosen = next((row for row in people if row.id == form["person"]), None)
    values = {
        "roster": shown, "people": people, "chosen": chosen, "form": form, "tried": tried,
        "planner": who.role is Role.manager, "going": keeper.going, "fault": keeper.fault, "filled": filled,
        "changes": keeping.changes(session), "moment": local_moments(session),
    }  # fmt: skip
    return page(request, "horizon/roster.html", values, status)


def _json(value: Any, status: int = 200) -> Response:
    return Response(msgspec.json.encode(value), status, media_type="application/json")
