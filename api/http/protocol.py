"""The connections of the server: one that sends no whole request head within its time is closed, or is one too many."""

from __future__ import annotations

import asyncio
from collections import Counter
from typing import Any, ClassVar

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

HEAD_S = 15.0  # for a request's head to come, from the connection on or from its first byte
MOST_HEAD = (
    65_536  # bytes of a request's first line and headers: of a form whose fields stand in the address, all of them
)
MOST_CONNECTIONS = 400  # at the same time; more are answered 503 at once
# Of one address, so that nobody takes all of them; more are closed at once. Not of this machine, on which a proxy may
# be, and not where proxies are set: then theirs are everybody's.
MOST_OF_ADDRESS = 150
LINGER_S = 3.0  # for which the rest of a request that is no request is read and thrown away, so that its answer comes
HERE = ("127.0.0.1", "::1")


class PatientProtocol(H11Protocol):
    """HTTP/1.1 as the server speaks it, without patience for connections that say nothing."""

    _refused = False
    _head: asyncio.TimerHandle | None = None
    _address = ""
    _open: ClassVar[Counter[str]] = Counter()  # connections by address

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        super().connection_made(transport)
        address = str((transport.get_extra_info("peername") or ("",))[0])
        if not self.config.proxy_headers and address not in HERE:
            self._address = address
            self._open[address] += 1
            if self._open[address] > MOST_OF_ADDRESS:
                transport.abort()
                return
        self._wait()

    def data_received(self, data: bytes) -> None:
        if self._refused:
            return
        super().data_received(data)
        if self.conn.their_state is h11.IDLE:
            self._wait()
        else:
            self._stop()

    def connection_lost(self, exc: Exception | None) -> None:
        self._stop()
        if self._address:
            self._open[self._address] -= 1
            if not self._open[self._address]:
                del self._open[self._address]
            self._address = ""
        super().connection_lost(exc)

    def on_response_complete(self) -> Any:
        self._stop()  # from here on the server's own keep-alive time counts
        return super().on_response_complete()

    def send_400_response(self, msg: str) -> None:
        """Answer what is no request, in a sentence where it is only too long, and close once the caller has read it."""
        most = self.config.h11_max_incomplete_event_size or MOST_HEAD
        long = len(self.conn.trailing_data[0]) > most
        if long:
            msg = f"What was sent is too long for an address, which has room for {most // 1024} kB: shorten it."
        body = msg.encode()
        head = f"HTTP/1.1 {'431 Request Header Fields Too Large' if long else '400 Bad Request'}\r\n"
        head += f"content-type: text/plain; charset=utf-8\r\ncontent-length: {len(body)}\r\nconnection: close\r\n\r\n"
        self._refused = True
        self._stop()
        self.transport.write(head.encode() + body)
        self.flow.resume_reading()
        self.loop.call_later(LINGER_S, self._close)

    def eof_received(self) -> None:
        if self._refused:
            self._close()

    def _wait(self) -> None:
        if self._head is None:
            self._head = self.loop.call_later(HEAD_S, self._close)

    def _stop(self) -> None:
        if self._head is not None:
            self._head.cancel()
            self._head = None

    def _close(self) -> None:
        if not self.transport.is_closing():
            self.transport.close()
