"""The owner's page: what weeks cost, what was lost and to what, how crews and ladders were used, what would pay."""

from __future__ import annotations

import datetime
from dataclasses import asdict
from typing import Annotated, Any, Literal

import msgspec
from fastapi import BackgroundTasks, Form, Request
from fastapi.responses import RedirectResponse, Response
from markupsafe import Markup
from sqlmodel import Session

from api import tables
from api.access.accounts import Role
from api.access.guards import LOOKERS, Who, allow
from api.clock import Now, local_day
from api.http.names import crew_names
from api.http.pages import Database, page, wants_json
from api.http.problems import Problem
from api.http.subject import Subject
from api.languages import to_say
from api.ledger.fingerprint import code_of, fingerprint
from api.ledger.plans.documents import beside
from api.looking_back.happened import Happened, happened
from api.looking_back.plots import cost_plot, crew_plot, happened_plot, pool_plot
from api.looking_back.weeks import WHENS, WeekBack, named, week_dates, weeks_back
from api.looking_back.worth import CHOICES_S, ask, newest
from scheduler.reports.looking_back import COST_KINDS

router = Subject(prefix="/looking-back", tags=("looking back",))
Looker = Annotated[Who, allow(*LOOKERS)]
Manager = Annotated[Who, allow(Role.manager)]
Plot = Literal["cost", "crews", "ladders"]
TO_RUN = ("crews", "travel", "overtime", "weekly", "helpers")  # money that leaves the bank; the other kinds only weigh

KIND_WORDS = {
    "crews": (to_say("Crews' days and minutes"), to_say("what sending the crews out costs")),
    "travel": (to_say("Road"), to_say("what the driving costs")),
    "overtime": (to_say("Overtime"), to_say("minutes past the end of a shift")),
    "weekly": (to_say("Past the week's hours"), to_say("minutes past what a crew's week holds at plain pay")),
    "helpers": (to_say("Helpers"), to_say("helpers called for a day")),
    "risk": (to_say("Weather risk"), to_say("what visits stand to lose to the weather, by its chance")),
    "late": (to_say("Lateness"), to_say("days past the day that a job was due")),
    "changes": (to_say("Changed promises"), to_say("promises not kept, bookings moved")),
    "skipped": (to_say("Left waiting"), to_say("jobs that wait for another week")),
}
CAUSES = ("weather", "short kit")


@router.get("")
def newest_week(request: Request, session: Database, who: Looker, now: Now) -> Response:
    """Show the week planned last, beside the others."""
    dates = week_dates(session)
    if not dates:
        return page(request, "looking_back/empty.html", {})
    return _page(request, session, who, now, dates[0])


@router.get("/{start_date}")
def week(request: Request, session: Database, who: Looker, now: Now, start_date: datetime.date) -> Response:
    """Show what one week came to, as it was posted, else as it is planned."""
    return _page(request, session, who, now, start_date)


@router.get("/{start_date}/{plot}.svg", response_class=Response)
def plot(request: Request, session: Database, _: Looker, start_date: datetime.date, plot: Plot) -> Response:
    """Draw costs by week, or the crews' hours or the ladders of one week."""
    one = _week(session, start_date)
    weeks = weeks_back(session, week_dates(session)) if plot == "cost" else [one]
    # Stored plans never change: a browser that has the plot of these need not have it drawn again.
    names = crew_names(session)
    made_of = fingerprint(plot, [w.plan_id for w in weeks], names, code_of("api.looking_back.plots"))
    headers = {"ETag": f'"{made_of[:32]}"'}
    if request.headers.get("if-none-match") == headers["ETag"]:
        return Response(status_code=304, headers=headers)
    data = crew_plot(weeks, names) if plot == "crews" else {"cost": cost_plot, "ladders": pool_plot}[plot](weeks)
    return Response(data, media_type="image/svg+xml", headers=headers)


@router.post("/{start_date}/worth", responses={303: {"description": "the page that waits for the answer"}})
def ask_worth(
    request: Request,
    background: BackgroundTasks,
    session: Database,
    now: Now,
    who: Manager,
    start_date: datetime.date,
    seconds: Annotated[int, Form(ge=10, le=3600, description="how long to look, at most")] = 120,
) -> Response:
    """Ask what would pay in this week; the answer comes later, to /looking-back/{start_date}/worth."""
    one = _week(session, start_date)
    row = ask(session, one.plan_id, float(seconds), by=who.name, now=now)
    if row is None or row.id is None:
        raise Problem(409, "Another question is under way; ask again when it is answered.", kind="under-way")
    stored = session.get_one(tables.StoredPlan, one.plan_id)
    begin, names = request.app.state.worth.begin, beside(stored).crews
    background.add_task(begin, row.id, stored.week, names, float(seconds))  # when this is in the database
    if wants_json(request):
        return Response(msgspec.json.encode(_run(row)), 202, media_type="application/json")
    return RedirectResponse(f"/looking-back/{start_date}#pays", 303)


