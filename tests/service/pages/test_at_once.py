"""Far more requests at once than the database has connections: all are answered, and none waits for ever."""

from __future__ import annotations

import asyncio
import time
from collections import Counter

import httpx
from fastapi import FastAPI

from api.access.accounts import Role
from api.database.opening import MORE, POOL
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
