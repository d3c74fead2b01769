"""A stand-in for a service outside, on a port of this machine: each kind says what it answers, and what spoils that."""

from __future__ import annotations

import threading
from abc import ABC, abstractmethod
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, urlsplit


@dataclass(frozen=True)
class Asked:
    """A request: its path without the query, the query's (first) values by name, headers by small name, the body."""

    method: str
    path: str
    query: dict[str, str]
    headers: dict[str, str]
    body: bytes


@dataclass(frozen=True)
class Answer:
    """What is sent back."""

    body: bytes = b""
    status: int = 200
    headers: dict[str, str] = field(default_factory=dict)


class StandIn(ABC):
    """Answers GET and POST at `address` by `respond`, in threads of its own, until it is closed."""

    def __init__(self) -> None:
        stand_in = self

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                parts = urlsplit(self.path)
                query = {name: values[0] for name, values in parse_qs(parts.query, separator="&").items()}
                headers = {name.lower(): value for name, value in self.headers.items()}
                body = self.rfile.read(int(headers.get("content-length", "0")))
                answer = stand_in.respond(Asked(self.command, parts.path, query, headers, body))
                self.send_response(answer.status)
                for name, value in {"content-length": str(len(answer.body)), **answer.headers}.items():
                    self.send_header(name, value)
                self.end_headers()
                self.wfile.write(answer.body)

            do_POST = do_GET

            def log_message(self, *_: Any) -> None:
                """Be silent."""

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.address = f"http://127.0.0.1:{self._server.server_address[1]}"
        threading.Thread(target=self._server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True).start()

    @abstractmethod
    def respond(self, asked: Asked) -> Answer:
        """Return what a request is answered with."""

    def close(self) -> None:
        """Answer no more; whoever asks then finds nobody."""
        self._server.shutdown()
        self._server.server_close()
