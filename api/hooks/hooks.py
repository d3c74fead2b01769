"""Webhooks of the business: made, changed, ended, and the calls that each is owed."""

from __future__ import annotations

import datetime
import json
from typing import Any

from sqlmodel import Session, col, select

from api import tables
from api.calls.guard import Allowed, is_outside, refused_by_name
from api.fields.limits import LIMITS
from api.hooks.changes import KINDS, FeedLine, changes, newest
from api.hooks.signing import new_secret
from api.ledger.history import note
from scheduler.errors import BadInput

MOST_HOOKS = 20
AT_ONCE = 200  # changes looked at for one hook before the next one has its turn
KEPT = datetime.timedelta(days=30)  # of calls that are over


def make(
    session: Session, name: str, address: str, events: list[str], *, by: str, now: datetime.datetime,
    allowed: Allowed = is_outside,
) -> tables.Webhook:  # fmt: skip
    """Make a webhook that is told of `events` from now on; raises `BadInput` naming the field.

    allowed: which IP addresses it may be at; what a name stands for is judged at each call.
    """
    kept = {}
    for field, text in (("name", name), ("address", address)):
        try:
            kept[field] = LIMITS[f"webhook.{field}"].check(text.strip())
        except BadInput as fault:
            raise BadInput(field, fault.problem) from None
    if problem := refused_by_name(kept["address"], allowed):
        raise BadInput("address", problem)
    chosen = _events(events)
    if len(open_hooks(session)) >= MOST_HOOKS:
        raise BadInput("", f"there are {MOST_HOOKS} webhooks already; end one first")
    row = tables.Webhook(
        name=kept["name"], address=kept["address"], secret=new_secret(), events=chosen, at_cursor=newest(session),
        made_at=now, made_by=by,
    )  # fmt: skip
    session.add(row)
    session.flush()
    note(session, now, by, "made", "webhook", str(row.id), {"name": row.name, "address": address, "events": chosen})
    return row


def _events(events: list[str]) -> list[str]:
    listed = ", ".join(KINDS)
    if unknown := [one for one in events if one not in KINDS]:
        raise BadInput("events", f'must be one or more of {listed}, is "{unknown[0]}"')
    if not events:
        raise BadInput("events", f"must be one or more of {listed}")
    return [one for one in KINDS if one in events]


def end(session: Session, row: tables.Webhook, *, by: str, now: datetime.datetime) -> None:
    """Tell a webhook nothing more; what it was still owed is dropped."""
    if row.ended_at is not None:
        return
    row.ended_at = now
    session.add(row)
    for call in calls_of(session, row, waiting=True):
        call.state, call.words, call.ended_at = "dropped", "the webhook was ended", now
        session.add(call)
    note(session, now, by, "ended", "webhook", str(row.id), {"name": row.name})


def open_hooks(session: Session) -> list[tables.Webhook]:
    """Return the webhooks that are told something, by name."""
    hook = tables.Webhook
    return list(session.exec(select(hook).where(col(hook.ended_at).is_(None)).order_by(hook.name, col(hook.id))))


def calls_of(
    session: Session, row: tables.Webhook, *, waiting: bool = False, most: int = 100, before: int | None = None
) -> list[tables.WebhookCall]:
    """Return the newest calls of a webhook, or those still owed (`waiting`), the next one first.

    before: of the newest, those before the call with this id; None: from the newest on.
    """
    call = tables.WebhookCall
    wanted = select(call).where(call.webhook_id == row.id)
    if waiting:
        return list(session.exec(wanted.where(call.state == "waiting").order_by(col(call.next_at), col(call.id))))
    if before is not None:
        wanted = wanted.where(col(call.id) < before)
    return list(session.exec(wanted.order_by(col(call.id).desc()).limit(most)))


def collect(session: Session, row: tables.Webhook, now: datetime.datetime) -> int:
    """Add the calls that a webhook is owed for changes since it was looked at; return how many changes were looked at.

    The session must be one that has locked the row, so that nothing is owed twice.
    """
    found = changes(session, row.at_cursor, AT_ONCE)
    for change in found:
        if change.kind in row.events:
            owe(session, row, change.kind or "", body_of(change), now, change.line.id)
    if found:
        row.at_cursor = found[-1].cursor
        session.add(row)
    return len(found)


def owe(
    session: Session, row: tables.Webhook, event: str, body: dict[str, Any], now: datetime.datetime,
    line: int | None = None,
) -> tables.WebhookCall:  # fmt: skip
    """Add a call that a webhook is owed at once; `line` is the line of the history that it tells of."""
    assert row.id is not None
    text = json.dumps(body, ensure_ascii=False, separators=(",", ":"))
    call = tables.WebhookCall(
        webhook_id=row.id, history_id=line, event=event, body=text, state="waiting", made_at=now, next_at=now
    )
    session.add(call)
    session.flush()
    return call


def body_of(change: FeedLine) -> dict[str, Any]:
    """Return what a webhook is told of a change: its kind, when it was, and the change as the feed has it."""
    return {"type": change.kind, "timestamp": change.line.at.isoformat(), "data": change.record()}


def forget_old(session: Session, now: datetime.datetime) -> None:
    """Delete calls that were over a month ago."""
    call = tables.WebhookCall
    for old in session.exec(select(call).where(call.state != "waiting", col(call.made_at) < now - KEPT).limit(1000)):
        session.delete(old)
