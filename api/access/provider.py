"""Signing in by an OpenID Connect provider: authorization code with PKCE; its word is checked down to the signature.

OpenID Connect Core 1.0, sections 3.1.2 (the request), 3.1.3.3 (the answer) and 3.1.3.7 (what is checked of the id
token); RFC 7636 (PKCE, S256); RFC 9207 (the issuer in the answer).
"""

from __future__ import annotations

import base64
import datetime
import hashlib
import secrets
import threading
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote, urlencode

import httpx
import sqlalchemy as sa
from sqlmodel import Session, col, select

from api.access.accounts import HalfIn, SignedIn, has_codes, new_session
from api.database import transaction
from api.fields.addresses.provider import Provider, is_private_way
from api.ledger.history import note
from api.tables import Account, SignIn

TRY_S = 10.0
MOST_BYTES = 500_000
DESCRIBED_S = 3600  # for which its description and its keys count
LEEWAY_S = 60  # by which its clock may differ from ours
# How it may sign: with a key of its own that we know the public half of. Never "none", never a secret that we share.
ALGORITHMS = ("RS256", "PS256", "ES256", "RS384", "PS384", "ES384", "RS512", "PS512", "ES512", "EdDSA")
_ENDPOINTS = ("authorization_endpoint", "token_endpoint", "jwks_uri")


class NotLetIn(Exception):
    """Somebody who is not let in by the provider's word, in one sentence that they can act on."""


@dataclass(frozen=True)
class SignInAsked:
    """What was asked of the provider, kept by the browser until it comes back: all of it is new for each sign-in."""

    state: str
    nonce: str
    verifier: str
    aim: str

    @classmethod
    def anew(cls, aim: str) -> SignInAsked:
        return cls(secrets.token_urlsafe(32), secrets.token_urlsafe(32), secrets.token_urlsafe(48), aim)

    @property
    def challenge(self) -> str:
        """Return what the provider is shown of the verifier before it is told it."""
        digest = hashlib.sha256(self.verifier.encode()).digest()
        return base64.urlsafe_b64encode(digest).rstrip(b"=").decode()


class SignInProvider:
    """Speaks with the provider; `back` is the address at which browsers come back from it."""

    def __init__(self, provider: Provider, back: str) -> None:
        self._provider, self._back = provider, back
        self._lock = threading.Lock()
        self._described: tuple[datetime.datetime, dict[str, Any]] | None = None
        self._keys: tuple[datetime.datetime, dict[str, Any]] | None = None

    def way(self, asked: SignInAsked, now: datetime.datetime) -> str:
        """Return the address at which the provider asks who somebody is; raises `NotLetIn` where it cannot be had."""
        wanted = {
            "response_type": "code", "client_id": self._provider.client, "redirect_uri": self._back,
            "scope": "openid email", "state": asked.state, "nonce": asked.nonce,
            "code_challenge": asked.challenge, "code_challenge_method": "S256",
        }  # fmt: skip
        to = str(self._description(now)["authorization_endpoint"])
        return f"{to}{'&' if '?' in to else '?'}{urlencode(wanted)}"

    def email(self, asked: SignInAsked, code: str, issuer: str, now: datetime.datetime) -> str:
        """Return the e-mail address that the provider has verified of whoever brought `code`.

        issuer: what the answer says it is from, empty where it does not say. Raises `NotLetIn`.
        """
        if issuer and issuer != self._provider.issuer:
            raise NotLetIn("The answer is from another provider than was asked: sign in again.")
        token = self._exchanged(asked, code, now)
        claims = self._claims(token, asked, now)
        email = claims.get("email")
        if not isinstance(email, str) or not email.strip():
            raise NotLetIn("The provider did not say your e-mail address: have it given to this service.")
        if claims.get("email_verified") is not True:
            raise NotLetIn("The provider has not verified your e-mail address: verify it there first.")
        return email.strip().lower()

    def _exchanged(self, asked: SignInAsked, code: str, now: datetime.datetime) -> str:
        """Return the id token that the provider gives for the code."""
        described, own = self._description(now), self._provider
        sent = {"grant_type": "authorization_code", "code": code, "redirect_uri": self._back,
                "client_id": own.client, "code_verifier": asked.verifier}  # fmt: skip
        headers = {"Accept": "application/json"}
        ways = described.get("token_endpoint_auth_methods_supported") or ["client_secret_basic"]
        if own.secret and "client_secret_basic" in ways:  # RFC 6749, 2.3.1: each part is encoded as in a form first
            pair = f"{quote(own.client, safe='')}:{quote(own.secret, safe='')}"
            headers["Authorization"] = f"Basic {base64.b64encode(pair.encode()).decode()}"
        elif own.secret:
            sent["client_secret"] = own.secret
        answer = _asked("POST", str(described["token_endpoint"]), headers, sent)
        token = answer.get("id_token")
        if not isinstance(token, str):
            raise NotLetIn("The provider did not take what your browser brought back: sign in again.")
        return token

    def _claims(self, token: str, asked: SignInAsked, now: datetime.datetime) -> dict[str, Any]:
        """Return what an id token says; raises `NotLetIn` where it is not signed, not of now or not ours."""
        from joserfc import jwt  # only where somebody signs in so: it takes a while to load
        from joserfc.errors import JoseError

        claims = None
        for again in (False, True):  # a key that is not known may be new
            try:
                claims = jwt.decode(token, self._key_set(now, again), algorithms=list(ALGORITHMS)).claims
                break
            except (JoseError, ValueError, TypeError, KeyError):
                continue
        if claims is None:
            raise NotLetIn("The provider's word is not signed with its key: sign in again, or tell the manager.")
        audience = claims.get("aud")
        for_whom = audience if isinstance(audience, list) else [audience]
        at, own = now.timestamp(), self._provider
        numbers = [claims.get(name) for name in ("exp", "iat")]
        checks = (
            claims.get("iss") == own.issuer,
            own.client in for_whom,
            len(for_whom) == 1 or claims.get("azp") == own.client,
            claims.get("azp") in (None, own.client),
            isinstance(claims.get("nonce"), str)
            and secrets.compare_digest(claims["nonce"].encode(), asked.nonce.encode()),
            all(isinstance(one, int | float) and not isinstance(one, bool) for one in numbers),
        )
        if not all(checks):
            raise NotLetIn("The provider's word is not for this sign-in: sign in again, or tell the manager.")
        begins = claims.get("nbf", claims["iat"])
        if at > claims["exp"] + LEEWAY_S or not isinstance(begins, int | float) or at < begins - LEEWAY_S:
            raise NotLetIn("The provider's word is over, or not of now: sign in again.")
        return dict(claims)

    def _key_set(self, now: datetime.datetime, again: bool) -> Any:
        from joserfc.jwk import KeySet

        with self._lock:
            if self._keys is None or again or _old(self._keys[0], now):
                self._keys = now, _asked("GET", str(self._describe(now)["jwks_uri"]), {"Accept": "application/json"})
            keys = self._keys[1].get("keys") or ()
        public = [key for key in keys if isinstance(key, dict) and key.get("kty") != "oct" and key.get("use") != "enc"]
        return KeySet.import_key_set({"keys": public})

    def _description(self, now: datetime.datetime) -> dict[str, Any]:
        with self._lock:
            return self._describe(now)

    def _describe(self, now: datetime.datetime) -> dict[str, Any]:
        """Return how the provider describes itself (OpenID Connect Discovery 1.0), asked for once an hour."""
        if self._described is None or _old(self._described[0], now):
            at = f"{self._provider.issuer.rstrip('/')}/.well-known/openid-configuration"
            found = _asked("GET", at, {"Accept": "application/json"})
            if found.get("issuer") != self._provider.issuer:
                raise NotLetIn("The provider calls itself something else than EAVEBOARD_OIDC_ISSUER: tell the manager.")
            if not all(isinstance(found.get(one), str) and is_private_way(found[one]) for one in _ENDPOINTS):
                raise NotLetIn("The provider does not say where it is asked, by https: tell the manager.")
            self._described = now, found
        return self._described[1]


