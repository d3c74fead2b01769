"""The week sheet, and the map of a day's routes."""

from __future__ import annotations

import datetime
import zoneinfo
from typing import Annotated, Any, cast
from urllib.parse import quote

import msgspec
from fastapi import Path, Query, Request
from fastapi.responses import JSONResponse, RedirectResponse, Response
from markupsafe import Markup
from sqlalchemy import desc, func
from sqlalchemy.orm import defer
from sqlmodel import Session, col, select

from api import tables
from api.access.accounts import Role
from api.access.guards import LOOKERS, STAFF, Who, allow, found
from api.access.idempotency import Once
from api.clock import Now, local_day
from api.falls.falls import CannotGo, findings
from api.horizon.later_week import later_week
from api.http.pages import Database, page, part, wants_json
from api.http.problems import Problem, responses
from api.http.subject import Subject
from api.languages import language
from api.ledger.forecasts import standing_words
from api.ledger.kept import kept, unchanged
from api.ledger.plans.documents import plan_in
from api.ledger.plans.posted import posted_week
from api.ledger.plans.stored import planned_weeks
from api.ledger.told import HOLDS
from api.running.crews import CellNow, CrewLine, cells_now, crew_lines
from api.settings import Settings
from api.week import plans
from api.weeksheet import WeekPage, week_page
from api.weeksheet.roadmap import METRES, UNIT, road_map
from scheduler.documents import encode

router = Subject()

# Who plans, moves, locks and posts, and who may lay plans against each other on the page.
PLANNERS, COMPARERS = (Role.manager,), (Role.manager, Role.office)
_MOST_PLANS = 40
_WEEK = datetime.timedelta(days=7)
_WEEKS_AHEAD = 12  # further on no forecast, kit or promise says anything yet
Day = Annotated[int, Query(ge=0, le=366)]
PlanId = Annotated[int | None, Query(ge=1, le=2**31 - 1)]


@router.get("/", responses={303: {"description": "the week that was planned last"}})
def home(request: Request, session: Database, who: Annotated[Who, allow(*STAFF)], now: Now) -> Response:
    """Lead to the week that was planned last, a crew lead to the day of their own crew."""
    if who.role is Role.lead:
        if who.crew_id is None:
            return page(request, "day/no_crew.html", {})
        return RedirectResponse(f"/crews/{quote(who.crew_id, safe='')}/days/{local_day(session, now)}", 303)
    weeks = planned_weeks(session)
    if not weeks:
        return page(request, "empty.html", {})
    return RedirectResponse(f"/weeks/{weeks[0]}", 303)


@router.get("/weeks/{start_date}")
def week(
    request: Request,
    session: Database,
    who: Annotated[Who, allow(*LOOKERS)],
    now: Now,
    start_date: datetime.date,
    plan: PlanId = None,
) -> Response:
    """Show the plan with the id `plan` of the week that begins on `start_date`, or the newest.

    A week without a plan of its own is shown by half days as far as the weeks ahead are planned; else it has a page to
    plan it from, if it can still be planned.
    """
    around = _around(session, now, start_date)
    if plan is None and not wants_json(request) and newest_of(session, start_date) is None and around["open"]:
        values: dict[str, Any] = {
            "start": start_date,
            "planner": who.role in PLANNERS,
            "run": _run(session, start_date),
        }
        later = later_week(session, start_date)
        if later is not None:
            return page(request, "week/later.html", values | {"later": later} | around)
        return page(request, "week/unplanned.html", values | around)
    stored, others = _stored(session, start_date, plan)
    if wants_json(request):
        return Response(encode(plan_in(stored)) if stored.reasons else stored.plan, media_type="application/json")
    shown, planner = week_page(session, stored), who.role in PLANNERS
    posted = posted_week(session, start_date)
    lines = _lines(session, start_date, now) if posted is not None and posted.plan_id == stored.id else []
    values = {
        "page": shown,
        "board": _board(session, shown, planner, cells_now(lines, (local_day(session, now) - start_date).days)),
        "at_risk": [risk for line in lines for risk in line.risks],
        "stored": stored,
        "newest": others[0].id == stored.id,
        "posted": posted,
        "plans": others,
        "planner": planner,
        "holds": HOLDS,
        "tools": who.role in COMPARERS,
        "run": _run(session, start_date),
        "weather_words": standing_words(session, now, shown.week.timezone),
        "falls": _falls(request, start_date, now) if around["open"] and who.role in COMPARERS else [],
    }
    return page(request, "week/week.html", values | around)


@router.get("/weeks/{start_date}/map")
def map_of_day(
    request: Request,
    session: Database,
    _: Annotated[Who, allow(*LOOKERS)],
    start_date: datetime.date,
    day: Day = 0,
    crew: str = "",
    plan: PlanId = None,
) -> Response:
    """Draw the routes of the week's day `day` (0 = its first), all of them or that of one crew strongly."""
    stored, _others = _stored(session, start_date, plan)
    shown = week_page(session, stored)
    if day >= shown.week.days:
        raise Problem(404, f"The week of {start_date} has no day {day}; its days are 0 to {shown.week.days - 1}.")
    settings: Settings = request.app.state.settings
    units = session.exec(select(tables.Business.units)).first() or "imperial"
    values: dict[str, Any] = {
        "page": shown,
        "date": start_date + datetime.timedelta(days=day),
        "day_number": day,
        "only": crew,
        "map": road_map(
            shown.week,
            [cell for cell in shown.sheet.cells if cell.day == day],
            shown.jobs,
            {row.id: row.name for row in shown.rows},
            {row.yard_id: row.yard for row in shown.rows},
            only=crew,
            units=units,
            tiles=settings.tiles,
        ),
        "credit": settings.tiles_credit,
        "per_unit": METRES[units],
        "unit": UNIT[units],
    }
    return page(request, "week/map.html", values)


