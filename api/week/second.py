"""Weeks in the second format, where there is what only that knows: minutes out of seven days, second crews."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import msgspec

from api.fields.rules import Rules
from api.week.build import BuiltWeek
from scheduler import week as w
from scheduler.plan import Cost2, Plan, Plan2, Route2, Stop2


def second(
    week: w.Week,
    weekly: Mapping[str, w.Weekly],
    assists: Mapping[str, w.Assist],
    *,
    within: bool = False,
    reload_min: int = 0,
) -> w.Week2:
    """Return a week of the first format in the second.

    It asks for the same but for `weekly`, by crew, and `assists`, by job; `within`: the rest may fall in the middle of
    any job; `reload_min`: how long another load takes in mid-day, 0: none is taken on. One of the second format is
    given as it is.
    """
    if isinstance(week, w.Week2):
        return week
    values: dict[str, Any] = {name: getattr(week, name) for name in week.__struct_fields__}
    rest = None if week.rest is None else w.RestRule2(**msgspec.structs.asdict(week.rest), within=within)
    crews = tuple(w.Crew2(**_fields(crew, w.Crew), weekly=weekly.get(crew.id)) for crew in week.crews)
    jobs = tuple(second_job(job, assists.get(job.id), pausable=within) for job in week.jobs)
    reload = w.Reload(reload_min) if reload_min else None
    new = {"format": "week/2", "rest": rest, "crews": crews, "jobs": jobs, "reload": reload}
    made = w.with_names(w.Week2(**values | new), w.names_in(week), w.skills_in(week))
    assert isinstance(made, w.Week2)
    return made


def second_job(job: w.Job, assist: w.Assist | None, *, pausable: bool) -> w.Job2:
    """Return a job as the second format has it, with what it asks of a second crew (None: nothing)."""
    return w.Job2(**msgspec.structs.asdict(job), pausable=pausable, assist=assist)


def by_the_rules(built: BuiltWeek, rules: Rules, beside: w.Week | None = None) -> w.Week:
    """Return the near week in the format that it asks for: the first, where nobody counts weeks or asks for two crews.

    beside: the document that it is to be laid beside, None: there is none. Beside one of the first format weeks are not
    counted, no rest falls within a visit, and no second load is taken on; beside one that has second loads these take
    as long as there.
    """
    form = None if beside is None else beside.format
    reload_min = 0 if form == "week/1" else rules.reload_min
    if isinstance(beside, w.Week2) and beside.reload is not None:
        reload_min = beside.reload.minutes
    within = rules.rest_within and rules.rest is not None and form != "week/1"
    weekly = {
        crew.id: w.Weekly(60 * rules.weekly_hours, (crew.minute_cents * rules.weekly_percent + 50) // 100)
        for crew in built.week.crews
        if rules.weekly_hours and form != "week/1"
    }
    if not weekly and not built.assists and not within and not reload_min and form != "week/2":
        return built.week
    return second(built.week, weekly, built.assists, within=within, reload_min=reload_min)


def second_plan(plan: Plan) -> Plan2:
    """Return a plan of the first format as one of the second: of a week that asks for the same they say the same."""
    if isinstance(plan, Plan2):
        return plan
    routes = tuple(
        Route2(
            crew=route.crew, day=route.day, depart=route.depart, back=route.back, helpers=route.helpers,
            rest=route.rest, stops=tuple(Stop2(job=s.job, start=s.start, end=s.end) for s in route.stops),
        )
        for route in plan.routes
    )  # fmt: skip
    cost = Cost2(**{name: getattr(plan.cost, name) for name in Cost2.__struct_fields__})
    values = {name: getattr(plan, name) for name in plan.__struct_fields__}
    return Plan2(**values | {"format": "plan/2", "routes": routes, "cost": cost})


def _fields(part: msgspec.Struct, plain: type[msgspec.Struct]) -> dict[str, Any]:
    """Return what `part` holds of the fields of `plain`."""
    return {name: getattr(part, name) for name in plain.__struct_fields__}
