"""What went wrong, told one way: a problem document (RFC 9457) to programs, the same as a page to people."""

from __future__ import annotations

import errno
import json
import logging
from collections.abc import Mapping, Sequence
from http import HTTPStatus
from typing import Any
from urllib.parse import quote, urlsplit

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import RedirectResponse
from sqlalchemy.exc import DBAPIError, IntegrityError, InterfaceError, OperationalError
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.responses import Response

from api.fields.files.sheets import BadFiles
from api.http.first_version import asked
from api.http.headers import ALWAYS
from api.http.pages import page
from api.languages import gettext, language, page_language, speaking, to_say
from api.languages.core import refused_says
from scheduler.errors import BadInput

MEDIA_TYPE = "application/problem+json"

# Kinds of problem that say more than their status, each with its title. Those without a kind are "about:blank".
KINDS = {
    "bad-input": to_say("This cannot be taken as it is"),
    "changed-meanwhile": to_say("Somebody else has changed this meanwhile"),
    "no-version": to_say("Say which version is changed"),
    "in-use": to_say("This is still used"),
    "taken": to_say("This name is taken"),
    "key-reused": to_say("This key was used for another request"),
    "under-way": to_say("The first request with this key is still under way"),
    "too-many-tries": to_say("Too many tries"),
    "form-expired": to_say("This form is no longer good"),
    "change-password": to_say("Change the one-time password first"),
    "set-up-codes": to_say("Set up codes at sign-in first"),
    "give-password": to_say("Give your password again first"),
    "moved": to_say("The week was posted anew"),
    "breaks-rule": to_say("This breaks a rule"),
    "breaks-promise": to_say("This breaks a promise to a customer"),
    "not-current": to_say("The plan no longer fits what is known today"),
    "lock-broken": to_say("A lock cannot be kept"),
    "time-taken": to_say("This time is not free any more"),
    "run-under-way": to_say("The planner is at work on this week already"),
    "week-over": to_say("This week is over"),
    "not-loaded": to_say("A kit is not on the van"),
    "no-room": to_say("There is no room left to write"),
    "database-away": to_say("The database does not answer"),
    "not-now": to_say("This cannot be noted now"),
    "falls": to_say("Some visits can’t go as posted then"),
    "broken-off": to_say("Only a part of this was done"),
}
_TITLES = {
    401: to_say("Sign in first"),
    403: to_say("You may not do this"),
    404: to_say("There is no such page"),
    405: to_say("This cannot be done here"),
    422: KINDS["bad-input"],
    500: to_say("Something broke on our side"),
}

MOST_QUOTED = 40  # letters of a value that is said again where it cannot be


class Problem(Exception):
    """An answer that refuses: `kind` is one of `KINDS` or empty, `members` are extension members of the document."""

    def __init__(
        self, status: int, detail: str, *, kind: str = "", headers: Mapping[str, str] | None = None, **members: Any
    ) -> None:
        super().__init__(detail)
        self.status, self.detail, self.kind, self.members = status, detail, kind, members
        self.headers = dict(headers or {})
        self.language = language()  # of who is refused: it is answered where nobody's is spoken any more

    @property
    def title(self) -> str:
        fallback = HTTPStatus(self.status).phrase
        return gettext(KINDS.get(self.kind) or _TITLES.get(self.status, fallback))

    @property
    def said(self) -> str:
        """What is wrong, in the language spoken: it is kept in English."""
        return _joined(self._errors()) if "errors" in self.members else refused_says(self.detail)

    def _errors(self) -> list[dict[str, str]]:
        return [{**error, "problem": refused_says(error["problem"])} for error in self.members["errors"]]

    def document(self, instance: str) -> dict[str, Any]:
        """Return the problem document of the request for `instance`."""
        return {
            "type": f"/problems/{self.kind}" if self.kind else "about:blank",
            "title": self.title,
            "status": self.status,
            "detail": self.said,
            "instance": instance,
            **self.members,
            **({"errors": self._errors()} if "errors" in self.members else {}),
            **{name: [_said(one) for one in self.members[name]] for name in _SAID if name in self.members},
        }


