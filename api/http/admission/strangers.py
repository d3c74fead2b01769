"""Who is not known waits for others like them, address by address, before any work is done for them.

A flood from one address keeps neither those waiting who are known, nor, for long, strangers at other addresses.
"""

from __future__ import annotations

import asyncio
import ipaddress
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, field

from starlette.requests import Request

from api.http.problems import Problem

# Strangers pass this often: 40 a second all together, 20 from one address. Thirty people who sign in at seven in the
# morning from one office pass within some seconds, pages and all.
TOGETHER, OF_ADDRESS, EVERY_S = 8, 4, 0.2
MOST_WAITING = 100  # of one address; who comes beyond them is sent away
TURN_S = 60.0  # for a turn to come
SENT_AWAY_S = 1.0  # until the answer goes out: who is sent away does not come back at once
SURE_S = 30.0  # for which somebody who was known is taken to be: pages themselves ask anew
_MOST_SURE = 2000
_BUSY = "Too much is asked for at once; try again in a minute."


@dataclass
class _Line:
    """Those of one address: `open` of them may pass, `waiting` wait or have passed just now."""

    open: asyncio.Semaphore = field(default_factory=lambda: asyncio.Semaphore(OF_ADDRESS))
    waiting: int = 0


class Strangers:
    """Lets strangers pass one after another; `known` says whether a request comes from somebody who is signed in."""

    def __init__(self, known: Callable[[Request], bool]) -> None:
        self._known = known
        self._together = asyncio.Semaphore(TOGETHER)
        self._lines: dict[str, _Line] = {}
        self._sure: OrderedDict[tuple[str, str], float] = OrderedDict()

    async def let_in(self, request: Request) -> None:
        """Return at once for whoever is known, else when their turn has come.

        Raises `Problem` 429 where too many of their address wait, 503 where no turn comes.
        """
        if request.url.path.startswith("/static/") or await self._is_known(request):
            return
        await self.turn(request)

    async def turn(self, request: Request) -> None:
        """Wait as a stranger does; raises `Problem` as `let_in`."""
        address = _address(request)
        line = self._lines.setdefault(address, _Line())
        if line.waiting >= MOST_WAITING:
            await asyncio.sleep(SENT_AWAY_S)
            raise Problem(429, _BUSY, headers={"Retry-After": "60"})
        line.waiting += 1
        loop = asyncio.get_running_loop()
        try:
            await _of(line.open)
        except BaseException:
            self._gone(address, line)
            raise
        loop.call_later(EVERY_S, self._passed, address, line)
        await _of(self._together)
        loop.call_later(EVERY_S, self._together.release)

    def _passed(self, address: str, line: _Line) -> None:
        line.open.release()
        self._gone(address, line)

    def _gone(self, address: str, line: _Line) -> None:
        line.waiting -= 1
        if line.waiting == 0:
            del self._lines[address]

    async def _is_known(self, request: Request) -> bool:
        shown = request.headers.get("cookie", ""), request.headers.get("authorization", "")
        if not any(shown):
            return False
        now = time.monotonic()
        if self._sure.get(shown, -SURE_S) > now - SURE_S:
            return True
        if not await asyncio.to_thread(self._known, request):
            return False
        self._sure.pop(shown, None)
        self._sure[shown] = now
        while len(self._sure) > _MOST_SURE:
            self._sure.popitem(last=False)
        return True


def _address(request: Request) -> str:
    """Return whose line a caller stands in: their address, of IPv6 the network that one subscriber has."""
    host = request.client.host if request.client is not None else ""
    if ":" not in host:
        return host
    try:
        return str(ipaddress.ip_network((host.partition("%")[0], 64), strict=False))
    except ValueError:
        return host


async def _of(turns: asyncio.Semaphore) -> None:
    try:
        await asyncio.wait_for(turns.acquire(), TURN_S)
    except TimeoutError:
        raise Problem(503, _BUSY, headers={"Retry-After": "60"}) from None
