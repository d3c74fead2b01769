"""Pieces set aside for posted weeks, taken onto vans and brought back."""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Mapping

import sqlalchemy as sa
from sqlmodel import Session, col, select

from api import tables
from api.ledger.history import note
from api.ledger.plans.documents import week_in
from api.ledger.shelves import Shelf, held_for, off_shelf, off_shelves, standing_postings
from api.papers.kits import in_words, lock_kit, made_kit
from api.shelf.moving import add_item, move
from scheduler.errors import BadInput
from scheduler.plan import read_plan


def reserve(session: Session, posted: tables.PostedWeek, now: datetime.datetime) -> None:
    """Set aside what a posted week takes from the shelves; what the posting it replaces had set aside is free again.

    What a visit has on its van already is not set aside again. Asked a second time for one posting, does nothing.
    """
    assert posted.id is not None
    if session.exec(select(tables.Reservation).where(tables.Reservation.posted_id == posted.id)).first() is not None:
        return
    stored = session.get_one(tables.StoredPlan, posted.plan_id)
    week, routes = week_in(stored), _stops(stored.plan)
    jobs = {job.id: job for job in week.jobs if job.id in routes}
    replaced = [row.id for row in held_for(session, start_date=posted.start_date, visits=list(jobs))]
    _turn(session, col(tables.Reservation.id).in_(replaced), "held", "released", now)
    shelves = {(row.item, row.yard_id) for row in session.exec(select(tables.StockItem))}
    on_van, yards = off_shelf(session, list(jobs)), {crew.id: crew.yard for crew in week.crews}
    pieces = 0
    for job in jobs.values():
        n, crew = routes[job.id]
        left = {
            (item, yards[crew]): quantity - on_van.get(job.id, {}).get(item, 0)
            for item, quantity in job.parts.items()
            if (item, yards[crew]) in shelves
        }
        day = posted.start_date + datetime.timedelta(days=n)
        pieces += _set_aside(session, posted, job.id, day, left, now)
    detail = {"posted": posted.id, "visits": len(jobs), "pieces": pieces}
    note(session, now, posted.posted_by, "set aside", "parts", f"week-{posted.start_date}", detail)


def _set_aside(
    session: Session, posted: tables.PostedWeek, visit_id: str, day: datetime.date, parts: Mapping[Shelf, int],
    now: datetime.datetime,
) -> int:  # fmt: skip
    """Set parts aside for a visit of a posting; return how many pieces."""
    assert posted.id is not None
    for (item, yard_id), pieces in parts.items():
        if pieces > 0:
            row = tables.Reservation(
                posted_id=posted.id, visit_id=visit_id, item=item, yard_id=yard_id, pieces=pieces, day=day,
                changed_at=now,
            )  # fmt: skip
            session.add(row)
    session.flush()
    return sum(pieces for pieces in parts.values() if pieces > 0)


def release(session: Session, posted: tables.PostedWeek, now: datetime.datetime) -> None:
    """Free what a posting that was withdrawn had set aside and nobody has taken."""
    _turn(session, col(tables.Reservation.posted_id) == posted.id, "held", "released", now)


def taken(session: Session, visit_id: str, day: datetime.date, *, by: str, now: datetime.datetime) -> None:
    """Take a visit's parts from the shelf onto the van for `day`; what is on it already is not taken again.

    They are what its parts list asks for, else what was set aside for it. The crew has them in its hands: where the
    books have fewer, the shelf goes below zero and says why.
    """
    lock_kit(session, visit_id)
    need = _parts(session, visit_id)
    if need is None:
        need = defaultdict(int)
        for row in held_for(session, visits=[visit_id]):
            need[row.item, row.yard_id] += row.pieces
    for shelf, pieces in off_shelves(session, visit_id).items():
        need[shelf] = need.get(shelf, 0) - pieces
    moved = {}
    for shelf, pieces in sorted(need.items()):
        if pieces < 1:
            continue
        stock = session.get(tables.StockItem, shelf)
        if stock is None:
            stock = add_item(session, shelf, "", 0, by=by, now=now, today=day)
        try:
            move(session, shelf, "taken", -pieces, by=by, now=now, visit_id=visit_id)
        except BadInput:
            had = session.get_one(tables.StockItem, shelf).on_hand
            why = f"{visit_id} took {pieces}, by the books there were {had}: count this shelf"
            move(session, shelf, "taken", -pieces, by=by, now=now, visit_id=visit_id, why=why)
        moved[shelf[0]] = pieces
    _turn(session, col(tables.Reservation.visit_id) == visit_id, "held", "taken", now)
    if moved:
        note(
            session,
            now,
            by,
            "took from the shelf",
            "parts",
            visit_id,
            {"for": day.isoformat(), "pieces": in_words(moved)},
        )


def returned(
    session: Session, visit_id: str, day: datetime.date, *, by: str, now: datetime.datetime,
    pieces: Mapping[str, int] | None = None,
) -> None:  # fmt: skip
    """Put a visit's parts from the van back on the shelf; asked a second time, does nothing.

    `pieces`: how many of each item are left over (None: all, the kit was unloaded and nothing used). What the last
    standing posting had set aside for it is set aside again.
    """
    lock_kit(session, visit_id)
    moved, out = {}, off_shelves(session, visit_id)
    for shelf, on_van in sorted(out.items()):
        back = on_van if pieces is None else min(on_van, pieces.get(shelf[0], 0))
        if back > 0:
            move(session, shelf, "returned", back, by=by, now=now, visit_id=visit_id)
            moved[shelf[0]] = back
    if moved and pieces is None:
        _turn(session, col(tables.Reservation.visit_id) == visit_id, "taken", "released", now)
        # Two weeks may both hold the visit: as at posting, the one posted last is what its parts are kept for.
        for posted in sorted(standing_postings(session, day), key=lambda posted: -(posted.id or 0)):
            stops = _stops(session.get_one(tables.StoredPlan, posted.plan_id).plan)
            if visit_id in stops:
                on = posted.start_date + datetime.timedelta(days=stops[visit_id][0])
                _set_aside(session, posted, visit_id, on, out, now)
                break
    if moved:
        note(session, now, by, "put back on the shelf", "parts", visit_id, {"pieces": in_words(moved)})


def _parts(session: Session, visit_id: str) -> dict[Shelf, int] | None:
    """Return what a visit's parts list takes from its yard's shelf, None where it has no list."""
    visit = session.get(tables.Visit, visit_id)
    awning = None if visit is None or visit.awning_id is None else session.get(tables.Awning, visit.awning_id)
    kit = made_kit(session, visit_id)
    if visit is None or awning is None or kit is None:
        return None
    found = defaultdict[Shelf, int](int)
    for item, pieces in (*kit.shelf().items(), *visit.work.parts.items()):
        found[item, awning.yard_id] += pieces
    return found


def _turn(session: Session, which: sa.ColumnElement[bool], before: str, after: str, now: datetime.datetime) -> None:
    """Turn reservations of one state into another; one that somebody else has turned meanwhile stays so."""
    row = tables.Reservation
    turned = sa.update(row).where(which, col(row.state) == before).values(state=after, changed_at=now)
    session.flush()
    session.execute(turned.execution_options(synchronize_session=False))
    session.expire_all()


def _stops(plan: str) -> dict[str, tuple[int, str]]:
    """Return day and crew of each job that is on a route."""
    return {stop.job: (route.day, route.crew) for route in read_plan(plan).routes for stop in route.jobs}
