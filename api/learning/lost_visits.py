"""What visits that the weather took have cost so far, beside the price by which weeks are planned around it."""

from __future__ import annotations

import datetime
import statistics
from collections import defaultdict
from dataclasses import dataclass

from sqlmodel import Session, col, select

from api import tables
from api.business import choices
from api.business.part import dollars_text
from api.fields.rules import rules_from_data
from api.http.problems import Problem

LEAST_VISITS = 5  # of a kind, before its price is proposed
PRICES = "prices"


@dataclass(frozen=True)
class LostVisits:
    """The lost visits of one kind that have another time; half of them cost at most `half_cents`.

    `sent_home` of the `visits` ended at the site. `price_cents` is what plans count for one; `new_cents` what they
    would by this, None with too few.
    """

    kind: str
    visits: int
    sent_home: int
    half_cents: int
    price_cents: int
    new_cents: int | None


def lost_visits(session: Session) -> list[LostVisits]:
    """Return what lost visits have cost, by kind; kinds without any are left out.

    A lost visit costs what the week with its other time costs more, with whatever was paid for moving other customers;
    and where the crew was sent home, its pay for the minutes noted at the site.
    """
    business = session.get(tables.Business, 1)
    if business is None:
        return []
    prices = rules_from_data(business.rules).prices.lost_cents
    found: dict[str, list[tuple[int, bool]]] = defaultdict(list)
    rows = session.exec(
        select(tables.CaseVisit, tables.Visit.kind)
        .join(tables.RebookingCase, col(tables.RebookingCase.id) == col(tables.CaseVisit.case_id))
        .join(tables.Visit, col(tables.Visit.id) == col(tables.CaseVisit.visit_id))
        .where(tables.RebookingCase.cause == "weather", tables.CaseVisit.state == "rebooked")
        .order_by(col(tables.CaseVisit.case_id), col(tables.CaseVisit.visit_id))
    ).all()
    home = _sent_home(session, [(row.visit_id, datetime.date.fromisoformat(row.was["date"])) for row, _ in rows])
    for row, kind in rows:
        paid = home.get((row.visit_id, datetime.date.fromisoformat(row.was["date"])))
        found[kind].append((int((row.taken or {})["extra_cents"]) + (paid or 0), paid is not None))
    told = []
    for kind in sorted(found):
        costs = [cents for cents, _ in found[kind]]
        half, price = max(0, round(statistics.median(costs))), prices.of(kind)
        new = half if len(costs) >= LEAST_VISITS and half != price else None
        told.append(LostVisits(kind, len(costs), sum(sent for _, sent in found[kind]), half, price, new))
    return told


def count_with(session: Session, kind: str, *, by: str, now: datetime.datetime) -> None:
    """Have the next plans count a lost visit of a kind with what such visits have cost; raises `Problem`."""
    one = next((one for one in lost_visits(session) if one.kind == kind), None)
    if one is None or one.new_cents is None:
        raise Problem(409, f"There is no new price for a lost {kind}: too few were lost, or it is counted already.")
    part = choices.PARTS[PRICES]
    texts = {f"lost_cents.{kind}": dollars_text(one.new_cents)}
    if choices.keep(session, part(session), texts, part, by=by, now=now) is None:
        raise Problem(409, "Somebody changed the prices at the same moment; read them again.", kind="changed-meanwhile")


def _sent_home(session: Session, visits: list[tuple[str, datetime.date]]) -> dict[tuple[str, datetime.date], int]:
    """Return what crews that were sent home were paid at the site in vain, by visit and day."""
    if not visits:
        return {}
    rows = session.exec(
        select(tables.DayResult, tables.Crew.minute_cents)
        .join(tables.Crew, col(tables.Crew.id) == col(tables.DayResult.crew_id))
        .where(col(tables.DayResult.visit_id).in_([visit for visit, _ in visits]))
        .order_by(col(tables.DayResult.id))
    ).all()
    newest = {(row.visit_id, row.day): (row, cents) for row, cents in rows}
    return {
        key: cents * max(0, (row.end or 0) - (row.start or 0)) if row.start is not None and row.end is not None else 0
        for key, (row, cents) in newest.items()
        if row.outcome == "not_done"
    }
