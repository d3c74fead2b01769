"""Getting one JSON document over HTTP from a service that may be slow, broken or away."""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import httpx
import tenacity

LARGEST_BYTES = 8_000_000  # a week of the National Weather Service's whole grid is about half a megabyte


class FetchFault(Exception):
    """A document that could not be had, in one sentence; `status` is the HTTP status where there was an answer."""

    def __init__(self, problem: str, status: int | None = None) -> None:
        super().__init__(problem)
        self.status = status


class _Passing(FetchFault):
    """A fault that may pass: worth another try."""


@dataclass(frozen=True)
class Patience:
    """How long to bear with a service: seconds for one try from first byte to last, tries, seconds before the second.

    The wait doubles from try to try, with some chance in it, up to `most_wait_s`; a service that names a time to come
    back (Retry-After, in seconds) is given that, up to the same.
    """

    try_s: float = 12.0
    tries: int = 3
    wait_s: float = 1.0
    most_wait_s: float = 15.0


PATIENCE = Patience()


def get_json(
    client: httpx.Client,
    address: str,
    params: Mapping[str, str] | None = None,
    patience: Patience = PATIENCE,
    sleep: Callable[[float], None] = time.sleep,
) -> Any:
    """Return the JSON document at `address`; raises `FetchFault` when the tries are used up or trying again is useless.

    Tried again: no connection, no answer in time, an answer cut short, one that is no JSON, statuses 408, 425, 429 and
    5xx.
    """
    come_back_s = [0.0]

    def wait(state: tenacity.RetryCallState) -> float:
        backoff = tenacity.wait_exponential_jitter(
            multiplier=patience.wait_s, max=patience.most_wait_s, jitter=patience.wait_s / 2
        )
        return min(patience.most_wait_s, max(backoff(state), come_back_s[0]))

    def once() -> Any:
        come_back_s[0] = 0.0
        return _get_once(client, address, params, patience.try_s, come_back_s)

    retry = tenacity.Retrying(
        stop=tenacity.stop_after_attempt(patience.tries),
        wait=wait,
        retry=tenacity.retry_if_exception_type(_Passing),
        sleep=sleep,
        reraise=True,
    )
    return retry(once)


def _get_once(
    client: httpx.Client, address: str, params: Mapping[str, str] | None, try_s: float, come_back_s: list[float]
) -> Any:
    began = time.monotonic()
    try:
        with client.stream("GET", address, params=params, timeout=try_s, follow_redirects=True) as answer:
            status = answer.status_code
            if status in (408, 425, 429) or status >= 500:
                after = answer.headers.get("Retry-After", "")
                come_back_s[0] = float(after) if after.isdecimal() else 0.0
                raise _Passing(f"{address} answered {status}", status)
            if status != 200:
                raise FetchFault(f"{address} answered {status}{_hint(status)}", status)
            body = bytearray()
            for chunk in answer.iter_bytes():
                body += chunk
                if len(body) > LARGEST_BYTES:
                    raise FetchFault(f"{address} sent more than {LARGEST_BYTES // 1_000_000} MB")
                if time.monotonic() - began > try_s:  # httpx limits each read, not the whole: a trickle never ends
                    raise _Passing(f"{address} was not done after {try_s:g} s")
    except httpx.TimeoutException:
        raise _Passing(f"{address} did not answer within {try_s:g} s") from None
    except (httpx.HTTPError, httpx.InvalidURL, httpx.StreamError) as fault:
        useless = isinstance(fault, httpx.InvalidURL | httpx.UnsupportedProtocol | httpx.TooManyRedirects)
        problem = f"{address} could not be read: {fault or type(fault).__name__}"
        raise (FetchFault(problem) if useless else _Passing(problem)) from None
    try:
        return json.loads(body)
    except (ValueError, RecursionError):
        raise _Passing(f"{address} answered something that is not JSON") from None


def _hint(status: int) -> str:
    if status == 403:
        return "; the service wants a contact (an e-mail or web address) in the request"
    return "; there is no forecast for that place" if status == 404 else ""
