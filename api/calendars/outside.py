"""Getting a document from an address that somebody typed, never from inside: not this machine, not its own network."""

from __future__ import annotations

import ipaddress
import socket
import ssl
from collections.abc import Callable, Iterable
from urllib.parse import urljoin, urlsplit

import httpcore

TRY_S = 10.0
MOST_BYTES = 5_000_000
MOST_REDIRECTS = 3
_SOCKET_OPTION = tuple[int, int, int] | tuple[int, int, bytes | bytearray] | tuple[int, int, None, int]


class OutsideFault(Exception):
    """A document that could not be had, in one sentence."""


def is_outside(address: str) -> bool:
    """Return whether an IP address is one of the public network."""
    ip = ipaddress.ip_address(address)
    mapped = getattr(ip, "ipv4_mapped", None)
    return (mapped or ip).is_global and not (mapped or ip).is_multicast


class _Backend(httpcore.SyncBackend):
    """Connects to the very address that was judged, so that a name cannot mean another one a moment later."""

    def __init__(self, allowed: Callable[[str], bool]) -> None:
        self._allowed = allowed

    def connect_tcp(
        self, host: str, port: int, timeout: float | None = None, local_address: str | None = None,
        socket_options: Iterable[_SOCKET_OPTION] | None = None,
    ) -> httpcore.NetworkStream:  # fmt: skip
        try:
            found = [str(one[4][0]) for one in socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)]
        except OSError:
            raise OutsideFault(f"{host} is not known") from None
        if not found or not all(self._allowed(one) for one in found):
            raise OutsideFault(f"{host} is inside this network: only addresses outside are fetched")
        return super().connect_tcp(found[0], port, timeout, local_address, socket_options)


def get_outside(address: str, allowed: Callable[[str], bool] = is_outside) -> bytes:
    """Return what stands at an https or http address; raises `OutsideFault` where it cannot be had.

    allowed: says of an IP address whether it may be asked.
    """
    backend = _Backend(allowed)
    with httpcore.ConnectionPool(ssl_context=ssl.create_default_context(), network_backend=backend) as pool:
        for _ in range(MOST_REDIRECTS + 1):
            if urlsplit(address).scheme not in ("http", "https"):
                raise OutsideFault("it leads to something that is no web address")
            status, headers, body = _get(pool, address)
            if status not in (301, 302, 303, 307, 308):
                break
            address = urljoin(address, headers.get(b"location", b"").decode("ascii", "replace"))
        else:
            raise OutsideFault("it leads on and on to other addresses")
    if status != 200:
        raise OutsideFault(f"it answered with status {status}")
    return body


def _get(pool: httpcore.ConnectionPool, address: str) -> tuple[int, dict[bytes, bytes], bytes]:
    times = dict.fromkeys(("connect", "read", "write", "pool"), TRY_S)
    sent: dict[bytes | str, bytes | str] = {
        "Accept": "text/calendar, */*;q=0.5",
        "User-Agent": "Eaveboard",
        "Accept-Encoding": "identity",
    }
    try:
        with pool.stream("GET", address, headers=sent, extensions={"timeout": times}) as answer:
            body = b""
            for piece in answer.iter_stream():
                body += piece
                if len(body) > MOST_BYTES:
                    raise OutsideFault(f"it holds more than {MOST_BYTES // 1_000_000} MB")
            return answer.status, {name.lower(): value for name, value in answer.headers}, body
    except httpcore.TimeoutException:
        raise OutsideFault(f"it did not answer within {TRY_S:.0f} s") from None
    except (httpcore.NetworkError, httpcore.ProtocolError, httpcore.UnsupportedProtocol, OSError, ValueError) as fault:
        raise OutsideFault(f"it cannot be reached ({str(fault)[:80] or type(fault).__name__})") from None
