"""What counts have found missing: ordered, expected, and booked in when it comes."""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Mapping
from typing import Any

from sqlmodel import Session, col, select

from api import tables
from api.http import versions
from api.ledger.history import note
from api.papers.kits import is_ordered, kit_of, lock_kit
from scheduler.errors import BadInput
from scheduler.kit import KitState

ORDER = ("supplier", "order_ref", "ordered_on", "expected_on")


def take_over(session: Session, visit_id: str, count_id: int, missing: Mapping[str, int], today: datetime.date) -> None:
    """Make the shorts of a count just closed; what was on order for the same item already stays so.

    What an earlier count had found missing and this one has found is booked in today.
    """
    wanted = select(tables.Short).where(tables.Short.visit_id == visit_id, col(tables.Short.arrived_on).is_(None))
    before: dict[str, list[tables.Short]] = defaultdict(list)
    for short in session.exec(wanted.order_by(col(tables.Short.id))):
        before[short.item].append(short)
    for item in sorted({*missing, *before}):
        need = missing.get(item, 0)
        for short in sorted(before[item], key=lambda s: not is_ordered(s)):
            if short.missing > need:
                _split(session, short, short.missing - need, arrived_on=today)
            if need:
                short.count_id, short.version = count_id, short.version + 1
                session.add(short)
                need -= short.missing
        if need:
            session.add(tables.Short(visit_id=visit_id, item=item, missing=need, count_id=count_id))
    session.flush()


def lost(session: Session, visit_id: str, item: str, pieces: int, count_id: int) -> None:
    """Make the short of pieces lost after the crate was counted; those missing before are of the newer count too."""
    of_count(session, visit_id, item, count_id)
    session.add(tables.Short(visit_id=visit_id, item=item, missing=pieces, count_id=count_id))
    session.flush()


def found_again(session: Session, visit_id: str, item: str, pieces: int, count_id: int) -> bool:
    """Take a short of so many pieces off the books; say whether there is one that nobody has ordered yet."""
    wanted = select(tables.Short).where(tables.Short.visit_id == visit_id, tables.Short.item == item)
    for short in session.exec(wanted.where(tables.Short.count_id == count_id)):
        if short.missing == pieces and short.arrived_on is None and not is_ordered(short):
            session.delete(short)
            session.flush()
            return True
    return False


def of_count(session: Session, visit_id: str, item: str, count_id: int | None) -> None:
    """Have the open shorts of an item be those of a count: its pieces that come in are then no longer missing."""
    wanted = select(tables.Short).where(tables.Short.visit_id == visit_id, tables.Short.item == item)
    for short in session.exec(wanted.where(col(tables.Short.arrived_on).is_(None))):
        short.count_id, short.version = count_id, short.version + 1
        session.add(short)


def _split(session: Session, short: tables.Short, pieces: int, arrived_on: datetime.date) -> None:
    """Book `pieces` of a short in: in a row of their own, unless they are all of it."""
    if pieces == short.missing:
        short.arrived_on = arrived_on
    else:
        kept = short.model_dump(exclude={"id", "version", "missing", "arrived_on"})
        session.add(tables.Short(**kept, missing=pieces, arrived_on=arrived_on))
        short.missing -= pieces
    short.version += 1
    session.add(short)
    session.flush()


def change(
    session: Session, short: tables.Short, values: Mapping[str, Any], if_match: str | None, *, by: str,
    now: datetime.datetime,
) -> None:  # fmt: skip
    """Set what is known of a short's order (`ORDER`) in the version that `if_match` names.

    Raises `BadInput` for a short that has come, and for a day before the order's.
    """
    before = short.model_dump(mode="json")
    versions.require(if_match, short, before, values)
    if short.arrived_on is not None:
        raise BadInput("", f"{short.item} for {short.visit_id} has come already")
    ordered, expected = values["ordered_on"], values["expected_on"]
    if ordered is not None and expected is not None and expected < ordered:
        raise BadInput("expected_on", f"must not be before the order of {ordered}, is {expected}")
    if not versions.update(session, short, values):
        raise versions.changed(short.version, short.model_dump(mode="json"), values)
    after = short.model_dump(mode="json")
    detail = {name: [before[name], after[name]] for name in ORDER if before[name] != after[name]}
    if detail:
        note(session, now, by, "changed", "short", short.visit_id, {"short": short.id, "item": short.item, **detail})


def arrive(
    session: Session, short: tables.Short, pieces: int, if_match: str | None, *, by: str, now: datetime.datetime,
    today: datetime.date,
) -> KitState | None:  # fmt: skip
    """Book `pieces` that came for a short in, all or a part; return what the kit is then.

    Raises `BadInput` where fewer are missing, or none any more.
    """
    visit_id = short.visit_id
    lock_kit(session, visit_id)
    versions.require(if_match, short, short.model_dump(mode="json"), {"pieces": pieces})
    if short.arrived_on is not None:
        raise BadInput("", f"{short.item} for {visit_id} has come already")
    if not 1 <= pieces <= short.missing:
        raise BadInput("pieces", f"must be from 1 to {short.missing}, which are missing, is {pieces}")
    item, short_id = short.item, short.id
    _split(session, short, pieces, today)
    state = kit_of(session, session.get_one(tables.Visit, visit_id))
    condition = None if state is None else state.condition
    detail = {"short": short_id, "item": item, "pieces": pieces, "kit": condition}
    note(session, now, by, "booked in", "short", visit_id, detail)
    return state
