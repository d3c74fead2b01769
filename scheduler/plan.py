"""The plan document: who goes where and when, what is not planned and because of what, and what it costs."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Any, Literal

import msgspec
from msgspec import Meta

from scheduler.documents import decode, form_in, shown
from scheduler.errors import BadInput
from scheduler.week import Name

PlanMinute = Annotated[int, Meta(ge=-10_000_000, le=10_000_000)]
PlanCents = Annotated[int, Meta(ge=-(2**53), le=2**53)]


class _Part(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Common form of all parts: frozen, every key required, no other key allowed."""


class Stop(_Part, frozen=True):
    job: str
    start: PlanMinute
    end: PlanMinute

    @property
    def assist(self) -> str:
        """The job of another crew that is assisted here; empty: none is."""
        return ""

    @property
    def reload(self) -> bool | msgspec.UnsetType:
        """Whether the crew takes on another load here; unset: it does not."""
        return msgspec.UNSET


class Stop2(Stop, frozen=True, kw_only=True, omit_defaults=True):
    """A stop of three kinds: at a `job`, an `assist` of a job, or a `reload` at the yard; the others are left out."""

    job: Name = ""
    assist: Name = ""
    reload: bool | msgspec.UnsetType = msgspec.UNSET
    start: PlanMinute
    end: PlanMinute


def loading_for_some(stops: Sequence[Stop]) -> tuple[Stop, ...]:
    """Return the stops without loads that are taken on for nothing: first or last ones, and all but one of several."""
    left = list[Stop]()
    for stop in stops:
        if not stop.reload or (left and not left[-1].reload):
            left.append(stop)
    while left and left[-1].reload:
        left.pop()
    return tuple(left)


class Route(_Part, frozen=True):
    """One crew's day: the yard is left at `depart` and reached again at `back`; `rest` is the start of the rest."""

    crew: str
    day: PlanMinute
    depart: PlanMinute
    back: PlanMinute = msgspec.field(name="return")
    helpers: Annotated[int, Meta(ge=0, le=1_000_000)]
    rest: PlanMinute | None
    stops: tuple[Stop, ...]

    @property
    def jobs(self) -> tuple[Stop, ...]:
        """The stops at which a job is done."""
        return tuple(stop for stop in self.stops if stop.job)


class Route2(Route, frozen=True):
    stops: tuple[Stop2, ...]


def route_from_data(value: dict[str, Any]) -> Route:
    """Return the route held as plain data, of the second format where its stops are not all at jobs."""
    second = any("job" not in stop for stop in value["stops"])
    return msgspec.convert(value, Route2 if second else Route)


class Because(_Part, frozen=True):
    """One reason why a job is not planned: a code to sort by and a sentence to act on."""

    code: Name
    detail: Name


class Skipped(_Part, frozen=True):
    job: str
    because: Annotated[tuple[Because, ...], Meta(min_length=1)]


class Cost(_Part, frozen=True):
    """Cents by kind; `total` is the sum of the others."""

    total: PlanCents
    crews: PlanCents
    travel: PlanCents
    overtime: PlanCents
    helpers: PlanCents
    risk: PlanCents
    late: PlanCents
    changes: PlanCents
    skipped: PlanCents

    @property
    def weekly(self) -> int:
        """Minutes out past the weekly ones."""
        return 0


class Cost2(Cost, frozen=True):
    weekly: PlanCents


def less(one: Cost, other: Cost) -> Cost:
    """Return by kind what `one` is more than `other`, negative where it is less; both are of one format."""
    kinds = type(one).__struct_fields__
    return type(one)(*(getattr(one, kind) - getattr(other, kind) for kind in kinds))


class Plan(_Part, frozen=True):
    format: Literal["plan/1", "plan/2"]
    week: str
    engine: Name
    seconds: Annotated[float, Meta(ge=0)]
    routes: tuple[Route, ...]
    skipped: tuple[Skipped, ...]
    broken: tuple[str, ...]
    cost: Cost
    bound: Annotated[int, Meta(ge=0, le=2**53)] | None


class Plan2(Plan, frozen=True):
    """The plan of a week of the second format."""

    routes: tuple[Route2, ...]
    cost: Cost2


def read_plan(data: bytes | str) -> Plan:
    """Return the plan in JSON text `data`; raises `BadInput` naming the first key that is wrong in form.

    Whether the plan keeps the rules of its week is for `scheduler.audit`.
    """
    return _checked(decode(data, Plan2 if form_in(data) == "plan/2" else Plan, "plan file"))


def _checked(plan: Plan) -> Plan:
    seen: set[str] = set()
    for n, job in enumerate(plan.broken):
        if job in seen:
            raise BadInput(f"broken[{n}]", f"{shown(job)} is listed already")
        seen.add(job)
    for n, route in enumerate(plan.routes if isinstance(plan, Plan2) else ()):
        for m, stop in enumerate(route.stops):
            if bool(stop.job) + bool(stop.assist) + (stop.reload is True) != 1 or stop.reload is False:
                raise BadInput(
                    f"routes[{n}].stops[{m}]", "must have one of job, assist and reload (true), and only one"
                )
    return plan
