"""The yards' shelves: every piece that comes onto one or leaves it is a move, and what posted weeks have set aside.

`StockItem.on_hand` is the running sum of a shelf's moves and is changed with a move only, by one conditional statement:
of moves at the same moment none is lost. A shelf below zero carries its why.
"""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Mapping

import sqlalchemy as sa
from sqlmodel import Session, col, select

from api import tables
from api.http import versions
from api.ledger.shelves import Shelf, held_for, off_shelf, off_shelves, standing_postings
from api.papers.kits import in_words, lock_kit, made_kit
from api.week.planning import note
from scheduler.errors import BadInput
from scheduler.plan import read_plan
from scheduler.week import read_week


def move(
    session: Session,
    shelf: Shelf,
    kind: str,
    pieces: int,
    *,
    by: str,
    now: datetime.datetime,
    why: str = "",
    visit_id: str | None = None,
    delivery_id: int | None = None,
) -> tables.StockMove:
    """Move `pieces` onto a shelf (negative: off it); `kind` is one of `StockMove`'s.

    Raises `BadInput` for a shelf that there is not, and where it would go below zero without a `why`.
    """
    item, yard_id = shelf
    stock = tables.StockItem
    after = col(stock.on_hand) + pieces
    changed = sa.update(stock).where(col(stock.item) == item, col(stock.yard_id) == yard_id)
    if not why:
        changed = changed.where(sa.or_(after >= 0, sa.literal(pieces) >= 0))
    session.flush()
    done = session.execute(
        changed.values(on_hand=after, version=col(stock.version) + 1)
        .returning(col(stock.on_hand))
        .execution_options(synchronize_session=False)
    ).first()
    row = session.get(stock, shelf, populate_existing=True)
    if row is None:
        raise BadInput("item", f'the {yard_id} yard has no shelf for "{item}"')
    if done is None:
        detail = f"only {row.on_hand} × {item} are on the {yard_id} shelf by the books; count it, or say why"
        raise BadInput("pieces", detail)
    on_hand = int(done[0])
    # A shelf may be below zero still when pieces come onto it: the reason is the one that took it there.
    why = why or ("still below zero: count it" if on_hand < 0 else "")
    made = tables.StockMove(
        item=item, yard_id=yard_id, kind=kind, pieces=pieces, on_hand_after=on_hand, why=why, at=now, by=by,
        visit_id=visit_id, delivery_id=delivery_id,
    )  # fmt: skip
    session.add(made)
    session.flush()
    return made


def begin(session: Session, stock: tables.StockItem, *, by: str, now: datetime.datetime) -> None:
    """Add the first move of a shelf that is new in the database: the count that it stands by."""
    first = tables.StockMove(
        item=stock.item, yard_id=stock.yard_id, kind="count", pieces=stock.on_hand, on_hand_after=stock.on_hand,
        at=now, by=by,
    )  # fmt: skip
    session.add(first)
    session.flush()


def add_item(
    session: Session, shelf: Shelf, name: str, counted: int, *, by: str, now: datetime.datetime, today: datetime.date
) -> tables.StockItem:
    """Make a shelf for an item that the yard has not kept before, counted today; raises `BadInput` where it has."""
    item, yard_id = shelf
    if session.get(tables.Yard, yard_id) is None:
        raise BadInput("yard_id", f'no yard has the id "{yard_id}"')
    if session.get(tables.StockItem, shelf) is not None:
        raise BadInput("item", f'the {yard_id} yard has a shelf for "{item}" already')
    stock = tables.StockItem(item=item, yard_id=yard_id, name=name or item, on_hand=counted, counted_on=today)
    session.add(stock)
    session.flush()
    begin(session, stock, by=by, now=now)
    note(session, now, by, "made", "shelf", f"{item} at {yard_id}", {"on_hand": counted})
    return stock


