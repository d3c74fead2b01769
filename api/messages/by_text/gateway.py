"""The text gateway of the business: set, changed and ended by a manager; what it asks for is never shown again."""

from __future__ import annotations

import hmac
import secrets
from collections.abc import Mapping
from datetime import datetime
from typing import Any
from urllib.parse import urlsplit

from itsdangerous import BadSignature, URLSafeSerializer
from sqlmodel import Session

from api import tables
from api.calls.guard import Allowed, is_outside, refused_by_name
from api.fields.limits import LIMITS
from api.http import versions
from api.http.problems import Problem
from api.ledger.history import note
from api.secret import accepted
from scheduler.errors import BadInput

FIELDS = (
    "address", "form", "to_field", "text_field", "more", "header", "secret", "prefix", "from_field", "words_field"
)  # fmt: skip
BEGINS = {
    "address": "https://", "form": "json", "to_field": "to", "text_field": "text", "more": "",
    "header": "Authorization", "prefix": "+1", "from_field": "from", "words_field": "text",
}  # fmt: skip


def gateway(session: Session) -> tables.TextGateway | None:
    """Return the gateway that is set, None where texts are not sent."""
    return session.get(tables.TextGateway, 1)


def keep(
    session: Session, given: Mapping[str, str], version: int, *, by: str, now: datetime, allowed: Allowed = is_outside
) -> tables.TextGateway:
    """Set or change the gateway; an empty secret keeps the one that is there, unless the address leads elsewhere.

    version: that of the gateway as it was read, 0 where there was none. Raises `BadInput` naming the field, `Problem`
    where somebody else was quicker.
    """
    kept = _checked(given, allowed)
    row = gateway(session)
    if (row.version if row is not None else 0) != version:
        raise _meanwhile()
    if row is not None and kept["header"] and not kept["secret"] and _host(kept["address"]) == _host(row.address):
        kept["secret"] = row.secret  # what one gateway was given is never sent to another one
    if kept["header"] and not kept["secret"]:
        raise BadInput("secret", "must be given")
    if kept["secret"] and not kept["header"]:
        raise BadInput("header", "must say in which header the key goes")
    did = "made" if row is None else "changed"
    if row is None:
        row = tables.TextGateway(**kept)
        session.add(row)
        session.flush()
    elif not versions.update(session, row, kept):
        raise _meanwhile()
    note(session, now, by, did, "text gateway", "", {"address": row.address})
    return row


def end(session: Session, *, by: str, now: datetime) -> None:
    """Send no more texts."""
    row = gateway(session)
    if row is not None:
        session.delete(row)
        note(session, now, by, "ended", "text gateway", "", {"address": row.address})


def new_reply_address(session: Session, version: int, *, by: str, now: datetime) -> tables.TextGateway:
    """Take customers' texts by an address that nobody has known before; the one before, if any, is good no more.

    Raises `Problem` where there is no gateway, or somebody else was quicker.
    """
    row = gateway(session)
    if row is None:
        raise Problem(409, "No text gateway is set up: enter its address first.")
    if row.version != version or not versions.update(session, row, {"reply_key": secrets.token_urlsafe(18)}):
        raise _meanwhile()
    note(session, now, by, "made", "address for texts", "", {})
    return row


def end_reply_address(session: Session, version: int, *, by: str, now: datetime) -> None:
    """Take no more texts; raises `Problem` where somebody else was quicker."""
    row = gateway(session)
    if row is not None and row.reply_key:
        if row.version != version or not versions.update(session, row, {"reply_key": ""}):
            raise _meanwhile()
        note(session, now, by, "ended", "address for texts", "", {})


def reply_token(secret: str, row: tables.TextGateway) -> str:
    """Return what the address for texts ends with, empty where none are taken; the database alone does not give it."""
    return str(_signer(secret).dumps(row.reply_key)) if row.reply_key else ""


def gateway_of(session: Session, secret: str, token: str, now: datetime) -> tables.TextGateway | None:
    """Return the gateway whose address for texts a token is of; None where it is none, or no longer."""
    try:
        key = _signer(*accepted(secret, now)).loads(token)
    except (BadSignature, ValueError, TypeError):
        return None
    row = gateway(session)
    good = row is not None and row.reply_key and isinstance(key, str) and hmac.compare_digest(key, row.reply_key)
    return row if good else None


def _signer(*keys: str) -> URLSafeSerializer:
    return URLSafeSerializer(list(keys), salt="texts that come")


def lines_of(more: str) -> dict[str, str]:
    """Return what a call says besides, of lines such as from=+13195550100; raises `BadInput`."""
    found = {}
    for line in filter(None, (one.strip() for one in more.splitlines())):
        name, equals, value = (part.strip() for part in line.partition("="))
        if not equals or not name:
            raise BadInput("more", f'must be lines such as from=+13195550100, has "{line}"')
        found[name] = value
    return found


def _checked(given: Mapping[str, str], allowed: Allowed) -> dict[str, Any]:
    kept = {}
    for field in FIELDS:
        text = given[field].replace("\r\n", "\n").strip()
        try:
            kept[field] = str(LIMITS[f"text_gateway.{field}"].check(text))
        except BadInput as fault:
            raise BadInput(field, fault.problem) from None
    if problem := refused_by_name(kept["address"], allowed):
        raise BadInput("address", problem)
    if urlsplit(kept["address"]).scheme == "http" and not refused_by_name(kept["address"], is_outside):
        raise BadInput("address", "must begin with https://: customers' numbers would go out in the open")
    if kept["to_field"] == kept["text_field"] or {kept["to_field"], kept["text_field"]} & set(lines_of(kept["more"])):
        raise BadInput("more", "must not name a field a second time")
    return kept


def _host(address: str) -> str:
    return urlsplit(address).netloc.casefold()


def _meanwhile() -> Problem:
    return Problem(412, "Somebody else has changed the text gateway meanwhile: look at it again.",
                   kind="changed-meanwhile")  # fmt: skip
