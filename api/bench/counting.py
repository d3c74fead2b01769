"""Counting an opened crate against its list: begun, tapped by several at once, closed into a bench count.

A count under way is a `CrateCount` with lines that are only added, so that two people never lose a piece of each
other's; a closed one stands as `BenchCount` rows, which planning reads.
"""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa
from sqlmodel import Session, col, select

from api import tables
from api.bench import shorts
from api.clock import local_day
from api.http import versions
from api.http.problems import Problem
from api.ledger.history import note
from api.maker.orders import crate_expected
from api.papers.kits import crate_list, in_words, kit_of, loaded, lock_kit
from scheduler.kit import KitState

MOST_PIECES = 10_000


@dataclass(frozen=True)
class ItemTally:
    """What has been counted of one item so far: pieces, and how many of them are damaged."""

    counted: int
    damaged: int


@dataclass(frozen=True)
class Closed:
    """A closed count: what the kit is now, and what was found beyond the list."""

    count: tables.CrateCount
    state: KitState
    extra: dict[str, int]


def under_way(session: Session, visit_id: str) -> tables.CrateCount | None:
    """Return the visit's count that is not closed yet, None where there is none."""
    wanted = select(tables.CrateCount).where(tables.CrateCount.visit_id == visit_id)
    return session.exec(wanted.where(col(tables.CrateCount.closed_at).is_(None))).first()


def tallies(session: Session, count_id: int) -> dict[str, ItemTally]:
    """Return what a count holds so far, by item; an item that nobody has looked at is not in it."""
    line = tables.CountLine
    sums = sa.select(line.item, sa.func.sum(line.pieces), sa.func.sum(line.damaged))  # type: ignore[call-overload]
    rows = session.execute(sums.where(col(line.count_id) == count_id).group_by(line.item))
    return {item: ItemTally(int(pieces), int(damaged)) for item, pieces, damaged in rows}


def begin(session: Session, visit: tables.Visit, *, by: str, now: datetime.datetime) -> tuple[tables.CrateCount, bool]:
    """Return the visit's count under way, and whether it was begun now; also the count of a kit counted before.

    Raises `Problem` 409 for a visit without a crate or list, and for a kit that is on the van.
    """
    lock_kit(session, visit.id)
    if visit.state != "open":
        raise Problem(409, f"{visit.id} is {visit.state}: its crate is not counted any more.")
    if crate_list(session, visit) is None:
        detail = f"{visit.id} has no list to count against: enter the maker's list, or settle its wall drawing first."
        raise Problem(409, detail)
    if loaded(session, visit.id):
        raise Problem(409, f"The kit of {visit.id} is on the van: unload it before counting it again.")
    present = under_way(session, visit.id)
    if present is not None:
        return present, False
    count = tables.CrateCount(visit_id=visit.id, begun_at=now, begun_by=by)
    session.add(count)
    session.flush()
    _has_come(session, visit, by, now)
    note(session, now, by, "began to count", "crate", visit.id, {"count": count.id})
    return count, True


def _has_come(session: Session, visit: tables.Visit, by: str, now: datetime.datetime) -> None:
    """Note that a crate which is being counted has come, where the books expect it later."""
    awning, today = session.get_one(tables.Awning, visit.awning_id), local_day(session, now)
    before = awning.arrives_on
    if (before is None or before > today) and versions.update(session, awning, {"arrives_on": today}):
        detail = {"arrives_on": [None if before is None else before.isoformat(), today.isoformat()]}
        note(session, now, by, "changed", "awning", awning.id, detail)
    crate_expected(session, awning.id, today, by=by, now=now)


def expect_crate(
    session: Session, awning: tables.Awning, day: datetime.date | None, if_match: str | None, *, by: str,
    now: datetime.datetime,
) -> None:  # fmt: skip
    """Set the day on which a crate comes (None: the maker has named none), in the version that `if_match` names."""
    before, after = (None if d is None else d.isoformat() for d in (awning.arrives_on, day))
    versions.require(if_match, awning, awning.model_dump(mode="json"), {"arrives_on": after})
    if not versions.update(session, awning, {"arrives_on": day}):
        raise versions.changed(awning.version, awning.model_dump(mode="json"), {"arrives_on": after})
    if before != after:
        note(session, now, by, "changed", "awning", awning.id, {"arrives_on": [before, after]})
        crate_expected(session, awning.id, day, by=by, now=now)


def tap(
    session: Session,
    count_id: int,
    item: str,
    *,
    by: str,
    now: datetime.datetime,
    pieces: int = 0,
    to: int | None = None,
    damaged: int = 0,
    code: str = "",
) -> ItemTally:
    """Add `pieces` of `item` (negative: take back) and `damaged` of them to a count; return what it holds then.

    `to` instead of `pieces` says how many there are in all: two who say so at once do not add up. Raises `Problem` 409
    for a count that is closed, and 422 where the count would hold fewer than none or more damaged than counted.
    """
    _lock(session, count_id)
    before = tallies(session, count_id)
    has = before.get(item, ItemTally(0, 0))
    if to is not None:
        pieces = to - has.counted
    after = ItemTally(has.counted + pieces, has.damaged + damaged)
    if not 0 <= after.counted <= MOST_PIECES or after.damaged < 0:
        kind = "damaged " if after.damaged < 0 else ""
        raise Problem(422, f"There are {has.damaged if kind else has.counted} {kind}× {item} in this count now.")
    if after.damaged > after.counted:
        words = f"{has.counted} × {item} counted, {has.damaged} of them damaged"
        raise Problem(422, f"{words}: count a piece before marking it damaged, and unmark it before taking it back.")
    if pieces or damaged or item not in before:
        line = tables.CountLine(count_id=count_id, item=item, pieces=pieces, damaged=damaged, code=code, at=now, by=by)
        session.add(line)
        session.flush()
    return after


