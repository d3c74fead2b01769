"""What is counted of requests, for whoever watches the service, and the id that each of them has."""

from __future__ import annotations

import logging
import re
import time
import uuid

from prometheus_client import CollectorRegistry, Counter, Gauge, Histogram
from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.http.logs import about

REGISTRY = CollectorRegistry()
REQUESTS = Counter(
    "eaveboard_requests", "Requests answered, by method, address and status.", ("method", "route", "status"),
    registry=REGISTRY,
)  # fmt: skip
SECONDS = Histogram(
    "eaveboard_request_seconds", "Seconds from a request to the end of its answer; streams are left out.", ("route",),
    buckets=(0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 10), registry=REGISTRY,
)  # fmt: skip
AT_WORK = Gauge("eaveboard_requests_at_work", "Requests that are being answered.", registry=REGISTRY)
ERRORS = Counter("eaveboard_request_errors", "Requests answered by an error of ours (5xx).", registry=REGISTRY)
REFUSED = Counter(
    "eaveboard_sign_ins_refused", "Sign-ins refused: name and password wrong, or too many tries.", ("why",),
    registry=REGISTRY,
)  # fmt: skip
LOGGED = Counter("eaveboard_logged", "Lines logged as warnings or errors.", ("level",), registry=REGISTRY)
# A count that is first told of as 1 has not grown for whoever looks on: each begins at 0, before anything happens.
for why in ("wrong", "too many tries", "provider"):
    REFUSED.labels(why)
for level in ("warning", "error"):
    LOGGED.labels(level)
HEADER = "x-request-id"
_PLAIN = re.compile(r"[A-Za-z0-9._-]{1,64}")
_log = logging.getLogger("eaveboard.requests")


class _Counting(logging.Handler):
    def emit(self, record: logging.LogRecord) -> None:
        LOGGED.labels("error" if record.levelno >= logging.ERROR else "warning").inc()


def count_lines() -> None:
    """Count from now on what the service logs as warnings and errors."""
    for logger in map(logging.getLogger, ("eaveboard", "api")):
        if not any(isinstance(handler, _Counting) for handler in logger.handlers):
            logger.addHandler(_Counting(logging.WARNING))


class Measured:
    """Middleware that gives each request an id, counts it, and logs one line of it.

    The id is the caller's X-Request-ID where that is plain, or made here; the answer carries it.
    """

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        asked = Headers(scope=scope).get(HEADER, "")
        own = asked if _PLAIN.fullmatch(asked) else uuid.uuid4().hex[:16]
        status, stream, began = 500, False, time.monotonic()

        async def noted(message: Message) -> None:
            nonlocal status, stream
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                headers[HEADER] = own
                status, stream = message["status"], headers.get("content-type", "").startswith("text/event-stream")
            await send(message)

        with about(request=own), AT_WORK.track_inprogress():
            try:
                await self.app(scope, receive, noted)
            finally:
                seconds, route = time.monotonic() - began, _route(scope)
                REQUESTS.labels(scope["method"] if status != 405 else "other", route, str(status)).inc()
                ERRORS.inc(status >= 500)
                if not stream:
                    SECONDS.labels(route).observe(seconds)
                said = {"method": scope["method"], "route": route, "status": status, "ms": round(1000 * seconds)}
                _log.info("%s %s %d", scope["method"], route, status, extra={"said": said})


def _route(scope: Scope) -> str:
    """Return the address without what stands in its places: a name or a token never gets into a figure or a log."""
    route = getattr(scope.get("route"), "path", None)
    if isinstance(route, str):
        return route
    return "/static" if scope["path"].startswith("/static/") else "other"
