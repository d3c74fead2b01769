"""What a token of a program may do: its scopes, each with the addresses that it opens; what is not named stays shut."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator
from dataclasses import dataclass

from api.access.accounts import Role
from api.languages import to_say


@dataclass(frozen=True)
class Scope:
    """`words` say what it is for; a program is taken for `role` at the addresses that `writes` and `reads` fit."""

    words: str
    role: Role
    writes: str = ""
    reads: str = ""


SCOPES = {
    "read": Scope(to_say("read what a reader may read"), Role.reader, reads=r".*"),
    "book": Scope(
        to_say("enter and change customers, sites, orders, jobs and surveys; rebook; messages"),
        Role.office,
        writes=r"/(customers|sites|orders|visits|awnings|surveys|jobs|promise|rebooking|messages)(/.*)?",
        reads=r"/(rebooking|messages)(/.*)?",
    ),
    "promise": Scope(
        to_say("find times for a job and book one, as a shop's own web form does; nothing else"),
        Role.office,
        writes=r"/promise/(times|bookings)|/jobs/{visit_id}/promise",
        reads=r"/jobs/{visit_id}/times",
    ),
    "plan": Scope(
        to_say("plan, move, lock and post weeks"),
        Role.manager,
        writes=r"/weeks/{start_date}/(runs|post)|/horizon/runs|/runs/{run_id}/stop|/plans/{plan_id}/(tries|moves|undo)|/locks/{visit_id}",
    ),
    "watch": Scope(to_say("read what has changed, as it happens"), Role.office, reads=r"/changes"),
    "bench": Scope(
        to_say("count crates, receive shorts and deliveries, keep the shelf"),
        Role.office,
        writes=r"/(bench|shorts|stock)(/.*)?",
    ),
}
# A person's own: no program has a password, or sessions to end.
_OWN = re.compile(
    r"/(password|sessions|session|sign-in|second-factor|prove|notices|sign-out|who-may-sign-in|accounts|tokens|webhooks|text-gateway)(/.*)?"
)


def opened(method: str, path: str, roles: Collection[Role]) -> Iterator[tuple[str, Role]]:
    """Yield the scopes that open the address of a route for `roles`, each with whom a program is taken for."""
    if _OWN.fullmatch(path):
        return
    for name, scope in SCOPES.items():
        fitting = scope.reads if method in ("GET", "HEAD") else scope.writes
        if fitting and scope.role in roles and re.fullmatch(fitting.replace("{", r"\{").replace("}", r"\}"), path):
            yield name, scope.role
