"""Table services by address: OSRM's `table` and Valhalla's `sources_to_targets`, over HTTP.

Formats: OSRM's HTTP documentation ("Table service"), Valhalla's API reference. Everything that comes back is judged
before it is used: a service may be slow, cut the connection, answer garbage or leave cells out.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from typing import TypeVar

import httpx
import msgspec
import tenacity

from api.roads import valhalla_format
from api.roads.sources import (
    MOST_METRES,
    MOST_SECONDS,
    BlockRefused,
    BlockTooLarge,
    NoRoadNear,
    Service,
    SourceFailed,
    answer_table,
)
from scheduler.travel.interface import FloatTable, Point

T = TypeVar("T")
Tables = tuple[FloatTable, FloatTable]

_LARGEST_ANSWER = 64 * 1024 * 1024
_BUSY = 429


class _Passing(Exception):
    """A fault that may be gone at the next try; the message completes "the service …"."""


def open_service(service: Service) -> OsrmTable | ValhallaTable:
    """Return the router that asks `service`; no request is made yet."""
    return OsrmTable(service) if service.kind == "osrm" else ValhallaTable(service)


class _HttpTable:
    """What both formats share: one answer within its time, and tries with growing pauses."""

    def __init__(self, service: Service, profile: str, block: int) -> None:
        self.service = service
        self.profile = service.profile or profile
        self.block = (service.block or block,) * 2
        self.budget_s = service.budget_s
        self.max_age_days = service.max_age_days
        self.address = service.address.rstrip("/")
        self.name = f"{service.kind} service at {httpx.URL(self.address).host}"
        # Certificates take 0.15 s to load and are of no use on plain http, where no redirect is followed either.
        self._client = httpx.Client(timeout=service.timeout_s, verify=self.address.startswith("https:"))
        self.identity = f"{service.kind} {self.address} {self.profile} snap {service.snap_m}"

    def close(self) -> None:
        self._client.close()

    def _ask(self, method: str, path: str, body: bytes | None, read: Callable[[int, bytes], T]) -> T:
        """Return what `read(status, body)` makes of the answer; raises `SourceFailed` when every try was in vain."""
        tries = tenacity.Retrying(
            retry=tenacity.retry_if_exception_type(_Passing),
            stop=tenacity.stop_after_attempt(self.service.attempts),
            wait=tenacity.wait_exponential(self.service.backoff_s) + tenacity.wait_random(0, self.service.backoff_s),
            reraise=True,
        )
        try:
            answer: T = tries(self._ask_once, method, path, body, read)
            return answer
        except _Passing as fault:
            raise SourceFailed(f"the {self.name} {fault} ({self.service.attempts} tries)") from None

    def _ask_once(self, method: str, path: str, body: bytes | None, read: Callable[[int, bytes], T]) -> T:
        limit_s = self.service.timeout_s
        deadline = time.monotonic() + limit_s
        headers = {"Content-Type": "application/json"} if body else {}
        data = bytearray()
        try:
            with self._client.stream(method, self.address + path, content=body, headers=headers) as answer:
                for chunk in answer.iter_bytes():
                    data += chunk
                    if time.monotonic() > deadline:  # httpx limits each wait, not the sum of many short ones
                        raise _Passing(f"took longer than {limit_s:g} s")
                    if len(data) > _LARGEST_ANSWER:
                        raise SourceFailed(f"the {self.name} sent more than {_LARGEST_ANSWER >> 20} MB")
        except httpx.TimeoutException:
            raise _Passing(f"took longer than {limit_s:g} s") from None
        except (httpx.RequestError, httpx.InvalidURL) as fault:
            raise _Passing(f"cannot be reached or broke off ({type(fault).__name__})") from None
        if answer.status_code >= 500 or answer.status_code == _BUSY:
            raise _Passing(f"answered with HTTP status {answer.status_code}")
        try:
            return read(answer.status_code, bytes(data))
        except (msgspec.MsgspecError, UnicodeDecodeError):
            raise _Passing(f"answered with something that is no table (HTTP status {answer.status_code})") from None
        except ValueError as fault:
            raise _Passing(f"answered with {fault}") from None


class _OsrmAnswer(msgspec.Struct):
    code: str
    message: str = ""
    durations: list[list[float | None]] | None = None
    distances: list[list[float | None]] | None = None


class OsrmTable(_HttpTable):
    """OSRM's table service: coordinates in the path, longitude first; seconds and metres."""

    def __init__(self, service: Service) -> None:
        super().__init__(service, profile="driving", block=100)

    def table(self, sources: Sequence[Point], targets: Sequence[Point]) -> Tables:
        points = [*sources, *targets]  # sent twice where a place is both: OSRM wants at least two coordinates
        path = ";".join(f"{lon:.6f},{lat:.6f}" for lat, lon in points)
        query = {
            "sources": ";".join(map(str, range(len(sources)))),
            "destinations": ";".join(map(str, range(len(sources), len(points)))),
            "annotations": "duration,distance",
            "radiuses": ";".join([str(self.service.snap_m)] * len(points)),
            "generate_hints": "false",
        }
        asked = "&".join(f"{key}={value}" for key, value in query.items())
        shape = (len(sources), len(targets))

        def read(status: int, data: bytes) -> Tables:
            answer = msgspec.json.decode(data, type=_OsrmAnswer)
            if answer.code != "Ok":
                kinds = {"NoSegment": NoRoadNear, "TooBig": BlockTooLarge}
                raise kinds.get(answer.code, BlockRefused)(f"{answer.code} {answer.message}".strip())
            if answer.durations is None or answer.distances is None:
                raise ValueError("no durations or no distances")
            seconds = answer_table(answer.durations, shape, MOST_SECONDS)
            return seconds, answer_table(answer.distances, shape, MOST_METRES)

        return self._ask("GET", f"/table/v1/{self.profile}/{path}?{asked}", None, read)


class _ValhallaRefusal(msgspec.Struct):
    error: str


class ValhallaTable(_HttpTable):
    """Valhalla's time-distance matrix, posted as JSON."""

    def __init__(self, service: Service) -> None:
        super().__init__(service, profile="auto", block=50)

    def table(self, sources: Sequence[Point], targets: Sequence[Point]) -> Tables:
        shape = (len(sources), len(targets))

        def read(status: int, data: bytes) -> Tables:
            if status >= 400:
                return valhalla_format.refused(msgspec.json.decode(data, type=_ValhallaRefusal).error, shape)
            return valhalla_format.read_answer(data, shape)

        body = valhalla_format.request_body(sources, targets, self.profile, self.service.snap_m)
        return self._ask("POST", "/sources_to_targets", body, read)
