"""Cases, visits and offers as pages and programs are told of them: with names and dates, without routes."""

from __future__ import annotations

import datetime
from typing import Any

from sqlmodel import Session

from api import tables
from api.falls.falls import CannotGo
from api.fields.shown import clock, day_name
from api.http.names import crew_called
from api.ledger.facts.week import kept_rain_date
from api.ledger.plans.named import named
from api.ledger.told import told_now
from api.rebooking import cases

MOST_FIRST = 3  # other times that are shown without asking


def case_line(session: Session, case: tables.RebookingCase) -> dict[str, Any]:
    """Return a case with its visits."""
    rows = cases.visits_of(session, case.id or 0)
    return {
        "id": case.id, "cause": case.cause, "detail": case.detail, "start_date": case.start_date.isoformat(),
        "state": case.state, "opened_at": case.opened_at.isoformat(), "opened_by": case.opened_by,
        "event": case.event, "visits": [visit_line(session, case, row) for row in rows], "version": case.version,
    }  # fmt: skip


def visit_line(
    session: Session, case: tables.RebookingCase, row: tables.CaseVisit, *, offers: bool = False
) -> dict[str, Any]:
    """Return a visit of a case, with its offers where asked."""
    name = named(session, row.visit_id)
    shown: dict[str, Any] = {
        "visit": row.visit_id, "what": name.what, "customer": name.customer, "phone": name.phone, "town": name.town,
        "state": row.state, "was": row.was, "taken": row.taken, "version": row.version,
    }  # fmt: skip
    if offers:
        shown["offers"] = [offer_line(session, case, offer) for offer in row.offers]
    return shown


def offer_line(session: Session, case: tables.RebookingCase, offer: dict[str, Any]) -> dict[str, Any]:
    """Return an offer with dates and words, without the routes that it stands for."""
    shown = {name: value for name, value in offer.items() if name != "routes"}
    if "day" in offer:
        shown["date"] = (case.start_date + datetime.timedelta(days=offer["day"])).isoformat()
    if offer["kind"] == "fill":
        name = named(session, offer["visit"])
        shown |= {"what": name.what, "customer": name.customer, "town": name.town}
    if "moves" in offer:
        shown["moves"] = [move_line(session, case, move) for move in offer["moves"]]
    return shown


def ranked(offers: list[dict[str, Any]]) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Return the other times of `offer_line` that come first, three at most, and then the rest, each in order.

    The rain date comes before all: it is kept for this. Then who disturbs fewest people: neighbors that were told, then
    neighbors at all, then the cost. A time that moves two neighbors or more is never among the first.
    """

    def disturbs(offer: dict[str, Any]) -> tuple[bool, int, int, int]:
        moves = offer.get("moves", [])
        other = offer["kind"] != "rain date"
        return other, sum(move["told"] for move in moves), len(moves), offer["extra_cents"]

    # What a search with others moving finds without moving one was found without it too.
    times = [o for o in offers if o["kind"] in ("stays", "later", "rain date") or (o["kind"] == "moves" and o["moves"])]
    times.sort(key=disturbs)
    first = [offer for offer in times if len(offer.get("moves", [])) <= 1][:MOST_FIRST]
    return first, [offer for offer in times if not any(offer is one for one in first)]


def move_line(session: Session, case: tables.RebookingCase, move: dict[str, Any]) -> dict[str, Any]:
    """Return in words what else an offer moves, and whether its customer had been told."""

    def spot(at: list[Any] | None) -> str:
        if at is None:
            return "the waiting pile"
        date = case.start_date + datetime.timedelta(days=at[1])
        return f"{day_name(date)} {clock(at[2])} with {crew_called(session, at[0])}"

    name = named(session, move["visit"])
    words = f"{name.what} for {name.customer}: from {spot(move['before'])} to {spot(move['after'])}"
    told = told_now(session, move["visit"])
    return {**move, "words": words, "told": told is not None}


def finding_line(session: Session, one: CannotGo) -> dict[str, Any]:
    """Return a posted visit that falls, with what happened to it; `rain_date`: the second day kept for it, or null."""
    name = named(session, one.visit_id)
    return {
        "visit": one.visit_id, "what": name.what, "customer": name.customer, "town": name.town, "cause": one.cause,
        "words": one.words, "crew": one.spot.crew, "date": one.date.isoformat(), "start": one.spot.start,
        "end": one.end, "rain_date": _rain_date(session, one),
    }  # fmt: skip


def _rain_date(session: Session, one: CannotGo) -> dict[str, Any] | None:
    row = kept_rain_date(session, one.visit_id)
    if row is None or row.day <= one.date:  # gone by: it is posted for a later day
        return None
    return {"crew": row.crew_id, "date": row.day.isoformat(), "start": row.start}
