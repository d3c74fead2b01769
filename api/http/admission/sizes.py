"""What one request may ask of the machine: bytes, nesting, time, and a turn among the heavy ones.

Kept before a route sees the request, and before anybody has signed in, so that no single request can stop the others.
"""

from __future__ import annotations

import asyncio
import contextlib
import re
import time
from collections.abc import Callable

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.http.admission.strangers import Strangers
from api.http.problems import Problem, answer
from api.http.worded import chosen
from api.languages import reading

MOST_STRANGER = 64_000  # bytes of a body from whom nobody knows: enough to sign in
MOST_FORM = 256_000  # bytes of a form's fields
MOST_PLAIN = 1_000_000  # of JSON, or of anything else but files
MOST_FILES = 21_000_000  # of a form with files: above the largest file that a route takes, which says so itself
DEEPEST = 40  # brackets within brackets of a JSON body
GAP_S = 30.0  # between two pieces of a body
# What is read and thrown away of a body that is refused: most programs, browsers among them, read no answer before all
# is sent, and would see a broken connection in its place. Seconds and bytes, of whoever is signed in and of strangers.
LET_GO, LET_GO_STRANGER = (20.0, 64_000_000), (3.0, 1_000_000)
LEAST_RATE = 20_000  # bytes a second that a body must come at, beyond the first GAP_S
HEAVY = re.compile(r"^/(exchange(?!/exports)|begin|places/addresses)(/|$)|\.(pdf|zip|xlsx)$|/(packet|day-sheet)$")
TURNS = 2  # heavy requests answered at the same time; others wait without holding a thread
TURN_S = 60.0  # for a turn to come

_TEXTS = re.compile(rb'"(?:[^"\\]|\\.)*"?', re.DOTALL)
_BRACKETS = re.compile(rb"[\[\]{}]")


class RequestBounds:
    """Middleware that keeps these limits; `known` says whether a request comes from somebody who is signed in.

    paced: whether strangers wait for each other (`api.http.admission.strangers`); off where nobody but this
    machine comes, in tests.
    """

    def __init__(self, app: ASGIApp, known: Callable[[Request], bool], paced: bool = True) -> None:
        self.app, self.known, self.paced = app, known, paced
        self._turns, self._strangers = asyncio.Semaphore(TURNS), Strangers(known)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        request = Request(scope)
        try:
            body = await self._bounded(request, receive)
            if self.paced:
                await self._strangers.let_in(request)
        except Problem as refusal:
            if self.paced and refusal.status == 413:
                with contextlib.suppress(Problem):
                    await self._strangers.turn(request)
            if refusal.status == 413:
                known = await asyncio.to_thread(self.known, request)
                await _let_go(receive, *(LET_GO if known else LET_GO_STRANGER))
            refusal.headers["Connection"] = "close"  # what is still to come is not read
            await _refuse(request, refusal, receive, send)
            return
        if not HEAVY.search(scope["path"]):
            await self.app(scope, body, send)
            return
        try:
            await _turn(self._turns)
        except Problem as problem:
            await _refuse(request, problem, receive, send)
            return
        try:
            await self.app(scope, body, send)
        finally:
            self._turns.release()

    async def _bounded(self, request: Request, receive: Receive) -> Receive:
        """Return what gives the body within its limits; raises `Problem` where they are passed already."""
        kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
        most = {"multipart/form-data": MOST_FILES, "application/x-www-form-urlencoded": MOST_FORM}.get(kind, MOST_PLAIN)
        length = request.headers.get("content-length", "")
        said = int(length) if length.isascii() and length.isdigit() and len(length) < 19 else None
        if said is not None and said > most:
            raise _too_large(most)
        if said is None and "transfer-encoding" not in request.headers:
            return receive
        if (said is None or said > MOST_STRANGER) and not await asyncio.to_thread(self.known, request):
            most = MOST_STRANGER
            if said is not None:
                raise _too_large(most)
        counted = _counted(receive, most)
        return counted if kind.startswith("multipart/") else await _whole(counted)