@router.get("/{start_date}/worth")
def worth(session: Database, _: Looker, start_date: datetime.date) -> Response:
    """Say what was asked last and what was answered last."""
    _week(session, start_date)
    asked, answered = newest(session, start_date)
    told = {"asked": asked and _run(asked), "answered": answered and _run(answered)}
    return Response(msgspec.json.encode(told), media_type="application/json")


def _week(session: Session, start_date: datetime.date) -> WeekBack:
    found = weeks_back(session, [start_date])
    if not found:
        raise Problem(404, f"No plan has been made for the week of {start_date}.")
    return found[0]


def _page(request: Request, session: Session, who: Who, now: datetime.datetime, start_date: datetime.date) -> Response:
    one = _week(session, start_date)
    asked, answered = newest(session, start_date)
    if wants_json(request):
        return Response(
            msgspec.json.encode(_told(one, happened(session, one, local_day(session, now)))),
            media_type="application/json",
        )
    weeks = weeks_back(session, week_dates(session))
    jobs = {job.id for job in one.week.jobs} | {lost.visit_id for lost in one.lost}
    timezone = session.get_one(tables.Business, 1).timezone
    back, names = one.back, crew_names(session)
    went = happened(session, one, local_day(session, now))
    values = {
        "one": one,
        "weeks": weeks,
        "back": back,
        "kinds": [
            (kind, *KIND_WORDS[kind], getattr(back.cost, kind))
            for kind in COST_KINDS
            if kind != "weekly" or one.week.format == "week/2"
        ],
        "of_crews": TO_RUN,  # whose causes are crews' days, not jobs
        "to_run": sum(getattr(back.cost, kind) for kind in TO_RUN),
        "went": went,
        "drawn": {
            "happened": Markup(happened_plot(went, names).decode()),
            "cost": Markup(cost_plot(weeks).decode()),
            "crews": Markup(crew_plot([one], names).decode()),
            "ladders": Markup(pool_plot([one]).decode()),
        },
        "lost": [(when, cause, _of(one, when, cause)) for when in WHENS for cause in _causes(one)],
        "whens": WHENS,
        "causes": _causes(one),
        "jobs": named(session, jobs),
        "broken": [job for job in back.promised if job not in back.kept],
        "asked": asked,
        "answered": answered,
        "choices": CHOICES_S,
        "timezone": timezone,
        "may_ask": who.role is Role.manager,
    }
    return page(request, "looking_back/looking_back.html", values)


def _causes(one: WeekBack) -> list[str]:
    others = dict.fromkeys(lost.cause for lost in one.lost if lost.cause not in CAUSES)
    return [*CAUSES, *others]


def _of(one: WeekBack, when: str, cause: str) -> list[Any]:
    return [lost for lost in one.lost if (lost.when, lost.cause) == (when, cause)]


def _told(one: WeekBack, went: Happened) -> dict[str, Any]:
    back = one.back
    return {
        "start_date": one.start_date.isoformat(),
        "plan": one.plan_id,
        "posted": one.posted,
        "cost_cents": {kind: getattr(back.cost, kind) for kind in ("total", *COST_KINDS)},
        "planned": list(back.done),
        "waiting": list(back.waiting),
        "lost": [asdict(lost) for lost in one.lost],
        "drive_share": round(back.drive_share, 4),
        "crews": [{**asdict(crew), "other_min": crew.other_min} for crew in back.crews],
        "shared": [asdict(pool) for pool in back.pools],
        "promised": list(back.promised),
        "kept": list(back.kept),
        "late": list(back.late),
        "happened": asdict(went),
    }


def _run(row: tables.WorthRun) -> dict[str, Any]:
    return {
        "id": row.id,
        "plan": row.plan_id,
        "state": row.state,
        "seconds": row.seconds,
        "asked_at": row.asked_at.isoformat(),
        "asked_by": row.asked_by,
        "ended_at": row.ended_at and row.ended_at.isoformat(),
        "found": row.found,
        "fault": row.fault,
    }
