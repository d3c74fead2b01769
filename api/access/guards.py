"""Who may do what: each route states it once by `allow(...)`, and a start without such a statement is refused.

    who: Annotated[Who, allow(Role.manager, Role.office)]

The guard answers 401, 403 or 404 before the route begins, and hands it the caller.
"""

from __future__ import annotations

import datetime
import hashlib
import hmac
from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace
from typing import Annotated, Any, TypeVar

from fastapi import Depends, FastAPI, Request
from fastapi.dependencies.models import Dependant
from fastapi.routing import iter_route_contexts
from sqlmodel import Session, SQLModel
from starlette.datastructures import UploadFile

from api.access.accounts import Role, has_codes, owner, seen
from api.access.day_links import crew_of_link, days_to_hand_in
from api.access.issued import note_used
from api.access.proof import has_proved
from api.access.scopes import opened
from api.access.tokens import BEGINS, token_of
from api.database import transaction
from api.http.names import crew_called
from api.http.pages import Database
from api.http.problems import Problem
from api.languages import gettext
from api.ledger.days.riders import riding_on
from api.ledger.plans.posted import crews_given, does_job, posted_route
from api.secret import accepted
from api.settings import Settings
from api.tables import Crew

Row = TypeVar("Row", bound=SQLModel)
SAFE = ("GET", "HEAD", "OPTIONS")
STAFF = tuple(Role)
LOOKERS = (Role.manager, Role.office, Role.reader)  # who sees all crews and what the week costs; a lead the own crew's
CSRF_HEADER = "x-csrf-token"
OPEN_MOUNTS = ("/static",)  # style sheets and scripts, the same for everyone


@dataclass(frozen=True)
class Who:
    """The caller: an account, a crew's day link, a program's token, or nobody; `name` is what the history calls them.

    `crew_id` is the crew of a crew lead or of the link, `day` the link's and `phone` the digest of its phone's cookie
    (empty: of a link of before, good for any); `over`: that day is over, and what was noted may be handed in. `csrf` is
    what their forms must carry, or one of `csrf_before`, made by secrets of before. A program has `scopes`, and the
    role for which it is taken at the address that it asks for.
    """

    name: str
    csrf: str
    role: Role | None = None
    account_id: int | None = None
    link_id: int | None = None
    crew_id: str | None = None
    day: datetime.date | None = None
    phone: str = ""
    over: bool = False
    must_change: bool = False
    must_set_up: bool = False
    token_id: int | None = None
    scopes: tuple[str, ...] = ()
    csrf_before: tuple[str, ...] = ()

    @property
    def key(self) -> str:
        """Tells callers apart, even where names are used again."""
        if self.token_id is not None:
            return f"token {self.token_id}"
        if self.account_id is not None:
            return f"account {self.account_id}"
        # What a phone sends again by the link of the next day is done once all the same.
        return f"{self.crew_id} on {self.phone}" if self.phone else f"link {self.link_id}"


def cookie_name(settings: Settings, what: str) -> str:
    """Return the name of the cookie for `what` (session, day, form); over https one that no other host can set."""
    return f"__Host-eave-{what}" if settings.secure else f"eave-{what}"


def csrf_token(secret: str, seed: str) -> str:
    """Return what a form must carry beside the cookie whose value is `seed`."""
    return hmac.new(secret.encode(), b"form:" + seed.encode(), hashlib.sha256).hexdigest()


def _is_ours(sent: str, who: Who) -> bool:
    """Say whether the token that came with a form is one that was made for the caller."""
    mine = [one for one in (who.csrf, *who.csrf_before) if one]
    return bool(sent) and any(hmac.compare_digest(sent.encode(), one.encode()) for one in mine)


async def _sent_csrf(request: Request) -> str:
    """Return the token that came with a writing request: by header from a script, as a field from a form."""
    if request.method in SAFE:
        return ""
    if CSRF_HEADER in request.headers:
        return request.headers[CSRF_HEADER]
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind in ("application/x-www-form-urlencoded", "multipart/form-data"):
        sent = (await request.form()).get("csrf")
        return "" if sent is None or isinstance(sent, UploadFile) else sent
    return ""


