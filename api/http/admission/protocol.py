"""The connections of the server: one that sends no whole request head within its time is closed, or is one too many."""

from __future__ import annotations

import asyncio
import re
from collections import Counter
from typing import Any, ClassVar

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

from api.http.assets import asset
from api.http.headers import ALWAYS
from api.languages import ENGLISH, LANGUAGES, gettext, speaking

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
_LANGUAGE = re.compile(rb"(?i)\r\ncookie:[^\r\n]*?eave-language=([a-z]{2})\b")
_PAGE = re.compile(rb"(?i)\r\naccept:[^\r\n]*text/html")


class PatientProtocol(H11Protocol):
    """HTTP/1.1 as the server speaks it, without patience for connections that say nothing."""

    _refused = False
    _end_of_head: bytes | None = None  # while the rest of one that is too long is waited for
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
            self._more_of_head(data)
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
        sent = bytes(self.conn.trailing_data[0])
        self._refused = True
        self._stop()
        self.flow.resume_reading()
        self.loop.call_later(LINGER_S, self._close)
        if len(sent) <= most:
            self._say("400 Bad Request", "text/plain", msg)
            return
        self._end_of_head = b""
        self.loop.call_later(LINGER_S / 2, self._say_too_long)  # at the latest
        self._more_of_head(sent)

    def _more_of_head(self, data: bytes) -> None:
        """Wait for the end of a head that is too long: behind its address it says whether a browser has sent it."""
        if self._end_of_head is not None:
            self._end_of_head = (self._end_of_head + data)[-MOST_HEAD:]
            if b"\r\n\r\n" in self._end_of_head:
                self._say_too_long()

    def _say_too_long(self) -> None:
        if self._end_of_head is not None and not self.transport.is_closing():
            most = self.config.h11_max_incomplete_event_size or MOST_HEAD
            self._say("431 Request Header Fields Too Large", *_too_long(self._end_of_head, most))
        self._end_of_head = None

    def _say(self, status: str, kind: str, words: str) -> None:
        data, fields = words.encode(), ALWAYS | {"content-type": f"{kind}; charset=utf-8", "connection": "close"}
        fields["content-length"] = str(len(data))
        head = "".join(f"{name}: {value}\r\n" for name, value in fields.items())
        self.transport.write(f"HTTP/1.1 {status}\r\n{head}\r\n".encode() + data)

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


def _too_long(sent: bytes, most: int) -> tuple[str, str]:
    """Return the answer to a head that is too long, its kind and itself: a page to a browser, in its reader's language.

    sent: the end of the head, as far as it has come; of an address alone nothing tells who reads the answer.
    """
    found = _LANGUAGE.search(sent)
    code = found[1].decode() if found and found[1].decode() in LANGUAGES else ENGLISH
    with speaking(code):
        words = gettext("What was sent is too long for an address, which has room for {n} kB: shorten it.")
        words, title = words.format(n=most // 1024), gettext("This cannot be taken as it is")
    if not _PAGE.search(sent):
        return "text/plain", words
    return "text/html", (
        f'<!doctype html><html lang="{code}"><head><meta charset="utf-8"><title>{title} – Eaveboard</title>'
        '<meta name="viewport" content="width=device-width, initial-scale=1"><link rel="stylesheet" '
        f'href="{asset("paper.css")}"></head><body><main><h1>{title}</h1><p>{words}</p></main></body></html>'
    )
