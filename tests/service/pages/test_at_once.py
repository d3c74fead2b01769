"""Far more requests at once than the database has connections: all are answered, and none waits for ever."""

from __future__ import annotations

import asyncio
import inspect
import time
from collections import Counter
from collections.abc import AsyncIterator

import httpx
from fastapi import FastAPI
from fastapi.routing import APIRoute

from api.access.accounts import Role
from api.database.opening import MORE, POOL
from api.http.pages import AT_ONCE
from tests.service.cast import PAGE, signed_in


def test_more_at_once_than_there_are_connections_are_all_answered(app: FastAPI) -> None:
    """Each would have held a connection while it waited for a thread, and each thread waited for a connection."""
    known = signed_in(app, Role.office)
    cookies = "; ".join(f"{name}={value}" for name, value in known.cookies.items())

    async def ask() -> Counter[int]:
        transport = httpx.ASGITransport(app, raise_app_exceptions=False)
        headers = {**PAGE, "cookie": cookies}
        async with httpx.AsyncClient(transport=transport, base_url="http://testserver", headers=headers) as client:
            answers = await asyncio.gather(*(client.get("/password") for _ in range(2 * (POOL + MORE))))
        return Counter(answer.status_code for answer in answers)

    assert known.portal is not None
    began = time.monotonic()
    assert known.portal.call(ask) == {200: 2 * (POOL + MORE)}
    assert time.monotonic() - began < 30  # for which the pool waits before it gives up


def test_forms_that_are_sent_slowly_keep_nobody_waiting(app: FastAPI) -> None:
    """A form with files is read as it comes: whoever stops in the middle of one has no turn yet."""
    known = signed_in(app, Role.office)
    cookies = "; ".join(f"{name}={value}" for name, value in known.cookies.items())

    async def ask() -> int:
        over = asyncio.Event()

        async def slowly() -> AsyncIterator[bytes]:
            yield b"--x\r\n"
            await over.wait()
            yield b"--x--\r\n"

        transport = httpx.ASGITransport(app, raise_app_exceptions=False)
        headers = {**PAGE, "cookie": cookies}
        async with httpx.AsyncClient(transport=transport, base_url="http://testserver", headers=headers) as client:
            kind = {"content-type": "multipart/form-data; boundary=x"}
            slow = [client.post("/day-links/revoke", content=slowly(), headers=kind) for _ in range(AT_ONCE)]
            sending = [asyncio.ensure_future(one) for one in slow]
            await asyncio.sleep(1)
            asked = await asyncio.wait_for(client.get("/password"), 20)
            over.set()
            await asyncio.gather(*sending)
        return asked.status_code

    assert known.portal is not None
    assert known.portal.call(ask) == 200


def test_whoever_waits_for_a_long_answer_keeps_nobody_else_waiting(app: FastAPI) -> None:
    """What is no coroutine is answered in a thread; those that are only wait for what comes, line by line."""
    coroutines = {
        route.path
        for route in app.routes
        if isinstance(route, APIRoute) and inspect.iscoroutinefunction(route.endpoint)
    }
    assert coroutines == {"/weeks/{start_date}/live"}
