"""Addresses of a version, for programs: /v1/customers is what /customers is, and leads on below /v1.

Within a version keys and addresses are added, and none is taken away or changes its meaning; pages lie outside of it.
"""

from __future__ import annotations

import re
from urllib.parse import quote

from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

PREFIX = "/v1"
# A proxy keeps figures inside by their path alone; files of pages are for no program.
_OUTSIDE = ("/metrics", "/static/", PREFIX + "/")
_ASKED = "eave.asked"
_NOT_OF_A_PATH = re.compile(rb"%(?![0-9A-Fa-f]{2})|[^\w!$%&'()*+,./:;=@~-]", re.ASCII)  # of a URI, RFC 3986


class FirstVersion:
    """Middleware that has the application answer below `PREFIX` as it does without, with JSON."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        path = scope["path"].removeprefix(PREFIX) if scope["type"] == "http" else ""
        if path in ("", "/", scope.get("path")) or not path.startswith("/") or f"{path}/".startswith(_OUTSIDE):
            await self.app(scope, receive, send)
            return

        async def below(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, start in (("location", "/"), ("link", "</")):
                    if headers.get(name, "").startswith(start):
                        headers[name] = headers[name].replace("/", f"{PREFIX}/", 1)
            await send(message)

        raw = scope.get("raw_path")
        inner = {**scope, _ASKED: asked(scope), "path": path, "headers": _for_a_program(scope["headers"])}
        if raw is not None:
            inner["raw_path"] = raw.removeprefix(PREFIX.encode())
        await self.app(inner, receive, below)


def asked(scope: Scope) -> str:
    """Return the path that the caller of a request asked for, as a URI has it, with its version where it named one."""
    if _ASKED in scope:
        return str(scope[_ASKED])
    raw: bytes = scope.get("raw_path") or quote(scope["path"]).encode()
    return _NOT_OF_A_PATH.sub(lambda found: b"%%%02X" % found[0][0], raw).decode()


def _for_a_program(headers: list[tuple[bytes, bytes]]) -> list[tuple[bytes, bytes]]:
    """Return the headers of a request with JSON asked for, unless it names something else that is no page."""
    asked = b",".join(value for name, value in headers if name == b"accept")
    if asked and b"text/html" not in asked and b"*/*" not in asked:
        return headers
    return [*((name, value) for name, value in headers if name != b"accept"), (b"accept", b"application/json")]