async def _refuse(request: Request, refusal: Problem, receive: Receive, send: Send) -> None:
    """Answer in the language that the reader has chosen: what finds it for all other answers is further inside."""
    with reading(chosen(request.scope), speak=False):
        answered = await answer(request, refusal)
    await answered(request.scope, receive, send)


async def _turn(turns: asyncio.Semaphore) -> None:
    """Wait for a turn; raises `Problem` 503 where none comes."""
    try:
        await asyncio.wait_for(turns.acquire(), TURN_S)
    except TimeoutError:
        detail = "Too much is asked for at once; try again in a minute."
        raise Problem(503, detail, headers={"Retry-After": "60"}) from None


def _counted(receive: Receive, most: int) -> Receive:
    """Return `receive` with what it gives counted, and a body that comes too slowly given up."""
    got, begun = 0, time.monotonic()

    async def counted() -> Message:
        nonlocal got
        left = begun + GAP_S + got / LEAST_RATE - time.monotonic()
        try:
            message = await asyncio.wait_for(receive(), max(0.0, min(GAP_S, left)))
        except TimeoutError:
            raise HTTPException(408, "The request came too slowly; send it again.", {"Connection": "close"}) from None
        got += len(message.get("body", b""))
        if got > most:
            problem = _too_large(most)
            raise HTTPException(413, problem.detail, {"Connection": "close"})
        if message["type"] == "http.request" and not message.get("more_body", False):
            counted.done = True  # type: ignore[attr-defined]
        return message

    counted.done = False  # type: ignore[attr-defined]

    async def until_whole() -> Message:
        # After the body, whoever listens waits for the caller to hang up: as long as that takes.
        return await receive() if counted.done else await counted()  # type: ignore[attr-defined]

    return until_whole


async def _let_go(receive: Receive, seconds: float, most: int) -> None:
    """Read what is still coming of a body, `most` bytes and `seconds` long, and keep nothing of it."""
    got, more = 0, True
    with contextlib.suppress(TimeoutError):
        async with asyncio.timeout(seconds):
            while more and got < most:
                message = await receive()
                got += len(message.get("body", b""))
                more = message["type"] == "http.request" and message.get("more_body", False)


async def _whole(receive: Receive) -> Receive:
    """Read a small body whole, and return what gives it again; raises `Problem` where it is nested too deeply."""
    pieces: list[bytes] = []
    more = True
    while more:
        try:
            message = await receive()
        except HTTPException as fault:
            raise Problem(fault.status_code, str(fault.detail)) from None
        if message["type"] != "http.request":
            raise Problem(400, "The request was broken off.")
        pieces.append(message.get("body", b""))
        more = message.get("more_body", False)
    body = b"".join(pieces)
    if _depth(body) > DEEPEST:
        raise Problem(422, f"The request has brackets within brackets, more than {DEEPEST} deep.", kind="bad-input")
    given = False

    async def again() -> Message:
        nonlocal given
        if given:
            return await receive()
        given = True
        return {"type": "http.request", "body": body, "more_body": False}

    return again


def _depth(body: bytes) -> int:
    """Return how deeply the brackets of a JSON text lie within each other, those in its strings left out."""
    deepest = depth = 0
    for bracket in _BRACKETS.findall(_TEXTS.sub(b"", body)) if body.count(b"[") + body.count(b"{") > DEEPEST else ():
        depth += 1 if bracket in b"[{" else -1
        deepest = max(deepest, depth)
    return deepest


def _too_large(most: int) -> Problem:
    size = f"{most / 1_000_000:.0f} MB" if most >= 1_000_000 else f"{most // 1000} kB"
    detail = f"What was sent has more than {size}, the most that is taken here: shorten it, or send it in parts."
    if most == MOST_STRANGER:
        detail = f"What was sent has more than {size}, the most that is taken here: shorten it, or sign in first."
    return Problem(413, detail)
