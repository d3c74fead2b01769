"""Which addresses may be called, judged by the very IP address that a connection is then made to."""

from __future__ import annotations

import ipaddress
import socket
import ssl
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from types import TracebackType
from urllib.parse import urlsplit

import httpcore

TRY_S = 10.0
MOST_BYTES = 5_000_000
_USUAL = {"User-Agent": "Eaveboard", "Accept-Encoding": "identity"}
Allowed = Callable[[str], bool]
_SOCKET_OPTION = tuple[int, int, int] | tuple[int, int, bytes | bytearray] | tuple[int, int, None, int]


class OutsideFault(Exception):
    """An address that could not be called, in one sentence. `perhaps`: it may have had the call all the same."""

    def __init__(self, words: str, *, perhaps: bool = False) -> None:
        super().__init__(words)
        self.perhaps = perhaps


def is_outside(address: str) -> bool:
    """Return whether an IP address is one of the public network."""
    ip = ipaddress.ip_address(address)
    mapped = getattr(ip, "ipv4_mapped", None)
    return (mapped or ip).is_global and not (mapped or ip).is_multicast


def allowing(networks: str) -> Allowed:
    """Return what says of an IP address whether it may be called: one outside, or one in `networks` (with commas)."""
    inner = [ipaddress.ip_network(one.strip(), strict=False) for one in networks.split(",") if one.strip()]

    def allowed(address: str) -> bool:
        ip = ipaddress.ip_address(address)
        return is_outside(address) or any((getattr(ip, "ipv4_mapped", None) or ip) in network for network in inner)

    return allowed


def refused_by_name(address: str, allowed: Allowed) -> str:
    """Return what is wrong with a web address that can be judged without asking for its name; empty: nothing is."""
    try:
        host = (urlsplit(address).hostname or "").rstrip(".")
    except ValueError:
        return "is no web address"
    if host == "localhost" or host.endswith(".localhost"):
        host = "127.0.0.1"
    try:
        fine = allowed(host.partition("%")[0])
    except ValueError:  # a name: what it stands for is judged at each call
        return ""
    return "" if fine else "is inside this network: only addresses outside are called"


class _Backend(httpcore.SyncBackend):
    """Connects to the very address that was judged, so that a name cannot mean another one a moment later."""

    def __init__(self, allowed: Allowed) -> None:
        self._allowed = allowed

    def connect_tcp(
        self, host: str, port: int, timeout: float | None = None, local_address: str | None = None,
        socket_options: Iterable[_SOCKET_OPTION] | None = None,
    ) -> httpcore.NetworkStream:  # fmt: skip
        try:
            found = [str(one[4][0]) for one in socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)]
        except (OSError, UnicodeError):
            raise OutsideFault(f"{host} is not known") from None
        if not found or not all(self._allowed(one.partition("%")[0]) for one in found):
            raise OutsideFault(f"{host} is inside this network: only addresses outside are called")
        return super().connect_tcp(found[0], port, timeout, local_address, socket_options)


@dataclass(frozen=True)
class Heard:
    """What came back; names of headers in small letters."""

    status: int
    headers: dict[bytes, bytes]
    body: bytes


class GuardedCaller:
    """Calls addresses that `allowed` lets through; used with `with`. Nothing is followed to another address."""

    def __init__(self, allowed: Allowed = is_outside, *, try_s: float = TRY_S) -> None:
        self._times = dict.fromkeys(("connect", "read", "write", "pool"), try_s)
        self._try_s = try_s
        self._pool = httpcore.ConnectionPool(
            ssl_context=ssl.create_default_context(), network_backend=_Backend(allowed)
        )

    def __enter__(self) -> GuardedCaller:
        return self

    def __exit__(self, kind: type[BaseException] | None, fault: BaseException | None, at: TracebackType | None) -> None:
        self._pool.close()

    def ask(
        self, method: str, address: str, headers: dict[str, str], content: bytes | None = None,
        most_bytes: int = MOST_BYTES,
    ) -> Heard:  # fmt: skip
        """Return the answer to a call; raises `OutsideFault` where none can be had, or more than `most_bytes`."""
        if urlsplit(address).scheme not in ("http", "https"):
            raise OutsideFault("it leads to something that is no web address")
        length = {} if content is None else {"Content-Length": str(len(content))}
        sent: list[tuple[bytes | str, bytes | str]] = [*_USUAL.items(), *headers.items(), *length.items()]
        try:
            with self._pool.stream(
                method, address, headers=sent, content=content, extensions={"timeout": self._times}
            ) as answer:
                body = b""
                for piece in answer.iter_stream():
                    body += piece
                    if len(body) > most_bytes:
                        raise OutsideFault(f"it holds more than {most_bytes // 1_000_000} MB")
                return Heard(answer.status, {name.lower(): value for name, value in answer.headers}, body)
        except httpcore.TimeoutException as e:
            perhaps = not isinstance(e, httpcore.ConnectTimeout)
            raise OutsideFault(f"it did not answer within {self._try_s:.0f} s", perhaps=perhaps) from None
        except (httpcore.NetworkError, httpcore.ProtocolError, httpcore.UnsupportedProtocol, OSError, ValueError) as e:
            perhaps = isinstance(e, httpcore.ReadError | httpcore.WriteError | httpcore.RemoteProtocolError)
            words = f"it cannot be reached ({str(e)[:80] or type(e).__name__})"
            raise OutsideFault(words, perhaps=perhaps) from None
