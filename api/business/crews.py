"""Each crew's hours, the time it may stay out past them, and what it costs."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa
from sqlmodel import Session, col, select

from api.business.part import BadValues, Group, Line, Part, cents, dollars_text, driving_cents, driving_text
from api.business.rules import held
from api.fields.files.cells import hours_text
from api.fields.files.sheets import Span, hours
from api.fields.limits import limit
from api.fields.shown import DAY_MIN
from api.http import versions
from api.languages import to_say
from api.tables import Crew, CrewHours
from scheduler.errors import BadInput

HEADS = (to_say("Hours"), to_say("Longest over"), to_say("A day out"), to_say("A minute"), to_say("A minute over"))
_DRIVEN = {"imperial": to_say("A mile"), "metric": to_say("A km")}
_BY_TIME = ("day_cents", "minute_cents", "overtime_minute_cents")
_MONEY = (*_BY_TIME, "km_cents")
_MEANT = ("$", "$", to_say("$ more"))


def crews(session: Session) -> Part:
    """Return the part with every crew's hours and prices."""
    units = held(session).units
    rows = session.exec(select(Crew).where(col(Crew.active)).order_by(col(Crew.id))).all()
    spans: dict[str, list[CrewHours]] = {crew.id: [] for crew in rows}
    for span in session.exec(select(CrewHours).order_by(col(CrewHours.crew_id), col(CrewHours.weekday))):
        spans.setdefault(span.crew_id, []).append(span)
    table = tuple((crew.name, tuple(_lines(crew, spans[crew.id], units))) for crew in rows)
    hours = Group("Crews",
                  "Hours as Mon-Fri 7:30-16:30; Sat 8:00-13:00, on the yard's clock; a day that is not named is free.",
                  heads=(*HEADS, _DRIVEN[units]), rows=table)  # fmt: skip
    groups = (hours,)

    def write(session: Session, values: Mapping[str, Any]) -> bool:
        faults = [fault for crew in rows for fault in _past_midnight(crew, values)]
        if faults:
            raise BadValues(faults)
        return all(_write(session, crew, spans[crew.id], values) for crew in rows)

    return Part(
        "crews", "Crews' hours and prices", "When each crew works, and what sending it out costs.", groups, write
    )


def _lines(crew: Crew, spans: list[CrewHours], units: str) -> list[Line]:
    text = hours_text((span.weekday, (span.start, span.end)) for span in spans)
    most = max((span.overtime for span in spans), default=0)
    money = zip(_BY_TIME, HEADS[2:5], _MEANT, strict=True)
    return [
        Line(f"{crew.id}.hours", "Hours", text, _weekly, wide=True, times=True),
        Line(f"{crew.id}.overtime_min", "Longest over", str(most), limit("crew_hours.overtime"), "min"),
        *(
            Line(f"{crew.id}.{name}", label, dollars_text(getattr(crew, name)), cents, unit)
            for name, label, unit in money
        ),
        Line(
            f"{crew.id}.km_cents",
            _DRIVEN[units],
            driving_text(crew.km_cents, units),
            lambda text: driving_cents(text, units),
            "$",
        ),
    ]


def _weekly(text: str) -> dict[int, Span]:
    """Return (start, end) by weekday."""
    found: dict[int, Span] = {}
    for day, span in hours(text):
        if not isinstance(day, int):
            raise BadInput("", "must name weekdays and no dates; days off belong to the people")
        if day in found:
            raise BadInput("", "must give each weekday once")
        found[day] = span
    return found


def _past_midnight(crew: Crew, values: Mapping[str, Any]) -> list[tuple[str, str]]:
    latest = max((end for _, end in values[f"{crew.id}.hours"].values()), default=0)
    if latest + values[f"{crew.id}.overtime_min"] <= DAY_MIN:
        return []
    return [(f"{crew.id}.overtime_min", "goes past midnight after the latest end of these hours")]


def _write(session: Session, crew: Crew, spans: list[CrewHours], values: Mapping[str, Any]) -> bool:
    """Change one crew; say whether it was still as it was read."""
    new: dict[int, Span] = values[f"{crew.id}.hours"]
    overtime: int = values[f"{crew.id}.overtime_min"]
    money = {name: values[f"{crew.id}.{name}"] for name in _MONEY}
    before = {span.weekday: (span.start, span.end) for span in spans}
    same_over = all(span.overtime == overtime for span in spans)
    if before == new and same_over and all(getattr(crew, name) == value for name, value in money.items()):
        return True
    if not versions.update(session, crew, money):
        return False
    session.execute(sa.delete(CrewHours).where(col(CrewHours.crew_id) == crew.id))
    session.expire_all()
    session.add_all(
        CrewHours(crew_id=crew.id, weekday=day, start=start, end=end, overtime=overtime)
        for day, (start, end) in sorted(new.items())
    )
    session.flush()
    return True
