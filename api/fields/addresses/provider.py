"""Whose word on who somebody is counts beside passwords: a provider of OpenID Connect, as the settings name it."""

from __future__ import annotations

from dataclasses import dataclass, field
from urllib.parse import urlsplit

from scheduler.errors import BadInput

_HERE = ("127.0.0.1", "localhost", "::1")


@dataclass(frozen=True)
class Provider:
    """`issuer` is its name and where its description stands; `client` and `secret` are what it knows us by."""

    issuer: str
    client: str
    secret: str = field(default="", repr=False)


def is_private_way(address: str) -> bool:
    """Return whether what is sent to an address cannot be read on its way: by https, or within this machine."""
    try:
        parts = urlsplit(address)
        host = parts.hostname
    except ValueError:
        return False
    return bool(host) and (parts.scheme == "https" or (parts.scheme == "http" and host in _HERE))


def read_provider(name: str, issuer: str, client: str, secret: str) -> Provider | None:
    """Return the provider that three settings describe, whose names begin with `name`; None where none is set.

    Raises `BadInput` naming the setting that is missing or cannot be used. Without a secret the service is a public
    client: only the proof by PKCE (RFC 7636) then shows that it is the one that asked.
    """
    given = {"ISSUER": issuer, "CLIENT": client, "SECRET": secret}
    if not any(given.values()):
        return None
    for part in ("ISSUER", "CLIENT"):
        if not given[part]:
            raise BadInput(f"{name}{part}", f"is missing; {name}ISSUER and {name}CLIENT go together")
    parts = urlsplit(issuer)
    if not is_private_way(issuer) or parts.query or parts.fragment or parts.username:
        raise BadInput(f"{name}ISSUER", f'must be an address like https://sign-in.example, is "{issuer}"')
    return Provider(issuer, client, secret)
