"""One way for the rest of a crew's day is taken, or taken back: posted at once, or not at all."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Any

import msgspec
from sqlmodel import Session, col, select

from api import tables
from api.falls.today import Today
from api.fields.shown import dollars
from api.http.names import crew_called
from api.http.problems import Problem
from api.ledger.fingerprint import fingerprint
from api.ledger.history import note
from api.ledger.plans.documents import because_as_data
from api.ledger.plans.posted import posted_on, posted_week
from api.messages.telling import drop_drafts
from api.rebooking.put_off import other_day, put_off
from api.rebooking.search import Searches
from api.rebooking.standing import explained
from api.running.changes import changed_since, weighs
from api.running.crews import crew_lines
from api.running.ground import DayGround, day_ground
from api.running.late import tell_today
from api.week.post import post
from api.week.run.planning import store_plan
from scheduler.under_way.ways import DayWay, ways

UNDER_WAY = "The day is under way: what has happened stands in it as it happened."


@dataclass(frozen=True)
class Seen:
    """What whoever takes a way had before them: the newest line of the history, and what its promises cost."""

    line: int
    weighs: int


@dataclass(frozen=True)
class WayTaken:
    """What came of it: `repair`, or the changed visit (`case`) that a visit put off has become."""

    repair: tables.DayRepair | None
    case: tables.RebookingCase | None


def take_way(
    session: Session, searches: Searches, day: datetime.date, crew_id: str, key: str, seen: Seen, *,
    now: datetime.datetime, by: str,
) -> WayTaken:  # fmt: skip
    """Take the way `key` for the rest of a crew's day: post it, and draft what customers are to be told.

    Raises `Problem` 409, saying what has changed, where the crews have noted anything or the week was posted since it
    was `seen`, where its promises have become dearer, or where it keeps the rules no more. Nothing is changed then.
    """
    ground = day_ground(session, searches.days, day, now, crew_id)
    found = ways(ground.now, crew_id, only=key)
    crews = {crew_id, *(found[0].days if found else ())}
    if changed := changed_since(session, seen.line, day, crews):
        words = "; ".join(changed)
        raise _moved(
            f"The day has moved meanwhile: {words}. Nothing was changed; look at what can be done now.", changed
        )
    if not found:
        raise _moved("The hour has gone on, and this can no longer be done. Nothing was changed.", [])
    way = found[0]
    if (dearer := weighs(way.cents) - seen.weighs) > 0:
        more = dollars(dearer)
        raise _moved(f"The hour has gone on: promises would cost {more} more by now. Nothing was changed.", [])
    if way.kind == "put off":
        why = f"{crew_called(session, crew_id)} could not come that day any more."
        other = other_day(session, ground.today, way.visit)
        return WayTaken(None, put_off(session, searches, ground.today, way.visit, why, other, now=now, by=by))
    return WayTaken(_repair(session, ground, way, day, crew_id, now=now, by=by), None)


def _repair(
    session: Session,
    ground: DayGround,
    way: DayWay,
    day: datetime.date,
    crew_id: str,
    *,
    now: datetime.datetime,
    by: str,
) -> tables.DayRepair:
    today = ground.today
    _require_posted(session, today)
    assert way.week is not None
    assert way.plan is not None
    plan = explained(way.plan, today.posted.plan, today.built.because)
    stored = store_plan(
        session, way.week, plan, because=because_as_data(today.built.because),
        inputs=fingerprint(way.week, msgspec.to_builtins(plan.routes)), how="repaired", now=now, by=by,
        made_from=today.posted.plan_id, timed=today.built.timed,
    )  # fmt: skip
    assert stored.id is not None
    van: dict[str, Any] = {} if way.van is None else msgspec.to_builtins(way.van)
    row = tables.DayRepair(
        day=day, kind=way.kind, visit_id=way.visit, other_id=way.other or None, from_crew=crew_id,
        to_crew=way.crew or crew_id, van=van, plan_id=stored.id, before_id=today.posted.plan_id, taken_at=now,
        taken_by=by,
    )  # fmt: skip
    session.add(row)
    session.flush()
    detail = {"kind": way.kind, "from": crew_id, "to": row.to_crew, "with": way.other, "plan": stored.id}
    note(session, now, by, "changed the day of", "visit", way.visit, detail)
    post(session, stored, today.built.week, now=now, by=by, despite_why=UNDER_WAY)
    tell_late(session, day, set(way.days), now=now, by=by)
    return row


def tell_late(session: Session, day: datetime.date, crews: set[str], *, now: datetime.datetime, by: str) -> None:
    """Draft for each customer of these crews who would come late what there is to tell, where nothing is drafted."""
    for line in crew_lines(session, day, now):
        for risk in line.risks:
            if line.crew in crews and risk.message is None and not _drafted(session, risk.visit):
                tell_today(session, day, risk.visit, now=now, by=by)


def undo_repair(
    session: Session, searches: Searches, repair: tables.DayRepair, *, now: datetime.datetime, by: str
) -> None:
    """Post the plan again that was posted before; drafts that told of the change are dropped.

    Answers 409 where the week was posted anew since, or a crew has begun what was changed.
    """
    posted = posted_on(session, repair.day)
    today = None if posted is None else searches.days.of(posted.start_date, now)
    if today is None or posted is None or posted.plan_id != repair.plan_id or repair.undone_at is not None:
        raise _moved("The week has been posted anew since: there is nothing to undo here.", [])
    changed = [name for name in (repair.visit_id, repair.other_id) if name is not None]
    begun = select(tables.StopTime.visit_id).where(
        tables.StopTime.day == repair.day, col(tables.StopTime.visit_id).in_(changed)
    )
    told = select(tables.DayResult.visit_id).where(
        tables.DayResult.day == repair.day, col(tables.DayResult.visit_id).in_(changed)
    )
    for name in sorted([*session.exec(begun), *session.exec(told)]):
        raise _moved(f"A crew is at {name} or on its way there: it cannot be undone any more.", [])
    _require_posted(session, today)
    before = session.get_one(tables.StoredPlan, repair.before_id)
    made = select(tables.Message.visit_id).where(tables.Message.made_at >= repair.taken_at)
    for visit in set(session.exec(made.where(col(tables.Message.state).in_(("draft", "failed"))))):
        if visit in today.posted.spots:
            drop_drafts(session, visit)
    repair.undone_at, repair.undone_by = now, by
    session.add(repair)
    note(session, now, by, "undid the change of", "visit", repair.visit_id, {"repair": repair.id})
    post(session, before, today.built.week, now=now, by=by, despite_why=UNDER_WAY)


def repairs_of(session: Session, day: datetime.date) -> list[tables.DayRepair]:
    """Return what was changed of a day and not taken back, in the order in which it was."""
    rows = select(tables.DayRepair).where(tables.DayRepair.day == day, col(tables.DayRepair.undone_at).is_(None))
    return list(session.exec(rows.order_by(col(tables.DayRepair.id))))


def _drafted(session: Session, visit_id: str) -> bool:
    rows = select(tables.Message.id).where(
        tables.Message.visit_id == visit_id, col(tables.Message.state).in_(("draft", "failed", "sending"))
    )
    return session.exec(rows.limit(1)).first() is not None


def _require_posted(session: Session, today: Today) -> None:
    """Refuse where somebody posted at the same moment; on a server, keep others out until this is done."""
    row = tables.PostedWeek
    session.exec(select(row).where(row.id == today.posted.posted_id).with_for_update()).one()
    now = posted_week(session, today.posted.start_date)
    if now is None or now.id != today.posted.posted_id:
        raise _moved("The week has been posted anew at this moment. Nothing was changed.", [])


def _moved(words: str, changed: list[str]) -> Problem:
    return Problem(409, words, kind="changed-meanwhile", changed=changed)