_SAID = ("against", "broken")  # what stands beside a refusal of a plan


def _said(broken: str | Mapping[str, Any]) -> str | dict[str, Any]:
    """Return a sentence, or a broken rule with one, in the language spoken."""
    if isinstance(broken, str):
        return refused_says(broken)
    return {**broken, "sentence": refused_says(broken["sentence"])}


def bad_fields(faults: Sequence[tuple[str, str]]) -> Problem:
    """Return the refusal of input with `faults`: pairs of where it is wrong and what is wrong there."""
    errors = [{"where": where, "problem": problem} for where, problem in faults]
    return Problem(422, _joined(errors), kind="bad-input", where=faults[0][0], errors=errors)


def _joined(errors: Sequence[Mapping[str, str]]) -> str:
    return "; ".join(f"{one['where']}: {one['problem']}" if one["where"] else one["problem"] for one in errors)


def wants_page(request: Request) -> bool:
    """Say whether the caller is a browser that shows a page: those name text/html, programs do not."""
    return "text/html" in request.headers.get("accept", "")


def add_problem_handlers(app: FastAPI) -> None:
    """Have every error of `app`, expected or not, answered by `answer`."""
    for kind in (
        Problem,
        BadInput,
        RequestValidationError,
        HTTPException,
        IntegrityError,
        OperationalError,
        InterfaceError,
        OSError,
        Exception,
    ):
        app.add_exception_handler(kind, answer)


async def answer(request: Request, fault: Exception) -> Response:
    """Return `fault` as a problem document or a page; a person who is not signed in is led to do so."""
    problem = problem_of(fault)
    if problem.status == 500:  # answered outside the middleware that adds these
        problem.headers.update(ALWAYS)
    if wants_page(request):
        if problem.status == 401 and request.method == "GET":
            aim = request.url.path + (f"?{request.url.query}" if request.url.query else "")
            return RedirectResponse(f"/sign-in?next={quote(aim, safe='')}", 303)
        if problem.kind == "change-password":
            return RedirectResponse("/password", 303)
        if problem.kind == "set-up-codes":
            return RedirectResponse("/second-factor", 303)
        if problem.kind == "give-password":
            return RedirectResponse(f"/prove?next={quote(_came_from(request), safe='')}", 303)
        with speaking(problem.language), speaking(page_language()):
            values = {"title": problem.title, "words": problem.said, "problem": problem, "back": _form_of(request)}
            # Its head asks the database: while it waits for that, others must not wait for this.
            refused = await run_in_threadpool(page, request, "refused.html", values, status=problem.status)
        refused.headers.update(problem.headers)
        return refused
    with speaking(problem.language), speaking(page_language()):
        body = json.dumps(problem.document(asked(request.scope)), ensure_ascii=False)
    return Response(body, problem.status, problem.headers, MEDIA_TYPE)


def _came_from(request: Request) -> str:
    """Return the page from which a form was sent, as an address of our own; "/" where the browser does not say."""
    if request.method == "GET":
        return request.url.path
    return urlsplit(request.headers.get("referer", "")).path or "/"


def _form_of(request: Request) -> str:
    """Return the address of the page of ours whose form was sent; empty where none was, or the browser does not say."""
    came = urlsplit(request.headers.get("referer", ""))
    ours = came.netloc == request.url.netloc and came.path.startswith("/") and not came.path.startswith("//")
    if request.method == "GET" or not ours:
        return ""
    return came.path + (f"?{came.query}" if came.query else "")


