"""Ids of new rows."""

from __future__ import annotations

import secrets

_LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"


def new_id(letter: str) -> str:
    """Return an id that nobody has, also where two are made at once: the letter of the noun and six others."""
    return f"{letter}-{''.join(secrets.choice(_LETTERS) for _ in range(6))}"
