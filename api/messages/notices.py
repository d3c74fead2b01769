"""Changes of somebody's sign-in, told by mail to the address that is written down for them: once, within a minute.

Their page tells of them as ever (`api.access.notices`); mail reaches also whoever does not sign in any more.
"""

from __future__ import annotations

import datetime
import logging
from collections.abc import Callable

import sqlalchemy as sa
from sqlmodel import Session, col, select

from api.access.notices import notices
from api.clock import local_moments
from api.database import transaction
from api.fields.addresses.mail import Server
from api.ledger.history import in_words
from api.messages.mail import Letter, NotSent, send
from api.tables import Account, History
from api.workers.lookout import Lookout

LOOK_S = 60.0
AGAIN_S = 600.0  # after a letter that the server did not take
STALE = datetime.timedelta(days=7)  # what is older is not sent after: the page has told of it
_log = logging.getLogger("eaveboard")


class NoticeKeeper:
    """Sends them while a mail server is set; `clock` is the machine's, `base` where the pages are."""

    def __init__(
        self, database: sa.Engine, server: Server | None, sender: str, base: str,
        clock: Callable[[], datetime.datetime],
    ) -> None:  # fmt: skip
        self._database, self._server, self._sender, self._base, self._clock = database, server, sender, base, clock
        self.lookout = Lookout(
            "notices", self.look, every_s=LOOK_S, failed="changes of sign-ins were not told by mail", at_once=True
        )

    def look(self) -> None:
        """Send what has not been sent; whoever has no address written down, or is disabled, gets none."""
        with transaction(self._database) as session:
            behind = [account for account in session.exec(select(Account)) if self._newest(session, account)]
        for account in behind:
            if not self._tell(account):
                self.lookout.rest(AGAIN_S)
                return

    def _newest(self, session: Session, account: Account) -> int | None:
        """Return the newest line on an account that has not been sent, None where there is none."""
        lines = select(sa.func.max(col(History.id))).where(
            col(History.noun) == "account", col(History.noun_id) == account.name, col(History.id) > account.mailed_line
        )
        return session.exec(lines).one()

    def _tell(self, account: Account) -> bool:
        """Send one letter of all that is new; say whether the next one may be tried."""
        now = self._clock()
        with transaction(self._database) as session:
            newest = self._newest(session, account)
            lines = [
                line
                for line in reversed(notices(session, account))
                if (line.id or 0) > account.mailed_line and line.did != "made" and line.at > now - STALE
            ]
        # Also to the address that was written down before: whoever changes it must not keep that from its owner.
        before = [line.detail["email"][0] for line in lines if isinstance(line.detail.get("email"), list)]
        for address in dict.fromkeys([account.email, *before]):
            if not lines or self._server is None or not address or not account.active:
                continue
            try:
                send(self._server, self._sender, self._letter(account, address, lines, now))
            except NotSent as fault:
                _log.warning("a change of a sign-in was not told by mail: %s", fault.words)
                if not fault.perhaps:
                    return False
        with transaction(self._database) as session:
            session.execute(sa.update(Account).where(col(Account.id) == account.id).values(mailed_line=newest))
        return True

    def _letter(self, account: Account, address: str, lines: list[History], now: datetime.datetime) -> Letter:
        with transaction(self._database) as session:
            moment = local_moments(session)
        told = "\n".join(f"- {moment(line.at)}: {in_words(line, account.name)}" for line in lines)
        body = (
            f"This was changed on the sign-in of {account.name} at {self._base}:\n\n{told}\n\n"
            "If that was not you, or nobody has told you, tell a manager of your business at once, by telephone.\n"
        )
        return Letter(
            to_name=account.name,
            to_email=address,
            subject="Your sign-in was changed",
            body=body,
            calendar="",
            method="",
            number=f"sign-in-{account.id}-{lines[-1].id}",
            at=now,
        )