def count(
    session: Session,
    stock: tables.StockItem,
    counted: int,
    if_match: str | None,
    *,
    by: str,
    now: datetime.datetime,
    today: datetime.date,
) -> tables.StockMove:
    """Set a shelf to what was counted on it, in the version that `if_match` names.

    A shelf that has moved since the counter looked is refused: pieces taken meanwhile are in nobody's count.
    """
    shelf, had = (stock.item, stock.yard_id), stock.on_hand
    sent = {"counted": counted}
    versions.require(if_match, stock, stock.model_dump(mode="json"), sent)
    if not versions.update(session, stock, {"counted_on": today}):
        raise versions.changed(stock.version, stock.model_dump(mode="json"), sent)
    made = move(session, shelf, "count", counted - had, by=by, now=now)
    note(session, now, by, "counted", "shelf", _name(shelf), {"on_hand": [had, counted]})
    return made


def count_to(session: Session, shelf: Shelf, counted: int, *, by: str, now: datetime.datetime) -> None:
    """Set a shelf to a count out of a file, which stands whatever has moved; one that is right already stays so."""
    session.flush()
    of_it = col(tables.StockItem.item) == shelf[0], col(tables.StockItem.yard_id) == shelf[1]
    same = sa.update(tables.StockItem).where(*of_it).values(item=tables.StockItem.item)
    session.execute(same.execution_options(synchronize_session=False))
    stock = session.get_one(tables.StockItem, shelf, populate_existing=True)
    if stock.on_hand != counted:
        move(session, shelf, "count", counted - stock.on_hand, by=by, now=now)


def correct(
    session: Session, shelf: Shelf, pieces: int, why: str, *, by: str, now: datetime.datetime
) -> tables.StockMove:
    """Move pieces that no count, delivery or visit explains, with the reason; raises `BadInput` without one."""
    if not why:
        raise BadInput("why", "say what happened to them")
    if not pieces:
        raise BadInput("pieces", "must not be 0")
    made = move(session, shelf, "correction", pieces, by=by, now=now, why=why)
    note(session, now, by, "corrected", "shelf", _name(shelf), {"pieces": pieces, "why": why})
    return made


def order(
    session: Session, shelf: Shelf, quantity: int, due_on: datetime.date, *, by: str, now: datetime.datetime
) -> tables.Delivery:
    """Note that pieces for a shelf are on order; raises `BadInput` for a shelf that there is not."""
    if session.get(tables.StockItem, shelf) is None:
        raise BadInput("item", f'the {shelf[1]} yard has no shelf for "{shelf[0]}"')
    delivery = tables.Delivery(item=shelf[0], yard_id=shelf[1], quantity=quantity, due_on=due_on)
    session.add(delivery)
    session.flush()
    detail = {"delivery": delivery.id, "quantity": quantity, "due_on": due_on.isoformat()}
    note(session, now, by, "ordered", "shelf", _name(shelf), detail)
    return delivery


def put_off(
    session: Session, delivery: tables.Delivery, due_on: datetime.date, if_match: str | None, *, by: str,
    now: datetime.datetime,
) -> None:  # fmt: skip
    """Set the day on which a delivery is expected, in the version that `if_match` names."""
    before, sent = delivery.due_on, {"due_on": due_on.isoformat()}
    versions.require(if_match, delivery, delivery.model_dump(mode="json"), sent)
    if delivery.arrived_on is not None:
        raise BadInput("", f"delivery {delivery.id} has come already")
    if not versions.update(session, delivery, {"due_on": due_on}):
        raise versions.changed(delivery.version, delivery.model_dump(mode="json"), sent)
    detail = {"due_on": [before.isoformat(), due_on.isoformat()]}
    note(session, now, by, "changed", "delivery", str(delivery.id), detail)


