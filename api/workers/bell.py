"""A bell that threads ring for those who wait in event loops."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress


class Bell:
    """Wakes all who listen, in whichever event loop; one that nobody listens to rings in vain."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._listeners: set[tuple[asyncio.AbstractEventLoop, asyncio.Event]] = set()

    def ring(self) -> None:
        with self._lock:
            listeners = list(self._listeners)
        for loop, rung in listeners:
            with suppress(RuntimeError):  # its loop has ended
                loop.call_soon_threadsafe(rung.set)

    @contextmanager
    def listening(self) -> Iterator[asyncio.Event]:
        """Give the event that is set when it rings; for whoever runs in an event loop."""
        mine = (asyncio.get_running_loop(), asyncio.Event())
        with self._lock:
            self._listeners.add(mine)
        try:
            yield mine[1]
        finally:
            with self._lock:
                self._listeners.discard(mine)


async def rung(event: asyncio.Event, seconds: float) -> bool:
    """Wait until a bell rings, `seconds` at most; say whether it has."""
    try:
        await asyncio.wait_for(event.wait(), seconds)
    except TimeoutError:
        return False
    return True