@dataclass(frozen=True)
class Permission:
    """The statement of one route, and the guard that keeps it."""

    roles: frozenset[Role]
    crew_link: bool = False
    everyone: bool = False
    one_time: bool = False
    grave: bool = False
    by_key: bool = False
    hand_in: bool = False

    def __call__(self, request: Request, session: Database, sent: Annotated[str, Depends(_sent_csrf)]) -> Who:
        who = _caller(request, session, over=self.hand_in)
        request.state.who = who
        if who.token_id is not None and self.grave:
            raise Problem(403, "This token may not do this: this is for people.")
        if who.token_id is not None and not self.everyone:
            request.state.who = who = self._program(request, who)
            return who
        known = who.role is not None or who.link_id is not None
        if not known and not self.everyone:
            raise Problem(
                401,
                "Sign in, or open the link of your crew's day.",
                headers={"WWW-Authenticate": 'Session realm="Eaveboard"'},
            )
        if request.method not in SAFE and not self.by_key and not _is_ours(sent, who):
            detail = "Open the page again and send the form from there; a program sends the token in X-CSRF-Token."
            raise Problem(403, detail, kind="form-expired")
        if self.everyone:
            return who
        if who.must_change and not self.one_time:
            raise Problem(403, "Your password is for one time: choose your own.", kind="change-password")
        if who.must_set_up and not self.one_time:
            raise Problem(403, "Managers sign in with a code from their phone here: set it up.", kind="set-up-codes")
        if who.role not in self.roles and not (who.link_id is not None and self.crew_link):
            raise Problem(403, f"This is for {self.words}.")
        if self.grave and not _has_proved(request, session):
            detail = "You gave your password a while ago. Give it again at /prove, then do this once more."
            raise Problem(403, detail, kind="give-password")
        return who

    def _program(self, request: Request, who: Who) -> Who:
        """Return a program with the role for which it is taken here; answers 403 where its scopes do not reach.

        It carries no form's token: no browser sends a bearer of itself.
        """
        ways = dict(opened(request.method, request.scope["route"].path, self.roles))
        for scope, role in ways.items():
            if scope in who.scopes:
                return replace(who, role=role)
        needed = f'it needs the scope "{next(iter(ways))}"' if ways else "this is for people"
        raise Problem(403, f"This token may not do this: {needed}.")

    @property
    def words(self) -> str:
        names = [str(role) for role in Role if role in self.roles] + ["the crew's day link"] * self.crew_link
        return "everyone" if self.everyone else ", ".join(names)


def allow(
    *roles: Role, crew_link: bool = False, one_time: bool = False, grave: bool = False, hand_in: bool = False
) -> Any:
    """Return the dependency that lets only accounts of `roles` in, and crews by their day link where `crew_link`.

    `one_time`: also while a one-time password is still to be changed, or codes at sign-in to be set up. `grave`: only
    where the password was given a few minutes ago, and for no program. A route that lets links in must still ask
    `own_crew_day` or `own_job`: a link is for one crew and one day. `hand_in`: links whose day is over come in too, for
    what their phone noted on it.
    """
    if not roles:
        raise ValueError("say which roles may use this; everyone() lets anybody in")
    return Depends(Permission(frozenset(roles), crew_link=crew_link, one_time=one_time, grave=grave, hand_in=hand_in))


def _has_proved(request: Request, session: Session) -> bool:
    token = request.cookies.get(cookie_name(request.app.state.settings, "session"), "")
    return has_proved(session, token, datetime.datetime.now(datetime.UTC))


def everyone(*, by_key: bool = False) -> Any:
    """Return the dependency of a route that needs no session: signing in, opening a day link.

    `by_key`: its address holds a key that no other site knows, so that what is sent there carries no form's token. The
    route itself must ask whether the key is good.
    """
    return Depends(Permission(frozenset(), everyone=True, by_key=by_key))


def statements(app: FastAPI) -> Iterator[tuple[str, str, Permission]]:
    """Yield method, path and permission of every route; raises `RuntimeError` at one with no or several statements."""
    for context in iter_route_contexts(app.routes):
        dependant = getattr(context, "dependant", None)
        if dependant is None:
            if context.path in OPEN_MOUNTS:
                continue
            raise RuntimeError(f"the route {context.path} cannot state who may use it; make it a route of a router")
        found = list(_permissions(dependant))
        if len(found) != 1:
            raise RuntimeError(f"the route {context.path} states {len(found)} times who may use it, must be once")
        for method in sorted(context.methods or ()):
            yield method, str(context.path), found[0]


def _permissions(dependant: Dependant) -> Iterator[Permission]:
    for inner in dependant.dependencies:
        if isinstance(inner.call, Permission):
            yield inner.call
        yield from _permissions(inner)


