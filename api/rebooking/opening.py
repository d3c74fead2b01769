"""Opening a case from what was typed: which posted week it is of, which visits fall, and who is noted as away."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from typing import Any

from sqlmodel import Session, select

from api import tables
from api.falls.falls import Cause
from api.falls.today import Days, Today, open_weeks
from api.fields.files.sheets import time_of_day
from api.fields.shown import DAY_MIN
from api.ledger.days.riders import riding_on
from api.ledger.history import note
from api.rebooking import cases
from api.rebooking.cases import CAUSES
from scheduler.errors import BadInput


def today_of(days: Days, session: Session, form: Mapping[str, Any], now: datetime.datetime) -> Today | None:
    """Return the posted week that the visit or the crew's day of the form is in."""
    for start_date in open_weeks(session, now):
        today = days.of(start_date, now)
        if today is None:
            continue
        if form["visit"] and form["visit"] in today.posted.spots:
            return today
        if form["crew"] and form["day"]:
            try:
                day = (datetime.date.fromisoformat(form["day"]) - start_date).days
            except ValueError:
                return None
            if 0 <= day < today.posted.week.days:
                return today
    return None


def open_from(
    days: Days, session: Session, form: Mapping[str, Any], *, now: datetime.datetime, by: str
) -> tables.RebookingCase:
    """Open a case of what a form says, and note who is away; raises `BadInput` naming the field that cannot stand."""
    if form["cause"] not in CAUSES:
        raise BadInput("cause", f"must be one of {', '.join(CAUSES)}")
    cause: Cause = form["cause"]
    wishes = _wishes(form)
    today = today_of(days, session, form, now)
    crew_day: tuple[str, datetime.date] | None = None
    names = [form["visit"]] if form["visit"] else []
    if cause == "crew away":
        day = _date("day", form["day"])
        if session.get(tables.Crew, form["crew"]) is None:
            raise BadInput("crew", f'no crew has the id "{form["crew"]}"')
        if today is None:
            raise BadInput("day", f"no week that holds {day} is posted")
        crew_day = form["crew"], day
        names = cases.crew_day_visits(today, *crew_day)
        if not names:
            raise BadInput("day", f"{form['crew']} has no visit to come on {day}")
        names = [name for name in names if cases.in_open_case(session, name) is None]
        _note_day_off(session, form, day, now=now, by=by)
    elif not names:
        raise BadInput("visit", "must name a posted visit")
    if today is None:
        raise BadInput("visit", f'"{form["visit"]}" is not on a posted week that is still under way')
    return cases.open_case(
        session, today, cause, names, detail=form["detail"], wishes=wishes, crew_day=crew_day, now=now, by=by
    )


def _note_day_off(
    session: Session, form: Mapping[str, Any], day: datetime.date, *, now: datetime.datetime, by: str
) -> None:
    """Note who is away, so that every plan made from now on knows it."""
    if not form["person"]:
        return
    crew = session.get_one(tables.Crew, form["crew"])
    if form["person"] not in [person.id for person in riding_on(session, day).riders(crew, day)]:
        raise BadInput("person", f'"{form["person"]}" is not one of {crew.id}')
    off = select(tables.DayOff).where(
        tables.DayOff.person_id == form["person"], tables.DayOff.first <= day, tables.DayOff.last >= day
    )
    if session.exec(off).first() is None:
        session.add(tables.DayOff(person_id=form["person"], first=day, last=day, why=form["detail"] or "away"))
        note(session, now, by, "away", "person", form["person"], {"day": day.isoformat()})


def _wishes(form: Mapping[str, Any]) -> dict[str, Any]:
    wishes: dict[str, Any] = {"days": [_date("days", day).isoformat() for day in form["days"] or []]}
    for name in ("earliest", "latest"):
        if form[name]:
            try:
                wishes[name] = time_of_day(form[name])
            except BadInput as fault:
                raise BadInput(name, fault.problem) from None
    if wishes.get("latest", DAY_MIN) <= wishes.get("earliest", 0):
        raise BadInput("latest", "must come after the earliest hour")
    if form["not_before"]:
        wishes["not_before"] = _date("not_before", form["not_before"]).isoformat()
    return wishes


def _date(where: str, text: str) -> datetime.date:
    try:
        day = datetime.date.fromisoformat(text)
    except ValueError:
        raise BadInput(where, f'must be a date like 2027-04-12, is "{text}"') from None
    if not 2000 <= day.year <= 2999:
        raise BadInput(where, f"must lie in this millennium, is {day}")
    return day
