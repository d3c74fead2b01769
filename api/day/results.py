"""What became of a visit on its day: steps signed off on site, and the result with its times and its because."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Any, Literal

from sqlalchemy import desc
from sqlmodel import Session, col, select

from api import tables
from api.bench.losses import losses
from api.day.expected import day_plans
from api.http import versions
from api.http.problems import Problem
from api.jobs.follow_on import again, follow_on
from api.jobs.racks import rack_follows
from api.jobs.taken_away import call_off_services
from api.languages import gettext, to_say
from api.ledger.plans.posted_days import Act, PostedDay
from api.shelf.setting_aside import taken
from scheduler.errors import BadInput

Outcome = Literal["done", "partly", "not_done"]
WORDS: dict[str, str] = {"done": to_say("done"), "partly": to_say("partly done"), "not_done": to_say("not done")}
# What crews tap where they could not finish; the office reads it in English.
REASONS = (
    to_say("nobody at home"), to_say("no way to the wall"), to_say("weather"), to_say("wall not as drawn"),
    to_say("part broken"), to_say("ran out of time"), to_say("customer wants it otherwise"),
)  # fmt: skip
IN_ORDER = "in order"


@dataclass(frozen=True)
class ResultTold:
    """What a crew says of a visit: its outcome, minutes after midnight (None: not begun), and why it is not done.

    `replaces` is the id of the result that the crew has seen and corrects, None where it has seen none. `left_min` is
    how long the rest of a visit partly done will take, None where nobody has said.
    """

    outcome: Outcome
    start: int | None
    end: int | None
    why: str
    replaces: int | None
    left_min: int | None = None


def steps(session: Session, visit_ids: tuple[str, ...], day: datetime.date) -> dict[str, dict[str, tables.StepDone]]:
    """Return the steps signed on `day`, by visit and step."""
    rows = select(tables.StepDone).where(
        tables.StepDone.day == day, col(tables.StepDone.visit_id).in_(visit_ids or ("",))
    )
    found: dict[str, dict[str, tables.StepDone]] = {visit: {} for visit in visit_ids}
    for row in session.exec(rows):
        found[row.visit_id][row.step] = row
    return found


def results(session: Session, visit_ids: tuple[str, ...], day: datetime.date) -> dict[str, tables.DayResult]:
    """Return the newest result of each visit on `day`."""
    rows = select(tables.DayResult).where(
        tables.DayResult.day == day, col(tables.DayResult.visit_id).in_(visit_ids or ("",))
    )
    return {row.visit_id: row for row in session.exec(rows.order_by(col(tables.DayResult.id)))}


def sign(
    session: Session, day: PostedDay, visit: tables.Visit, step: str, signed: bool, words: str, act: Act
) -> tables.StepDone | None:
    """Sign a step off, with `words` on what is not in order (empty: all is), or take the signature back.

    Raises `BadInput` for a step that visits of this kind do not have, and answers 409 where a signature is to be taken
    from a visit that is told to be done.
    """
    if step not in visit.work.steps:
        raise BadInput(
            "step", gettext('is none of the steps of {work}: "{step}"').format(work=visit.work.name, step=step)
        )
    row = session.get(tables.StepDone, (visit.id, day.day, step))
    if not signed:
        newest = _newest(session, visit.id, day)
        if newest is not None and newest.outcome == "done":
            detail = gettext("{visit} is told to be done: correct that first, then take back what was signed.")
            detail = detail.format(visit=visit.id)
            raise Problem(409, detail, kind="not-now", current=record(newest), sent={"step": step, "signed": False})
        if row is not None:
            session.delete(row)
            act.note(session, "took back", "visit", visit.id, {"step": step})
        return None
    if row is not None and row.note == words:
        return row
    if row is None:
        row = tables.StepDone(visit_id=visit.id, day=day.day, step=step, done_at=act.at, done_by=act.by)
    row.done_at, row.done_by, row.note = act.at, act.by, words
    session.add(row)
    act.note(session, "signed", "visit", visit.id, {"step": step, "not in order": words} if words else {"step": step})
    return row


def tell(session: Session, day: PostedDay, visit: tables.Visit, told: ResultTold, act: Act) -> tables.DayResult:
    """Note what became of a visit: done closes it, anything else leaves it open for a new time.

    Results are only added, the newest counts. Raises `BadInput` for times out of order or missing and for a reason that
    is missing; answers 409 where another result has been told meanwhile, where steps are unsigned, and where the visit
    was called off or done on another day.
    """
    _check(told)
    newest = _newest(session, visit.id, day)
    sent = {"outcome": told.outcome, "start": told.start, "end": told.end, "why": told.why}
    if (None if newest is None else newest.id) != told.replaces:
        detail = gettext(
            "Something else has been told of this visit meanwhile. Look at both, and send yours again if it holds."
        )
        current = None if newest is None else record(newest)
        raise Problem(409, detail, kind="changed-meanwhile", current=current, sent=sent)
    over = newest is not None and (newest.outcome == "done" or newest.follow_on is not None)
    if visit.state == "cancelled" or (visit.state == "done" and not over):
        off = visit.state == "cancelled"
        words = (
            gettext("{visit} was called off. Call the office.")
            if off
            else gettext("{visit} is done already. Call the office.")
        )
        detail = words.format(visit=visit.id)
        raise Problem(409, detail, kind="not-now", current={"state": visit.state}, sent=sent)
    signed = steps(session, (visit.id,), day.day)[visit.id]
    unsigned = [step for step in visit.work.steps if step not in signed]
    if told.outcome == "done" and unsigned:
        detail = gettext("Not signed yet: {names}. Sign each, or say there what is not in order.")
        detail = detail.format(names="; ".join(gettext(step) for step in unsigned))
        raise Problem(409, detail, kind="not-now", unsigned=unsigned, sent=sent)
    rest = _rest(session, day, visit, told, newest, act)
    row = tables.DayResult(
        left_min=told.left_min if told.outcome == "partly" else None,
        follow_on=rest,
        visit_id=visit.id,
        crew_id=day.crew_id,
        day=day.day,
        start=told.start,
        end=told.end,
        outcome=told.outcome,
        why="" if told.outcome == "done" else told.why,
        checks={step: signed[step].note or IN_ORDER for step in visit.work.steps if step in signed},
        noted_at=act.at,
        noted_by=act.by,
    )
    session.add(row)
    session.flush()
    state = "done" if told.outcome == "done" or rest is not None else "open"
    noted: dict[str, Any] = {"result": row.id, "crew": day.crew_id, "day": day.day.isoformat(), **sent}
    changes: dict[str, Any] = {"state": state} if state != visit.state else {}
    if told.outcome == "partly" and told.left_min is not None and rest is None:
        changes["minutes"] = told.left_min
    if changes:
        noted |= {name: [getattr(visit, name), value] for name, value in changes.items()}
        if not versions.update(session, visit, changes):
            raise Problem(
                409,
                gettext("{visit} was changed at the same moment; send it again.").format(visit=visit.id),
                kind="changed-meanwhile",
            )
    act.note(session, WORDS[told.outcome], "visit", visit.id, noted)
    if told.outcome == "done" or (newest is not None and newest.outcome == "done"):
        rack_follows(session, visit, done=told.outcome == "done", day=day.day, by=act.by, now=act.now)
    if told.outcome == "done":
        call_off_services(session, visit, by=act.by, now=act.now)
        if visit.kind != "install":  # an install's are taken as it is loaded
            taken(session, visit.id, day.day, by=act.by, now=act.now)
            session.refresh(row)  # what turns reservations has the session forget its rows
    return row


def _rest(
    session: Session, day: PostedDay, visit: tables.Visit, told: ResultTold, newest: tables.DayResult | None, act: Act
) -> str | None:
    """Return the visit that does the rest of one partly done, made now or before; None: the visit itself stays open.

    It does where a piece is missing or broken: its kit is then completed first. A rest made before that is not needed
    any more is cancelled.
    """
    before = None if newest is None or newest.follow_on is None else session.get_one(tables.Visit, newest.follow_on)
    lost = losses(session, (visit.id,), day.day)
    left = told.left_min if told.outcome == "partly" and not lost else None
    if before is not None:
        kept = again(session, before, left, now=act.now, by=act.by)
        return before.id if left is not None and kept else None
    if left is None:
        return None
    plan = day_plans(session, day.posted, day.day).get(day.crew_id)
    job = None if plan is None else next((job for job in plan.jobs if job.id == visit.id), None)
    return follow_on(session, visit, job, left, told.why, now=act.now, by=act.by).id


def record(row: tables.DayResult) -> dict[str, Any]:
    """Return a result as JSON."""
    return row.model_dump(mode="json")


def _newest(session: Session, visit_id: str, day: PostedDay) -> tables.DayResult | None:
    rows = select(tables.DayResult).where(tables.DayResult.visit_id == visit_id, tables.DayResult.day == day.day)
    return session.exec(rows.order_by(desc(col(tables.DayResult.id)))).first()


def _check(told: ResultTold) -> None:
    if told.left_min is not None and told.outcome != "partly":
        raise BadInput(
            "left_min",
            gettext("is for a visit partly done, this one is {told}").format(told=gettext(WORDS[told.outcome])),
        )
    if told.outcome != "done" and not told.why:
        raise BadInput("why", gettext("say because of what it could not be finished"))
    begun = told.outcome != "not_done"
    for where, minute in (("start", told.start), ("end", told.end)):
        if minute is None and begun:
            raise BadInput(where, gettext("say when the work began and when it ended"))
    if told.start is not None and told.end is not None and told.end < told.start:
        raise BadInput("end", gettext("must not be before the start"))
