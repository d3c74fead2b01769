"""Headers that every answer carries, so that a browser runs only what this service serves."""

from __future__ import annotations

import re
from urllib.parse import quote, urlsplit

from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

# No inline scripts and styles, nothing from elsewhere, no frames, forms only to ourselves.
CONTENT_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; font-src 'self'; "
    "connect-src 'self'; manifest-src 'self'; worker-src 'self'; form-action 'self'; base-uri 'none'; "
    "frame-ancestors 'none'"
)
ALWAYS = {
    "Content-Security-Policy": CONTENT_POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Permissions-Policy": "camera=(self), geolocation=(), microphone=(), payment=(), usb=()",
}


def disposition(way: str, name: str) -> str:
    """Return the Content-Disposition of a file `name` in any letters (RFC 6266); `way`: inline or attachment."""
    plain = re.sub(r"[^A-Za-z0-9._ -]", "_", name)
    return f'{way}; filename="{plain}"' + ("" if plain == name else f"; filename*=UTF-8''{quote(name, safe='')}")


class SafeHeaders:
    """Middleware that adds `ALWAYS`, and where pages come by https has browsers keep to that."""

    def __init__(self, app: ASGIApp, secure: bool, tiles: str = "") -> None:
        """`tiles`: the address whose pictures may lie under the map (EAVEBOARD_TILES); empty: none from elsewhere."""
        self.app = app
        self.headers = ALWAYS | ({"Strict-Transport-Security": "max-age=31536000; includeSubDomains"} if secure else {})
        if tiles:
            parts = urlsplit(tiles)
            allowed = CONTENT_POLICY.replace("img-src 'self'", f"img-src 'self' {parts.scheme}://{parts.netloc}")
            self.headers["Content-Security-Policy"] = allowed

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in self.headers.items():
                    headers.setdefault(name, value)
                if not scope["path"].startswith("/static/"):
                    page = headers.get("content-type", "").startswith("text/html") and "etag" not in headers
                    headers.setdefault("Cache-Control", "no-store" if page else "private, no-cache")
            await send(message)

        await self.app(scope, receive, with_headers)
