"""Signing what a webhook tells, after the open specification "Standard Webhooks" (2023, symmetric signatures).

What is signed is "id.timestamp.body" with HMAC-SHA256 and the hook's secret; the header holds "v1," and the signature
in base64. Whoever is told checks it, refuses timestamps older than a few minutes, and takes each id once.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import secrets

PREFIX = "whsec_"


def new_secret() -> str:
    """Return a new secret: 32 random bytes in base64, behind the prefix by which it is known."""
    return PREFIX + base64.b64encode(secrets.token_bytes(32)).decode()


def signature(secret: str, message_id: str, timestamp: int, body: bytes) -> str:
    """Return the signature of a message; `timestamp` is in seconds since 1970."""
    key = base64.b64decode(secret.removeprefix(PREFIX))
    signed = f"{message_id}.{timestamp}.".encode() + body
    return "v1," + base64.b64encode(hmac.new(key, signed, hashlib.sha256).digest()).decode()


def headers(secret: str, message_id: str, timestamp: int, body: bytes) -> dict[str, str]:
    """Return the headers that go with a message."""
    return {
        "content-type": "application/json",
        "webhook-id": message_id,
        "webhook-timestamp": str(timestamp),
        "webhook-signature": signature(secret, message_id, timestamp, body),
    }
