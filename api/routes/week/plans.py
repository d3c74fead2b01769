"""Plans as JSON: listed, read, laid against each other, tried and moved by hand; locks; posting.

Days are dates (2027-04-12) or, in a try or a move, the number of the day in the week; starts are minutes after local
midnight. Sentences are for people, `rule` and `kind` for programs.
"""

from __future__ import annotations

import datetime
from typing import Annotated, Any

import msgspec
from fastapi import Path, Request
from fastapi.responses import Response
from pydantic import Field
from sqlmodel import Session

from api.access.accounts import Role
from api.access.guards import LOOKERS, Who, allow, found
from api.access.idempotency import Once
from api.clock import Now
from api.fields.shown import DAY_MIN
from api.http.pages import Database
from api.http.problems import Problem, responses
from api.http.subject import Subject
from api.languages import page_language, speaking
from api.languages.core import refused_says
from api.ledger.plans.posted import posted_week
from api.routes import records
from api.routes.lists import All
from api.tables import Crew, Visit
from api.tables import Lock as LockRow
from api.week import locks, plans, post
from api.week.plans import Documents
from api.week.run.planning import prepare_week
from scheduler import Comparison, Lock, Off, Put, Tried, by_hand, compare
from scheduler.documents import encode
from scheduler.errors import BadInput
from scheduler.judged import Breach
from scheduler.week import Week, week_document

router = Subject(tags=("plans",))
Staff = Annotated[Who, allow(*LOOKERS)]
Office = Annotated[Who, allow(Role.manager, Role.office)]
Manager = Annotated[Who, allow(Role.manager)]
PlanId = Annotated[int, Path(description="the number of a stored plan")]
Start = Annotated[int | None, Field(ge=0, lt=DAY_MIN, description="minutes after midnight; null: any")]
Name = Annotated[records.Words, Field(min_length=1, max_length=80)]
Date = Annotated[datetime.date, Field(strict=False)]


class MoveBody(records.Body):
    """One visit to be put with a crew on a day, or (`pile` true, and nothing else) taken off the sheet.

    `start` null: the best time; `position`: which stop of that day it becomes, from 0, null: the best place.
    `despite`, for a move alone: although it breaks a promise to a customer.
    """

    visit: Name
    pile: bool = False
    crew: Name | None = None
    day: Annotated[int, Field(ge=0, le=366)] | Date | None = None
    start: Start = None
    position: Annotated[int | None, Field(ge=0, le=1000)] = None
    despite: bool = False


class LockBody(records.Body):
    """With which crew, on which date and at which start (null: any) a visit is to stay."""

    crew: Name
    day: Date
    start: Start = None


class PostBody(records.Body):
    """The plan to be posted; `despite` is the reason why, where something stands against it."""

    plan_id: Annotated[int, Field(ge=1, lt=2**31)]
    despite: Annotated[records.Words, Field(max_length=500)] = ""


@router.get("/weeks/{start_date}/plans")
def week_plans(session: Database, _: Staff, start_date: datetime.date, part: All) -> Response:
    """List the plans of a week, the newest first, in `items`.

    Each has `id`, `how` (planned, moved, repaired, offered), `made_from`, `made_by`, `made_at`, `cost_cents`,
    `bound_cents`, `seconds`, `note`, `posted` (this is the plan that counts now) and `was_posted`.
    """
    return part.whole(plans.plan_list(session, start_date), lambda one: one["id"], lambda one: one)


@router.get("/plans/{plan_id}")
def plan(session: Database, _: Staff, plan_id: PlanId) -> Response:
    """Give a plan as its document, `plan/1`."""
    return Response(encode(plans.documents(session, plan_id).plan), media_type="application/json")


@router.get("/plans/{plan_id}/week")
def plan_week(session: Database, _: Staff, plan_id: PlanId) -> Response:
    """Give the week document that a plan was made of, `week/1`."""
    return Response(week_document(plans.documents(session, plan_id).week), media_type="application/json")


