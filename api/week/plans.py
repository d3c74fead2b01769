"""Stored plans: kept in memory once read, listed, laid against each other, and moved by hand."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import msgspec
from sqlmodel import Session, col, select

from api import tables
from api.http.problems import Problem
from api.ledger.fingerprint import fingerprint
from api.ledger.history import note
from api.ledger.kept import kept
from api.ledger.plans.documents import DrivesTimed, because_from_data, beside, plan_in, week_in
from api.ledger.plans.posted import posted_week
from api.week.build import with_because
from api.week.reasons import asked_anew, is_quick
from api.week.run.planning import store_plan
from scheduler import Lock, Move, Off, Put, Spot, Tried, by_hand, move_sentence, what_changed, why_not_kept
from scheduler.plan import Plan
from scheduler.price import outings, visits
from scheduler.week import Week

_SHOWN = 3  # differences that a refusal names


@dataclass(frozen=True)
class Documents:
    """A stored plan as documents; `because` and `fixed` as in its row."""

    id: int
    week: Week
    plan: Plan
    because: dict[str, Any]
    fixed: dict[str, Any]
    timed: DrivesTimed | None


def documents(session: Session, plan_id: int) -> Documents:
    """Return the documents of a stored plan, from memory where they have been read before; answers 404 for none.

    A stored plan never changes, but for reasons found later, and was checked and audited before it was stored.
    """
    wanted = select(tables.StoredPlan.reasons_wanted).where(tables.StoredPlan.id == plan_id)
    without = session.exec(wanted).first() if 0 < plan_id < 2**31 else None

    def read() -> Documents:
        row = None if without is None else session.get(tables.StoredPlan, plan_id)
        if row is None:
            raise Problem(404, f"No plan has the number {plan_id}.")
        return Documents(plan_id, week_in(row), plan_in(row), row.because, row.fixed, beside(row).timed)

    return kept(session, ("plan documents", plan_id, without), read)


def plan_list(session: Session, start_date: datetime.date) -> list[dict[str, Any]]:
    """Return what is to be known of each plan of a week, the newest first, without the documents."""
    row = tables.StoredPlan
    columns = {
        "id": row.id, "how": row.how, "made_from": row.made_from, "made_by": row.made_by, "made_at": row.made_at,
        "cost_cents": row.cost_cents, "bound_cents": row.bound_cents, "seconds": row.seconds, "note": row.note,
    }  # fmt: skip
    wanted = select(*map(col, columns.values())).where(row.start_date == start_date)
    posted = posted_week(session, start_date)
    once = set(session.exec(select(tables.PostedWeek.plan_id).where(tables.PostedWeek.start_date == start_date)).all())
    found = []
    for values in session.execute(wanted.order_by(col(row.id).desc())).all():
        record = dict(zip(columns, values, strict=True))
        record["posted"] = posted is not None and posted.plan_id == record["id"]
        record["was_posted"] = record["id"] in once
        found.append(record)
    return found


def promises_not_kept(session: Session, docs: Documents) -> dict[str, str]:
    """Return for each visit whose firm time or promised day a stored plan breaks why, with what keeping it would cost.

    In the plan as it stands, and, where that was found, with everything planned again.
    """
    return kept(session, ("promises not kept", docs.id), lambda: why_not_kept(docs.week, docs.plan))


def move(
    session: Session, docs: Documents, hand: Put | Off, locks: Mapping[str, Lock], *, despite: bool,
    now: datetime.datetime, by: str,
) -> tuple[tables.StoredPlan, Tried]:  # fmt: skip
    """Store the plan that a move by hand makes; answers 409 where it breaks a rule, a lock, or unasked a promise.

    A plan that is stored keeps every rule. A promise to a customer (a firm or day booking) may be broken where the
    caller says `despite`: the plan then lists it as broken and pays for it, as plans of the engine do. Its bound is
    that of the plan it was made from, where nothing but the week document bound that one. Why others wait is found anew
    at once or, in a large week, later (`api.week.reasons`). Refused by 409 too where the
    plan is no longer the newest of its week (`changed-meanwhile`, `newest`): a move beside another's would lose one.
    """
    require_newest(session, docs.week.start_date, docs.id)
    tried = by_hand(docs.week, docs.plan, hand, locks)
    if tried.breaches:
        broken = [{"rule": b.rule, "sentence": b.sentence, "visit": b.job} for b in tried.breaches]
        kind = "lock-broken" if all(b.rule == "lock" for b in tried.breaches) else "breaks-rule"
        raise Problem(409, " ".join(b.sentence for b in tried.breaches), kind=kind, broken=broken)
    if tried.promises and not despite:
        broken = [{"rule": b.rule, "sentence": b.sentence, "visit": b.job} for b in tried.promises]
        raise Problem(409, " ".join(b.sentence for b in tried.promises), kind="breaks-promise", broken=broken)
    bound = docs.plan.bound
    if docs.fixed or bound is None or bound > tried.plan.cost.total:
        bound = None
    plan, later = msgspec.structs.replace(tried.plan, bound=bound), not is_quick(docs.week)
    plan = with_because(plan, because_from_data(docs.because)) if later else asked_anew(docs.week, plan, docs.because)
    row = store_plan(
        session, docs.week, plan, because=docs.because, timed=docs.timed, how="moved", made_from=docs.id, now=now,
        by=by, inputs=fingerprint(docs.week, "moved", plan), reasons_wanted=later and bool(plan.skipped),
    )  # fmt: skip
    detail: dict[str, Any] = {"plan": row.id, "made_from": docs.id, "cost_change_cents": tried.change.total}
    detail |= {"to": None} if isinstance(hand, Off) else {"to": [hand.crew, hand.day, hand.start]}
    if tried.promises:
        detail["broken_promises"] = [b.job for b in tried.promises]
    note(session, now, by, "moved", "visit", hand.job, detail)
    return row, tried


def require_newest(session: Session, start_date: datetime.date, plan_id: int) -> None:
    """Answer 409 where a newer plan of the week than `plan_id` has been stored: its number, by whom, what is other."""
    row = tables.StoredPlan
    newest = session.exec(select(row.id, row.made_by).where(row.start_date == start_date).order_by(col(row.id).desc()))
    found = newest.first()
    if found is not None and found[0] is not None and found[0] != plan_id:
        changed = differences(session, plan_id, found[0])
        shown = "; ".join(changed[:_SHOWN]) + (f"; and {len(changed) - _SHOWN} more" if len(changed) > _SHOWN else "")
        what = f" ({shown})" if changed else ""
        detail = f"{found[1]} has changed this week meanwhile{what}: look at plan {found[0]} first."
        raise Problem(409, detail, kind="changed-meanwhile", newest=found[0], changed=changed)


def differences(session: Session, plan_id: int, other_id: int) -> list[str]:
    """Return a sentence on each visit that another plan of the same week has elsewhere, by the visit's id."""
    old, new = documents(session, plan_id), documents(session, other_id)
    before, after = (
        {name: Spot(v.crew, v.day, v.start) for name, v in visits(outings(docs.week, docs.plan.routes)).items()}
        for docs in (old, new)
    )
    found = []
    for name in sorted(before.keys() | after.keys()):
        was, now = before.get(name), after.get(name)
        what = what_changed(was, now)
        if what is not None and what != "stays":
            found.append(move_sentence(new.week, Move(name, what, was, now, "")))
    return found


def undo(session: Session, plan: tables.StoredPlan, *, now: datetime.datetime, by: str) -> tables.StoredPlan:
    """Take back what made `plan` of another: return that other, stored once more, as it was.

    Refused by 409 where the plan was made of no other, or is not the newest of its week any more.
    """
    assert plan.id is not None
    require_newest(session, plan.start_date, plan.id)
    before = None if plan.made_from is None else session.get(tables.StoredPlan, plan.made_from)
    if before is None:
        raise Problem(409, f"Plan {plan.id} was made of no other plan: there is nothing to undo.")
    # Not the old row itself: the newest plan of a week is the one that counts, and stored plans never change.
    values = before.model_dump(exclude={"id"}) | {"made_at": now, "made_by": by}
    row = tables.StoredPlan(**values | {"note": f"plan {before.id} again"})
    session.add(row)
    session.flush()
    told = {"plan": row.id, "undone": plan.id, "again": before.id}
    note(session, now, by, "undid", "week", f"week-{plan.start_date}", told)
    return row