def _caller(request: Request, session: Session, *, over: bool) -> Who:
    """Return who asks; `over`: a link whose day is over counts, for what its phone may still hand in."""
    settings: Settings = request.app.state.settings
    secret: str = request.app.state.secret
    now = datetime.datetime.now(datetime.UTC)
    older = accepted(secret, now)[:-1]

    def before(seed: str) -> tuple[str, ...]:
        return tuple(csrf_token(old, seed) for old in older)

    kind, _, shown = request.headers.get("authorization", "").partition(" ")
    if kind.lower() == "bearer" and shown.strip().startswith(BEGINS):  # then no cookie counts
        program = token_of(session, shown.strip(), now)
        if program is None:
            return Who("", "")
        note_used(request.app.state.database, program, now)
        return Who(f"program {program.name}", "", token_id=program.id, scopes=tuple(program.scopes))
    token = request.cookies.get(cookie_name(settings, "session"), "")
    account = owner(session, token, now, settings.idle_minutes) if token else None
    if account is not None:
        seen(request.app.state.database, token, now)
        return Who(
            name=account.name,
            csrf=csrf_token(secret, token),
            role=Role(account.role),
            account_id=account.id,
            crew_id=account.crew_id,
            csrf_before=before(token),
            must_change=account.one_time_until is not None,
            must_set_up=settings.codes == "managers"
            and account.role == Role.manager
            and not has_codes(session, account),
        )
    token = request.cookies.get(cookie_name(settings, "day"), "")
    phone = request.cookies.get(cookie_name(settings, "phone"), "")
    link = crew_of_link(session, secret, token, phone, now, over=over) if token else None
    if link is not None:
        return Who(
            link_name(session, link.crew_id),
            csrf_token(secret, token),
            link_id=link.id,
            crew_id=link.crew_id,
            day=link.day,
            phone=link.phone or "",
            over=link.expires_at <= now,
            csrf_before=before(token),
        )
    seed = request.cookies.get(cookie_name(settings, "form"), "")
    return Who("", csrf_token(secret, seed), csrf_before=before(seed)) if seed else Who("", "")


def link_name(session: Session, crew_id: str) -> str:
    """Return what the history calls a crew that came by a day link."""
    return f"{crew_called(session, crew_id)} by day link"


def is_known(request: Request) -> bool:
    """Say whether a request comes from somebody who is signed in, or by a day link that opens something."""
    if not request.cookies and "authorization" not in request.headers:
        return False
    with transaction(request.app.state.database) as session:
        who = _caller(request, session, over=True)
    return who.role is not None or who.link_id is not None or who.token_id is not None


def found(session: Session, table: type[Row], key: Any, noun: str) -> Row:
    """Return the row of `table` with the primary key `key`; answers 404 where there is none."""
    # PostgreSQL keeps no NUL in a text and refuses to look for one.
    row = None if isinstance(key, str) and "\0" in key else session.get(table, key)
    if row is None:
        raise Problem(404, f'No {noun} has the id "{key}".')
    return row


def own_crew_day(session: Session, who: Who, crew_id: str, day: datetime.date, *, write: bool = False) -> None:
    """Answer 404 where the day is not the link's or not of the lead's crew; 403 where a lead would `write` there.

    To `write`, the days are open too on which the link's phone had another one and may still hand in what it noted.
    """
    own = who.link_id is None or (who.crew_id, who.day) == (crew_id, day)
    if not own and not (write and who.crew_id == crew_id and day in days_handed_in(session, who)):
        raise Problem(404, gettext("This link is for another crew or day."))
    if who.role is Role.lead and who.crew_id != crew_id and not rides_along(session, who.crew_id, crew_id, day):
        detail = gettext("This is for the lead of {crew} and the office.").format(crew=crew_called(session, crew_id))
        raise Problem(403 if write else 404, detail)


def days_handed_in(session: Session, who: Who) -> dict[datetime.date, datetime.datetime]:
    """Return the days of which a link's phone may still hand in what it noted, the newest first, with their ends."""
    if who.crew_id is None or not who.phone:
        return {}
    links = days_to_hand_in(session, who.crew_id, who.phone, datetime.datetime.now(datetime.UTC))
    ends: dict[datetime.date, datetime.datetime] = {}
    for link in links:
        ends[link.day] = max(link.expires_at, ends.get(link.day, link.expires_at))
    return ends


def rides_along(session: Session, own_crew: str | None, crew_id: str, day: datetime.date) -> bool:
    """Say whether the lead of `own_crew` rides in another crew's van that day, by the roster."""
    own, crew = session.get(Crew, own_crew or ""), session.get(Crew, crew_id)
    if own is None or crew is None:
        return False
    return own.lead_id in {person.id for person in riding_on(session, day).riders(crew, day)}


def own_wall(session: Session, who: Who, visit_ids: Collection[str]) -> None:
    """Answer 404 to a lead where all of a wall's jobs were given to other crews: leads survey what nobody has yet."""
    if who.role is not Role.lead or not visit_ids:
        return
    given = crews_given(session, visit_ids)
    if all(crews and who.crew_id not in crews for crews in given.values()):
        raise Problem(404, gettext('Your crew has no job "{visit}".').format(visit=min(visit_ids)))


def own_job(session: Session, who: Who, visit_id: str) -> None:
    """Answer 404 where the job is not the crew's: a link's on its day, a crew lead's in any week that is posted."""
    if who.role is Role.lead and not (who.crew_id and does_job(session, who.crew_id, visit_id)):
        raise Problem(404, gettext('Your crew has no job "{visit}".').format(visit=visit_id))
    if who.link_id is None:
        return
    assert who.crew_id is not None
    assert who.day is not None
    route = posted_route(session, who.crew_id, who.day)
    if route is None or visit_id not in {stop.job or stop.assist for stop in route.stops}:
        raise Problem(404, gettext('Your day has no job "{visit}".').format(visit=visit_id))
