"""The near week in the second format, where the business counts what only that knows: minutes out of seven days."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import msgspec

from api.fields.rules import Rules
from scheduler import week as w


def second(week: w.Week, weekly: Mapping[str, w.Weekly]) -> w.Week2:
    """Return a week of the first format in the second, which asks for the same but for `weekly`, by crew."""
    values: dict[str, Any] = {name: getattr(week, name) for name in week.__struct_fields__}
    rest = None if week.rest is None else w.RestRule2(**msgspec.structs.asdict(week.rest), within=False)
    crews = tuple(w.Crew2(**_fields(crew, w.Crew), weekly=weekly.get(crew.id)) for crew in week.crews)
    jobs = tuple(w.Job2(**msgspec.structs.asdict(job), pausable=False, assist=None) for job in week.jobs)
    new = {"format": "week/2", "rest": rest, "crews": crews, "jobs": jobs, "reload": None}
    made = w.with_names(w.Week2(**values | new), w.names_in(week), w.skills_in(week))
    assert isinstance(made, w.Week2)
    return made


def by_the_rules(week: w.Week, rules: Rules, form: str | None = None) -> w.Week:
    """Return the near week in the format that the business's rules ask for: the first, where they count no weeks.

    form: that of the document that it is to be laid beside, None: there is none.
    """
    if form == "week/1" or (form is None and not rules.weekly_hours):
        return week
    weekly = {
        crew.id: w.Weekly(60 * rules.weekly_hours, (crew.minute_cents * rules.weekly_percent + 50) // 100)
        for crew in week.crews
        if rules.weekly_hours
    }
    return second(week, weekly)


def _fields(part: msgspec.Struct, plain: type[msgspec.Struct]) -> dict[str, Any]:
    """Return what `part` holds of the fields of `plain`."""
    return {name: getattr(part, name) for name in plain.__struct_fields__}