def _lock(session: Session, count_id: int) -> tables.CrateCount:
    """Hold a count open until this transaction has ended; raises `Problem` 404 for none, 409 for a closed one."""
    open_one = (col(tables.CrateCount.id) == count_id, col(tables.CrateCount.closed_at).is_(None))
    same = sa.update(tables.CrateCount).where(*open_one).values(id=tables.CrateCount.id)
    held = session.execute(same.execution_options(synchronize_session=False)).rowcount == 1  # type: ignore[attr-defined]
    session.expire_all()
    count = session.get(tables.CrateCount, count_id)
    if count is None:
        raise Problem(404, f'No count has the number "{count_id}".')
    if not held:
        raise closed_already(count)
    return count


def closed_already(count: tables.CrateCount) -> Problem:
    """Return the refusal of what comes after a count was closed."""
    detail = f"{count.closed_by} has closed this count. This was not added to it: count the crate again to add it."
    return Problem(409, detail, count_closed=True)


def item_of_code(session: Session, code: str) -> str | None:
    """Return the item that the code on a part stands for, None where nobody has told it yet."""
    row = session.get(tables.PartCode, code)
    return None if row is None else row.item


def tell_code(session: Session, code: str, item: str, *, by: str, now: datetime.datetime) -> None:
    """Remember which item a code stands for, also where it was told otherwise before."""
    row = session.get(tables.PartCode, code)
    if row is not None and row.item == item:
        return
    before = None if row is None else row.item
    session.merge(tables.PartCode(code=code, item=item, told_at=now, told_by=by))
    session.flush()
    note(session, now, by, "told", "part code", code, {"item": [before, item]})


def set_condition(
    session: Session, count: tables.CrateCount, values: Mapping[str, Any], if_match: str | None, *, by: str,
    now: datetime.datetime,
) -> None:  # fmt: skip
    """Set how cloth and cover are, and the note, in the version that `if_match` names; a closed count is refused."""
    _lock(session, count.id or 0)
    before = {name: getattr(count, name) for name in values}
    versions.require(if_match, count, before, values)
    if not versions.update(session, count, values):
        raise versions.changed(count.version, count.model_dump(mode="json"), values)
    detail = {name: [before[name], value] for name, value in values.items() if before[name] != value}
    if detail:
        note(session, now, by, "changed", "crate", count.visit_id, {"count": count.id, **detail})


def close(
    session: Session, visit: tables.Visit, count_id: int, *, by: str, now: datetime.datetime, rest_missing: bool = False
) -> Closed:
    """Close a count: it becomes the bench count that planning reads, and what it lacks becomes shorts.

    `rest_missing`: items that nobody has looked at are not in the crate; else they are refused. Raises `Problem` 409
    for a count closed before, a kit on the van, items not looked at, and a damaged cloth that is on no damaged item.
    """
    lock_kit(session, visit.id)
    if loaded(session, visit.id):
        raise Problem(409, f"The kit of {visit.id} is on the van: unload it before closing this count.")
    count = _lock(session, count_id)
    if count.visit_id != visit.id:
        raise Problem(404, f"{visit.id} has no such count.")
    listed, found = crate_list(session, visit) or {}, tallies(session, count_id)
    untouched = [item for item in listed if item not in found]
    if untouched and not rest_missing:
        detail = f"Nobody has looked at {', '.join(untouched)} yet: count them, or say that they are not in the crate."
        raise Problem(409, detail, untouched=untouched)
    if "damaged" in (count.cloth, count.cover) and not any(tally.damaged for tally in found.values()):
        what = "cloth" if count.cloth == "damaged" else "cover"
        raise Problem(409, f"The {what} is damaged, but no item is: mark the item that has to be replaced as damaged.")
    today = local_day(session, now)
    for item, tally in {**dict.fromkeys(untouched, ItemTally(0, 0)), **found}.items():
        line = tables.BenchCount(
            visit_id=visit.id, item=item, counted=tally.counted, damaged=tally.damaged, counted_on=today, counted_by=by
        )
        line.count_id = count_id
        session.add(line)
    if not versions.update(session, count, {"closed_at": now, "closed_by": by}):
        raise closed_already(count)
    state = kit_of(session, visit)
    assert state is not None  # it has a list: its count was begun
    shorts.take_over(session, visit.id, count_id, state.missing, today)
    summary: dict[str, Any] = {
        "count": count_id,
        "counted": {item: [tally.counted, tally.damaged] for item, tally in found.items()},
        "by": pieces_by_person(session, count_id),
        "kit": state.condition,
        "missing": in_words(state.missing),
        "cloth": count.cloth,
        "cover": count.cover,
    }
    note(session, now, by, "counted", "crate", visit.id, summary)
    extra = {item: tally.counted - listed.get(item, 0) for item, tally in found.items()}
    return Closed(count, state, {item: pieces for item, pieces in extra.items() if pieces > 0})


def pieces_by_person(session: Session, count_id: int) -> dict[str, int]:
    """Return how many pieces each person has added to a count."""
    pieces: dict[str, int] = defaultdict(int)
    for line in session.exec(select(tables.CountLine).where(tables.CountLine.count_id == count_id)):
        pieces[line.by] += line.pieces
    return dict(pieces)