def receive(
    session: Session, delivery: tables.Delivery, pieces: int, if_match: str | None, *, by: str,
    now: datetime.datetime, today: datetime.date,
) -> tables.StockMove:  # fmt: skip
    """Put what came of a delivery on the shelf; the rest stays on its way, in a row of its own.

    `if_match` names the version of the delivery: two who unpack the same boxes book them once. More than was ordered is
    taken as it came.
    """
    sent = {"pieces": pieces}
    versions.require(if_match, delivery, delivery.model_dump(mode="json"), sent)
    if delivery.arrived_on is not None:
        raise BadInput("", f"delivery {delivery.id} has come already")
    if pieces < 1:
        raise BadInput("pieces", f"must be 1 or more, is {pieces}")
    left = delivery.quantity - pieces
    if not versions.update(session, delivery, {"arrived_on": today, "quantity": pieces}):
        raise versions.changed(delivery.version, delivery.model_dump(mode="json"), sent)
    shelf = (delivery.item, delivery.yard_id)
    if left > 0:
        session.add(tables.Delivery(item=shelf[0], yard_id=shelf[1], quantity=left, due_on=delivery.due_on))
    made = move(session, shelf, "receipt", pieces, by=by, now=now, delivery_id=delivery.id)
    detail = {"delivery": delivery.id, "pieces": pieces, "to_come": max(0, left)}
    note(session, now, by, "received", "shelf", _name(shelf), detail)
    return made


def reserve(session: Session, posted: tables.PostedWeek, now: datetime.datetime) -> None:
    """Set aside what a posted week takes from the shelves; what the posting it replaces had set aside is free again.

    What a visit has on its van already is not set aside again. Asked a second time for one posting, does nothing.
    """
    assert posted.id is not None
    if session.exec(select(tables.Reservation).where(tables.Reservation.posted_id == posted.id)).first() is not None:
        return
    stored = session.get_one(tables.StoredPlan, posted.plan_id)
    week, routes = read_week(stored.week), _stops(stored.plan)
    jobs = {job.id: job for job in week.jobs if job.id in routes}
    replaced = [row.id for row in held_for(session, start_date=posted.start_date, visits=list(jobs))]
    _turn(session, col(tables.Reservation.id).in_(replaced), "held", "released", now)
    shelves = {(row.item, row.yard_id) for row in session.exec(select(tables.StockItem))}
    on_van = off_shelf(session, list(jobs))
    pieces = 0
    for job in jobs.values():
        left = {
            (item, job.yard): quantity - on_van.get(job.id, {}).get(item, 0)
            for item, quantity in job.parts.items()
            if job.yard is not None and (item, job.yard) in shelves
        }
        day = posted.start_date + datetime.timedelta(days=routes[job.id])
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
                on = posted.start_date + datetime.timedelta(days=stops[visit_id])
                _set_aside(session, posted, visit_id, on, out, now)
                break
    if moved:
        note(session, now, by, "put back on the shelf", "parts", visit_id, {"pieces": in_words(moved)})


def _parts(session: Session, visit_id: str) -> dict[Shelf, int] | None:
    """Return what a visit's parts list takes from its yard's shelf, None where it has no list."""
    visit = session.get(tables.Visit, visit_id)
    awning = None if visit is None or visit.awning_id is None else session.get(tables.Awning, visit.awning_id)
    kit = made_kit(session, visit_id)
    if awning is None or kit is None:
        return None
    return {(item, awning.yard_id): pieces for item, pieces in kit.shelf().items()}


def _turn(session: Session, which: sa.ColumnElement[bool], before: str, after: str, now: datetime.datetime) -> None:
    """Turn reservations of one state into another; one that somebody else has turned meanwhile stays so."""
    row = tables.Reservation
    turned = sa.update(row).where(which, col(row.state) == before).values(state=after, changed_at=now)
    session.flush()
    session.execute(turned.execution_options(synchronize_session=False))
    session.expire_all()


def _stops(plan: str) -> dict[str, int]:
    """Return the day of each job that is on a route."""
    return {stop.job: route.day for route in read_plan(plan).routes for stop in route.stops}


def _name(shelf: Shelf) -> str:
    return f"{shelf[0]} at {shelf[1]}"
