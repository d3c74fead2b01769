"""Who timed the drives of a plan, in one line: the source with its days, and how many drives are estimated."""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from itertools import pairwise

from api.fields.shown import short_date
from api.ledger.plans.documents import DrivesTimed
from scheduler.reports.sheet import Cell
from scheduler.week import Week

Leg = tuple[int, int]  # from, to: numbers of places


def legs_of(week: Week, cells: Iterable[Cell]) -> list[Leg]:
    """Return the drives of some crew days in their order, from yard to yard; a stop at the place before is none."""
    number = {place.id: n for n, place in enumerate(week.places)}
    yards = {yard.id: number[yard.place] for yard in week.yards}
    found: list[Leg] = []
    for cell in cells:
        way = [yards[cell.yard], *(number[entry.place] for entry in cell.entries), yards[cell.yard]]
        found += [(a, b) for a, b in pairwise(way) if a != b]
    return found


def drives_words(timed: DrivesTimed | None, legs: list[Leg]) -> str:
    """Return what timed `legs`: "road table of Nov 27, 3 of 41 estimated"."""
    if timed is None:
        return "all estimated by distance"
    if timed.first is None or timed.last is None:
        return f"all estimated, the {timed.by} has timed none of them yet"
    estimated = sum(b in timed.estimated[a] for a, b in legs)
    days = _days(timed.first, timed.last)
    if legs and estimated == len(legs):
        return f"all {len(legs)} estimated, the {timed.by} of {days} knows none of them"
    return f"{timed.by} of {days}" + (f", {estimated} of {len(legs)} estimated" if estimated else "")


def _days(first: datetime.date, last: datetime.date) -> str:
    return short_date(last) if first == last else f"{short_date(first)} to {short_date(last)}"