def let_in_by_provider(
    database: sa.Engine, email: str, now: datetime.datetime, hours: int, agent: str
) -> tuple[str, SignedIn | HalfIn]:
    """Return the name and a new session of the account with this e-mail address; `HalfIn` where a code is asked for.

    A one-time password that was not used yet ends: the provider's word stands in for it, and no password is left until
    one is given by another manager or the command line. Raises `NotLetIn` where no such account may sign in.
    """
    with transaction(database) as session:
        account = session.exec(select(Account).where(Account.email == email)).first()
        if account is None or account.id is None or not account.active:
            raise NotLetIn(f"Nobody with the e-mail address {email} may sign in here: ask the manager.")
        if has_codes(session, account):
            return account.name, HalfIn(account.id, account.version)
        _end_one_time(session, account, now)
        session.execute(sa.delete(SignIn).where(col(SignIn.expires_at) <= now))
        return account.name, SignedIn(new_session(session, account, now, hours, agent), must_change=False)


def _end_one_time(session: Session, account: Account, now: datetime.datetime) -> None:
    if account.one_time_until is None:
        return
    account.password, account.one_time_until, account.one_time_used_at = "", None, None
    session.add(account)
    note(session, now, account.name, "came by the provider, not the one-time password", "account", account.name, {})


def _old(at: datetime.datetime, now: datetime.datetime) -> bool:
    return abs((now - at).total_seconds()) > DESCRIBED_S


def _asked(method: str, address: str, headers: dict[str, str], form: dict[str, str] | None = None) -> dict[str, Any]:
    """Return the JSON object at an address of the provider; raises `NotLetIn` where there is none."""
    try:
        with (
            httpx.Client(timeout=TRY_S, follow_redirects=False) as client,
            client.stream(method, address, headers=headers, data=form) as answer,
        ):
            body = b""
            for piece in answer.iter_bytes():
                body += piece
                if len(body) > MOST_BYTES:
                    raise NotLetIn("The provider's answer is too long: tell the manager.")
        found = httpx.Response(200, content=body).json()
    except (httpx.HTTPError, httpx.InvalidURL, OSError):
        raise NotLetIn("The provider cannot be reached just now: try again, or sign in by password.") from None
    except ValueError:
        found = None
    if answer.status_code != 200 or not isinstance(found, dict):
        raise NotLetIn("The provider did not take what it was asked: sign in again, or by password.")
    return found