@router.get("/plans/{plan_id}/against/{other_id}")
def against(session: Database, _: Staff, plan_id: PlanId, other_id: PlanId) -> Response:
    """Lay a plan against another of the same week: who moves, what it saves, which promises only one of them keeps.

    `moves`: `[{visit, what, before, after, sentence}]`, where `before` (in the other plan) and `after` (in this one)
    are `{crew, day, date, start}` or null for the waiting pile; those that keep crew, day and half an hour come last
    ("stays"). `saves_cents` by kind and in `total`, negative where this plan costs more. `promises`: `kept` and
    `broken` by this plan alone, `broken_in_both`. `same_week`: both were made of the same week document; where not, the
    other is priced by this plan's.
    """
    mine, other = plans.documents(session, plan_id), plans.documents(session, other_id)
    if mine.week.start_date != other.week.start_date:
        raise Problem(409, f"Plan {plan_id} is for the week of {mine.week.start_date}, plan {other_id} for that of "
                      f"{other.week.start_date}.")  # fmt: skip
    laid = compare(mine.week, mine.plan, other.week, other.plan)
    return _json({"plan": plan_id, "other": other_id, **_comparison(mine.week, laid)})


@router.post("/plans/{plan_id}/tries")
def try_move(session: Database, _: Office, plan_id: PlanId, body: MoveBody) -> Response:
    """Say what a move would come to; nothing is stored.

    `allowed`: no rule and no lock is broken. `broken`: `[{rule, sentence, visit, promise}]`, where `promise` true marks
    a promise to a customer, which a move may break by `despite`. `cost_change_cents`, and by kind in `by_kind`, new
    less old. `routes`: each touched crew day as in `plan/1`, with its `date`; one that is emptied has no stops.
    """
    docs = plans.documents(session, plan_id)
    tried = by_hand(docs.week, docs.plan, _hand(docs.week, body), _locks(session, docs))
    with speaking(page_language()):  # the sheet shows it as it comes
        return _json(_tried(docs.week, tried))


@router.post("/plans/{plan_id}/moves", status_code=201, responses=responses(400, 409))
def make_move(session: Database, who: Manager, now: Now, once: Once, plan_id: PlanId, body: MoveBody) -> Response:
    """Store the plan that a move makes, `how` "moved" and `made_from` this plan: undoing is going back to that.

    A move that breaks a rule or a lock is refused by 409 (`breaks-rule`, `lock-broken`) with the sentences in `detail`
    and in `broken`. One that breaks only a promise to a customer is refused (`breaks-promise`) unless `despite` is
    true; the stored plan then lists the promise as broken, openly. The answer is that of a try, with `plan_id`. In a
    large week the new plan has for jobs that wait the reasons of the one before, until they are found anew.
    """

    def write() -> Response:
        docs = plans.documents(session, plan_id)
        hand = _hand(docs.week, body)
        row, tried = plans.move(session, docs, hand, _locks(session, docs), despite=body.despite, now=now, by=who.name)
        record = {"plan_id": row.id, "made_from": docs.id, "cost_cents": row.cost_cents, **_tried(docs.week, tried)}
        return _json(record, 201, {"Location": f"/plans/{row.id}"})

    return once(session, write)


@router.get("/weeks/{start_date}/locks")
def week_locks(session: Database, _: Staff, start_date: datetime.date, part: All) -> Response:
    """List the locks of the seven days from a date on, in `items`."""
    found = locks.lock_rows(session, start_date, 7)
    return part.whole(found, lambda row: row.visit_id, lambda row: row.model_dump(mode="json"))


@router.put("/locks/{visit_id}", responses=responses(400, 409))
def lock(
    request: Request, session: Database, who: Manager, now: Now, once: Once, visit_id: str, body: LockBody
) -> Response:
    """Lock a visit to a crew, a day and, unless null, a start; a lock that it had is replaced.

    The next run leaves it there, and so does every move of another visit. Refused by 409 (`lock-broken`) with the
    sentences where today's rows, or the other locks, do not let it stay there.
    """

    def write() -> Response:
        visit = found(session, Visit, visit_id, "visit")
        if visit.state != "open":
            raise Problem(409, f"{visit_id} is {visit.state}: there is nothing to be planned any more.")
        found(session, Crew, body.crew, "crew")
        monday = body.day - datetime.timedelta(days=body.day.weekday())
        week = prepare_week(request.app.state.database, monday, now).built.week
        row = locks.put_lock(session, visit_id, body.crew, body.day, body.start, week, now=now, by=who.name)
        return _json(row.model_dump(mode="json"))

    return once(session, write)