@router.get("/plans/{plan_id}/promises")
def promises_not_kept(
    request: Request,
    session: Database,
    _: Annotated[Who, allow(*LOOKERS)],
    plan_id: Annotated[int, Path(ge=1, le=2**31 - 1)],
) -> Response:
    """Say of each promise that a plan breaks why, and what keeping it would cost, the rest as it stands or anew."""
    docs = plans.documents(session, plan_id)
    why = plans.promises_not_kept(session, docs)
    if wants_json(request):
        return JSONResponse(why)
    return page(request, "week/promises.html", {"why": why, "plan_id": plan_id, "start": docs.week.start_date})


@router.post("/plans/{plan_id}/undo", status_code=201, responses=responses(400, 409))
def undo(
    session: Database,
    who: Annotated[Who, allow(*PLANNERS)],
    now: Now,
    once: Once,
    plan_id: Annotated[int, Path(ge=1, le=2**31 - 1, description="the number of the newest plan of a week")],
) -> Response:
    """Take back what made this plan of another: that other is stored once more, as it was, and so is the newest.

    Refused by 409 where the plan was made of no other, or is not the newest any more (`changed-meanwhile`).
    """

    def write() -> Response:
        plan = found(session, tables.StoredPlan, plan_id, "plan")
        row = plans.undo(session, plan, now=now, by=who.name)
        return JSONResponse({"plan_id": row.id, "again": plan.made_from}, 201, {"Location": f"/plans/{row.id}"})

    return once(session, write)


def _around(session: Session, now: datetime.datetime, start_date: datetime.date) -> dict[str, Any]:
    """Return the weeks `before` and `after` that have a page, else None, and whether this one is `open` to planning."""
    zone = session.exec(select(tables.Business.timezone)).first()
    today = now.astimezone(zoneinfo.ZoneInfo(zone or "UTC")).date()
    planned = set(planned_weeks(session))

    def is_open(date: datetime.date) -> bool:
        weeks_on = (date - (today - datetime.timedelta(days=today.weekday()))).days / 7
        return zone is not None and date.weekday() == 0 and 0 <= weeks_on <= _WEEKS_AHEAD

    if not datetime.date.min + _WEEK <= start_date <= datetime.date.max - _WEEK:
        return {"before": None, "after": None, "open": False}
    before, after = start_date - _WEEK, start_date + _WEEK
    return {
        "before": before if before in planned or is_open(before) else None,
        "after": after if after in planned or is_open(after) else None,
        "open": is_open(start_date),
    }


def newest_of(session: Session, start_date: datetime.date) -> int | None:
    """Return the number of the newest plan of a week, which is the one that counts."""
    table = tables.StoredPlan
    return session.exec(select(func.max(table.id)).where(table.start_date == start_date)).one()


def _stored(session: Session, start_date: datetime.date, plan: int | None) -> tuple[tables.StoredPlan, list[Any]]:
    """Return a plan of the week, and all of the newest without their documents; answers 404 where there is none."""
    table = tables.StoredPlan
    rows = session.execute(
        select(table.id, table.made_at, table.cost_cents, table.how)
        .where(table.start_date == start_date)
        .order_by(desc(col(table.id)))
        .limit(_MOST_PLANS)
    ).all()
    if not rows:
        raise Problem(404, f"No plan has been made for the week of {start_date}.")
    wanted = select(table).where(table.id == (rows[0].id if plan is None else plan), table.start_date == start_date)
    # The documents are long; mostly what was made of them is in memory.
    stored = session.exec(wanted.options(defer(cast(Any, table.week)), defer(cast(Any, table.plan)))).first()
    if stored is None:
        raise Problem(404, f"The week of {start_date} has no plan {plan}.")
    return stored, list(rows)


def _falls(request: Request, start_date: datetime.date, now: datetime.datetime) -> list[CannotGo]:
    """Return the visits of the posted week that cannot go as posted."""
    today = request.app.state.searches.days.of(start_date, now)
    return [] if today is None else findings(today)


def _lines(session: Session, start_date: datetime.date, now: datetime.datetime) -> list[CrewLine]:
    """Return how today's crews stand, where today is of this week."""
    today = local_day(session, now)
    return crew_lines(session, today, now) if start_date <= today < start_date + _WEEK else []


def _board(session: Session, shown: WeekPage, planner: bool, running: dict[str, CellNow]) -> Markup:
    """Return the sheet itself as HTML, from memory while nothing has changed."""
    key = (
        "board",
        language(),
        shown.plan_id,
        shown.reasons_wanted,
        planner,
        msgspec.json.encode(running),
        unchanged(session),
    )
    values = {"page": shown, "planner": planner, "holds": HOLDS, "running": running}
    return kept(session, key, lambda: Markup(part("week/board.html", values)))


def _run(session: Session, start_date: datetime.date) -> tables.PlanRun | None:
    """Return the run of the planner that is under way for the week, if there is one."""
    run = tables.PlanRun
    going = select(run).where(run.start_date == start_date, run.weeks == 1, col(run.state).in_(("waiting", "running")))
    return session.exec(going.order_by(desc(col(run.id)))).first()
