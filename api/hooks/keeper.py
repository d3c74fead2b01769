"""Telling webhooks while the service runs: what changed is owed at once, told within seconds, and tried for a day."""

from __future__ import annotations

import datetime
import logging
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import httpx
import sqlalchemy as sa
from sqlmodel import Session, col, select

from api import tables
from api.database import transaction
from api.hooks import hooks
from api.hooks.signing import headers
from api.workers.lookout import Lookout

LOOK_S = 1.0
TRY_S = 10.0  # for an answer
AT_ONCE = 4  # webhooks told at the same time
IN_A_ROW = 50  # calls of one webhook before it is looked at again
# Seconds until the next try, after each that failed; after the last one it is given up, about a day later.
WAITS_S = (5, 30, 120, 600, 3600, 3 * 3600, 6 * 3600, 12 * 3600)
_WORDS = 200
_log = logging.getLogger("eaveboard")


class HookKeeper:
    """Tells webhooks what they are owed; `clock` gives machine time, by which messages are dated."""

    def __init__(self, database: sa.Engine, clock: Callable[[], datetime.datetime]) -> None:
        self._database, self._clock = database, clock
        self.lookout = Lookout("webhooks", self._look, every_s=LOOK_S, failed="webhooks could not be told")

    def _look(self) -> None:
        """Tell all that have a call due; one under way to a slow program is made again later if this ends."""
        due = self.owed()
        if due:
            with ThreadPoolExecutor(min(len(due), AT_ONCE), thread_name_prefix="webhook") as pool:
                list(pool.map(self.tell, due))

    def owed(self) -> list[int]:
        """Collect what has changed, and return the webhooks that have a call due."""
        now, due = self._clock(), []
        with transaction(self._database) as session:
            ids = [row.id for row in hooks.open_hooks(session)]
        for hook_id in ids:
            with transaction(self._database) as session:
                row = self._locked(session, hook_id)
                if row is None:
                    continue
                while hooks.collect(session, row, now):
                    pass
                hooks.forget_old(session, now)
                if any(call.next_at <= now for call in hooks.calls_of(session, row, waiting=True)):
                    due.append(hook_id or 0)
        return due

    def tell(self, hook_id: int) -> None:
        """Make the calls of a webhook that are due, one after the other, until one fails."""
        with httpx.Client(timeout=TRY_S, follow_redirects=False) as client:
            for _ in range(IN_A_ROW):
                if self.lookout.stopping() or not self._next(hook_id, client):
                    return

    def _next(self, hook_id: int, client: httpx.Client) -> bool:
        """Make the first call that is due; return whether there was one and the program took it."""
        now = self._clock()
        with transaction(self._database) as session:
            row = session.get(tables.Webhook, hook_id)
            if row is None or row.ended_at is not None:
                return False
            due = [call for call in hooks.calls_of(session, row, waiting=True) if call.next_at <= now]
        if not due:
            return False
        call = due[0]
        status, words = _ask(client, row, call, int(now.timestamp()))
        with transaction(self._database) as session:
            self._noted(session, call.id, status, words)
        return not words

    def _noted(self, session: Session, call_id: int | None, status: int | None, words: str) -> None:
        call = session.get(tables.WebhookCall, call_id)
        if call is None or call.state != "waiting":  # ended or dropped while it was told
            return
        now = self._clock()
        call.tries, call.status, call.words = call.tries + 1, status, words[:_WORDS]
        if not words:
            call.state, call.ended_at = "told", now
        elif call.tries > len(WAITS_S):
            call.state, call.ended_at = "gave up", now
            _log.warning("webhook %s was not told of %s: %s", call.webhook_id, call.event, words)
        else:
            call.next_at = now + datetime.timedelta(seconds=WAITS_S[call.tries - 1])
        session.add(call)

    def _locked(self, session: Session, hook_id: int | None) -> tables.Webhook | None:
        hook = tables.Webhook
        # Writing first: of two that collect for one webhook the second waits here, and then finds nothing new.
        same = sa.update(hook).where(col(hook.id) == hook_id).values(id=hook.id)
        session.execute(same.execution_options(synchronize_session=False))
        return session.exec(select(hook).where(hook.id == hook_id, col(hook.ended_at).is_(None))).first()


def _ask(client: httpx.Client, row: tables.Webhook, call: tables.WebhookCall, timestamp: int) -> tuple[int | None, str]:
    """Make a call; return the status of the answer, None without one, and what was wrong, empty where nothing was."""
    body = call.body.encode()
    try:
        sent = headers(row.secret, f"msg_{row.id}_{call.id}", timestamp, body)
        with client.stream("POST", row.address, content=body, headers=sent) as answer:
            status = answer.status_code
    except httpx.TimeoutException:
        return None, f"it did not answer within {TRY_S:.0f} s"
    except (httpx.HTTPError, httpx.InvalidURL, OSError) as fault:
        return None, f"it cannot be reached: {fault}"
    return status, "" if 200 <= status < 300 else f"it answered with status {status}"