@router.delete("/locks/{visit_id}", status_code=204, responses=responses(400))
def unlock(session: Database, who: Manager, now: Now, once: Once, visit_id: str) -> Response:
    """Take the lock of a visit off."""

    def write() -> Response:
        row = found(session, LockRow, visit_id, "lock")
        locks.take_off(session, row, now=now, by=who.name)
        return Response(status_code=204)

    return once(session, write)


@router.get("/weeks/{start_date}/posted")
def posted(session: Database, _: Staff, start_date: datetime.date) -> Response:
    """Give the posting that counts for a week: `id`, `plan_id`, `posted_at`, `posted_by`, `despite`, `despite_why`."""
    row = posted_week(session, start_date)
    if row is None:
        raise Problem(404, f"Nothing is posted for the week of {start_date}.")
    return _json(row.model_dump(mode="json"))


@router.post("/weeks/{start_date}/post", status_code=201, responses=responses(400, 409))
def post_week(
    request: Request, session: Database, who: Manager, now: Now, once: Once, start_date: datetime.date, body: PostBody
) -> Response:
    """Post a plan: it becomes the one that crews and customers see, until another is posted for its week.

    Refused by 409 with the sentences in `against` where the plan breaks a rule (`breaks-rule`), or no longer fits
    today's rows (`not-current`): a kit no longer verified, a crew off, hours taken by the weather. A plan that only no
    longer fits can be posted all the same with the reason in `despite`, which is kept with the posting by name.
    """

    def write() -> Response:
        today = prepare_week(request.app.state.database, start_date, now).built.week
        row = post.post_plan(
            session, start_date, body.plan_id, today, now=now, by=who.name, despite_why=body.despite
        )  # fmt: skip
        return _json(row.model_dump(mode="json"), 201, {"Location": f"/weeks/{start_date}/posted"})

    return once(session, write)


def _hand(week: Week, body: MoveBody) -> Put | Off:
    if body.pile:
        if (body.crew, body.day, body.start, body.position) != (None,) * 4:
            raise BadInput("pile", "goes without crew, day, start and position; leave them out or pile false")
        return Off(body.visit)
    if body.crew is None:
        raise BadInput("crew", "is missing; name the crew, or say pile true")
    if body.day is None:
        raise BadInput("day", "is missing; give a date, or say pile true")
    day = (body.day - week.start_date).days if isinstance(body.day, datetime.date) else body.day
    return Put(body.visit, body.crew, day, body.start, body.position)


def _locks(session: Session, docs: Documents) -> dict[str, Lock]:
    return locks.locks_of(session, docs.week.start_date, docs.week.days)


def _tried(week: Week, tried: Tried) -> dict[str, Any]:
    change = msgspec.to_builtins(tried.change)
    routes = {(route.crew, route.day): route for route in tried.plan.routes}
    return {
        "allowed": tried.allowed,
        "broken": [_breach(b, promise=False) for b in tried.breaches] + [_breach(b, promise=True)
                                                                          for b in tried.promises],
        "cost_change_cents": change.pop("total"),
        "by_kind": change,
        "routes": [
            {"date": _date(week, day), **(msgspec.to_builtins(routes[crew, day]) if (crew, day) in routes else
             {"crew": crew, "day": day, "depart": None, "return": None, "helpers": 0, "rest": None, "stops": []})}
            for crew, day in tried.touched
        ],
    }  # fmt: skip


def _breach(breach: Breach, *, promise: bool) -> dict[str, Any]:
    return {"rule": breach.rule, "sentence": refused_says(breach.sentence), "visit": breach.job, "promise": promise}


def _comparison(week: Week, laid: Comparison) -> dict[str, Any]:
    saves = msgspec.to_builtins(laid.saves)

    def spot(at: Any) -> dict[str, Any] | None:
        if at is None:
            return None
        return {"crew": at.crew, "day": at.day, "date": _date(week, at.day), "start": at.start}

    return {
        "same_week": laid.same_week,
        "moves": [
            {"visit": m.job, "what": m.what, "before": spot(m.before), "after": spot(m.after), "sentence": m.sentence}
            for m in laid.moves
        ],
        "saves_cents": saves,
        "promises": {"kept": laid.kept, "broken": laid.broken, "broken_in_both": laid.broken_in_both},
    }


def _date(week: Week, day: int) -> str:
    return str(week.start_date + datetime.timedelta(days=day))


def _json(value: Any, status: int = 200, headers: dict[str, str] | None = None) -> Response:
    return Response(msgspec.json.encode(value), status, headers, "application/json")
