"""The condition of a kit as counts, shorts and the van leave it: one rule, for planning and for the bench.

A count under way (`CountLine`) is no count yet: only closed ones (`BenchCount`) are read here.
"""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from typing import Protocol

import msgspec
import sqlalchemy as sa
from sqlmodel import Session, col, select

from api import tables
from api.fields.shown import day_name
from scheduler.kit import Kit, KitState, after_count, compare, new_kit


class CountedLike(Protocol):
    """As much of a count's line as a condition depends on."""

    @property
    def counted(self) -> int: ...
    @property
    def damaged(self) -> int: ...
    @property
    def count_id(self) -> int | None: ...


class MissedLike(Protocol):
    """As much of a short as a condition depends on."""

    @property
    def item(self) -> str: ...
    @property
    def missing(self) -> int: ...
    @property
    def count_id(self) -> int | None: ...
    @property
    def arrived_on(self) -> datetime.date | None: ...


def state_of(
    listed: Mapping[str, int], counts: Mapping[str, CountedLike], shorts: Iterable[MissedLike], loaded: bool
) -> KitState:
    """Return what is known of a kit whose crate should hold `listed`.

    `counts` are its newest lines by item, `shorts` all of the visit's. Pieces that came in for a short are no longer
    missing where the short is of the count that stands: a later count has looked at them again.
    """
    state = new_kit(listed)
    if counts:
        counted = {item: row.counted for item, row in counts.items()}
        state = after_count(state, compare(listed, counted, {item: row.damaged for item, row in counts.items()}))
    missing = dict(state.missing)
    for short in shorts:
        if short.arrived_on is not None and short.item in missing and short.count_id == counts[short.item].count_id:
            missing[short.item] -= short.missing
    missing = {item: pieces for item, pieces in missing.items() if pieces > 0}
    return KitState(state.uncounted, missing, loaded and not missing and not state.uncounted)


def expected(
    item: str, pieces: int, shorts: Iterable[tables.Short], today: datetime.date
) -> tuple[datetime.date | None, str]:
    """Return the day on which the last of the missing `pieces` comes, None where nobody can say; and a sentence on it.

    `shorts` are all of the visit's. A day that has gone by without them is no day.
    """
    open_ones = [s for s in shorts if s.item == item and s.arrived_on is None]
    orders = [s for s in open_ones if is_ordered(s)]
    ordered, missing = sum(s.missing for s in orders), f"{pieces} × {item} missing"
    if not ordered:
        return None, f"{missing} and not ordered: order it."
    if ordered < pieces:
        return None, f"{missing}, {pieces - ordered} of them not ordered: order the rest."
    days = [s.expected_on for s in orders if s.expected_on is not None]
    if len(days) < len(orders):
        return None, f"{missing}, ordered, no day named yet: ask for one."
    if min(days) < today:
        return None, f"{missing}, was expected on {day_name(min(days))} and has not come: ask for a new day."
    return max(days), f"{missing}, expected on {day_name(max(days))}."


def is_ordered(short: tables.Short) -> bool:
    """Say whether something is known of an order for these pieces."""
    return bool(short.supplier or short.order_ref or short.ordered_on or short.expected_on)


def crate_list(session: Session, visit: tables.Visit) -> dict[str, int] | None:
    """Return what the crate of a visit should hold: the maker's list, else the one that its drawing gave.

    None where the visit has no crate, or nobody knows yet what is in it.
    """
    if visit.kind != "install" or visit.awning_id is None:
        return None
    parts = session.exec(
        select(tables.MakerPart).where(tables.MakerPart.awning_id == visit.awning_id).order_by(tables.MakerPart.item)
    )
    listed = {part.item: part.quantity for part in parts}
    kit = None if listed else made_kit(session, visit.id)
    return listed or (None if kit is None else kit.crate())


def made_kit(session: Session, visit_id: str) -> Kit | None:
    """Return the parts list that preparation made last, None where it has made none."""
    row = session.get(tables.Prepared, (visit_id, "kit"))
    return None if row is None else msgspec.json.decode(row.document, type=Kit)


def counts_of(session: Session, visit_ids: Collection[str]) -> dict[str, dict[str, tables.BenchCount]]:
    """Return the newest line of each visit and item, by both."""
    found: dict[str, dict[str, tables.BenchCount]] = defaultdict(dict)
    rows = select(tables.BenchCount).where(col(tables.BenchCount.visit_id).in_(visit_ids))
    for row in session.exec(rows.order_by(col(tables.BenchCount.id))):
        found[row.visit_id][row.item] = row
    return found


def kit_of(session: Session, visit: tables.Visit) -> KitState | None:
    """Return what is known of a visit's kit now; None where it has no list."""
    listed = crate_list(session, visit)
    if listed is None:
        return None
    shorts = session.exec(select(tables.Short).where(tables.Short.visit_id == visit.id))
    return state_of(listed, counts_of(session, [visit.id])[visit.id], shorts, loaded(session, visit.id))


def loaded(session: Session, visit_id: str) -> bool:
    """Say whether a visit's kit is on a van."""
    wanted = select(col(tables.KitState.loaded_on)).where(tables.KitState.visit_id == visit_id)
    return session.exec(wanted).first() is not None


def in_words(pieces: Mapping[str, int]) -> str:
    """Return pieces by item as the history tells them: 2 × bracket, 1 × hood."""
    return ", ".join(f"{count} × {item}" for item, count in pieces.items())


def lock_kit(session: Session, visit_id: str) -> None:
    """Have others who count, complete or load this kit wait until this transaction has ended.

    A change of nothing: both databases lock the row for it (SQLite all rows). What was read before is read anew.
    """
    session.flush()
    same = sa.update(tables.Visit).where(col(tables.Visit.id) == visit_id).values(id=tables.Visit.id)
    session.execute(same.execution_options(synchronize_session=False))
    session.expire_all()
