"""Private addresses of calendar feeds: a token that says whose feed it is, signed, since calendars cannot sign in.

The same feed has the same token always; a new secret of the service makes all of them useless.
"""

from __future__ import annotations

from typing import Literal

from itsdangerous import BadSignature, URLSafeSerializer

Feed = Literal["crew", "visit"]


def feed_token(secret: str, feed: Feed, of: str) -> str:
    """Return the token of a crew's feed, or of a visit's."""
    token = _signer(secret).dumps([feed, of])
    assert isinstance(token, str)
    return token


def feed_of(secret: str, token: str) -> tuple[Feed, str] | None:
    """Return whose feed a token opens, None for one that we have not made."""
    try:
        feed, of = _signer(secret).loads(token)
    except (BadSignature, ValueError, TypeError):
        return None
    return (feed, of) if feed in ("crew", "visit") and isinstance(of, str) else None


def _signer(secret: str) -> URLSafeSerializer:
    return URLSafeSerializer(secret, salt="calendar feed")
