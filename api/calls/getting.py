"""A document from an address that somebody typed, also where it leads on to another one."""

from __future__ import annotations

from urllib.parse import urljoin

from api.calls.guard import Allowed, GuardedCaller, OutsideFault, is_outside

MOST_REDIRECTS = 3
LEADS_ON = (301, 302, 303, 307, 308)


def get_outside(address: str, allowed: Allowed = is_outside) -> bytes:
    """Return what stands at an https or http address; raises `OutsideFault` where it cannot be had.

    allowed: says of an IP address whether it may be asked, the one that is led to as well.
    """
    with GuardedCaller(allowed) as caller:
        for _ in range(MOST_REDIRECTS + 1):
            answer = caller.ask("GET", address, {"Accept": "text/calendar, */*;q=0.5"})
            if answer.status not in LEADS_ON:
                break
            address = urljoin(address, answer.headers.get(b"location", b"").decode("ascii", "replace"))
        else:
            raise OutsideFault("it leads on and on to other addresses")
    if answer.status != 200:
        raise OutsideFault(f"it answered with status {answer.status}")
    return answer.body