def problem_of(fault: Exception) -> Problem:
    """Return what is said of a fault: its own sentence, or one that lets nothing of ours be seen."""
    if isinstance(fault, Problem):
        return fault
    if isinstance(fault, BadFiles):
        return bad_fields([(f.where, f.problem) for f in fault.faults])
    if isinstance(fault, BadInput):
        return bad_fields([(fault.where, fault.problem)])
    if isinstance(fault, RequestValidationError):
        return bad_fields([(".".join(str(part) for part in e["loc"]), _sentence(e)) for e in fault.errors()])
    if isinstance(fault, HTTPException):
        detail = str(fault.detail)
        plain = detail == HTTPStatus(fault.status_code).phrase
        return Problem(fault.status_code, _plain(fault.status_code) if plain else detail, headers=fault.headers)
    if isinstance(fault, OSError) and fault.errno in (errno.ENOSPC, errno.EDQUOT):
        return _no_room("the disk of the data folder (EAVEBOARD_DATA)")
    if isinstance(fault, OperationalError | InterfaceError):
        return _database_fault(fault)
    if isinstance(fault, IntegrityError):  # checked before it was written, and still: two at the same moment
        logging.getLogger("eaveboard").warning("refused by the database", exc_info=fault)
        detail = "Something that this rests on was changed at the same moment. Read it again."
        return Problem(409, detail, kind="changed-meanwhile")
    logging.getLogger("eaveboard").error("unexpected error", exc_info=fault)
    return Problem(500, "Nothing was changed. Try again; if it stays, tell whoever looks after this machine.")


def _database_fault(fault: DBAPIError) -> Problem:
    """Return what is said while the database cannot be reached or written, as far as its driver tells."""
    logging.getLogger("eaveboard").error("the database does not do its work: %s", fault.orig)
    said = str(fault.orig).lower()
    if "is full" in said or getattr(fault.orig, "sqlstate", "") == "53100":
        return _no_room("the database's disk")
    later = {"Retry-After": "10"}
    if "is locked" in said or getattr(fault.orig, "sqlstate", "") in ("55P03", "40001", "40P01"):
        detail = "Somebody else is writing just now. Nothing was changed; try again in a moment."
        return Problem(503, detail, kind="database-away", headers=later)
    detail = "The database cannot be reached. Nothing was changed; try again in a minute."
    return Problem(503, detail, kind="database-away", headers=later)


def _no_room(what: str) -> Problem:
    logging.getLogger("eaveboard").error("no room left on %s", what)
    detail = f"Nothing was changed: {what} is full. Reading goes on; whoever looks after this machine must make room."
    return Problem(503, detail, kind="no-room", headers={"Retry-After": "60"})


def _sentence(error: Mapping[str, Any]) -> str:
    """Return what a check of form has found, in the words of `BadInput`."""
    text, value, bounds = str(error["msg"]).removeprefix("Value error, "), error.get("input"), error.get("ctx", {})
    match str(error["type"]), value:
        case "missing", _:
            return "is missing"
        case "extra_forbidden", _:
            return "is unknown here; leave it out"
        case "int_parsing" | "int_from_float", str():
            return f'must be a whole number, is "{value[:MOST_QUOTED]}"'
        case "string_too_long" | "too_long", str():
            return f"must have at most {bounds['max_length']} letters, has {len(value)}"
        case "string_too_short" | "too_short", str():
            least = bounds["min_length"]
            return "must not be empty" if least == 1 else f"must have {least} letters or more"
    return text[:1].lower() + text[1:]


def _plain(status: int) -> str:
    return {404: "Nothing lies at this address.", 405: "This address does not take such a request."}.get(
        status, HTTPStatus(status).description or HTTPStatus(status).phrase
    )


SCHEMA = {
    "type": "object",
    "required": ["type", "title", "status", "detail", "instance"],
    "properties": {
        "type": {"type": "string", "format": "uri-reference"},
        "title": {"type": "string"},
        "status": {"type": "integer"},
        "detail": {"type": "string"},
        "instance": {"type": "string", "format": "uri-reference"},
        "where": {"type": "string", "description": "the first faulty field"},
        "errors": {
            "type": "array",
            "description": "every faulty field",
            "items": {
                "type": "object",
                "required": ["where", "problem"],
                "properties": {"where": {"type": "string"}, "problem": {"type": "string"}},
            },
        },
    },
}


def responses(*statuses: int) -> dict[int | str, dict[str, Any]]:
    """Return the declaration of refusals with `statuses` for the OpenAPI."""
    return {
        status: {
            "description": _TITLES.get(status, HTTPStatus(status).phrase),
            "content": {MEDIA_TYPE: {"schema": SCHEMA}},
        }
        for status in statuses
    }
