"""What a visit asks of a second crew, as the week document has it."""

from __future__ import annotations

from api import tables
from api.fields.assists import check_assist
from scheduler import week as w
from scheduler.errors import BadInput
from scheduler.plan import Because


def assist_of(visit: tables.Visit, work_min: int) -> w.Assist | None:
    """Return what a visit that takes `work_min` minutes asks of a second crew; None: nothing, or nothing possible."""
    if visit.assist_minutes is None or unfit(visit, work_min) is not None:
        return None
    return w.Assist(
        minutes=visit.assist_minutes,
        from_min=visit.assist_from or 0,
        to_min=work_min - visit.assist_minutes if visit.assist_to is None else visit.assist_to,
        hands=visit.assist_hands or 1,
        skills=tuple(visit.assist_skills),
    )


def unfit(visit: tables.Visit, work_min: int) -> Because | None:
    """Return why no second crew can come as it is asked to, None where one can: the work has grown shorter since."""
    numbers = visit.assist_minutes, visit.assist_hands, visit.assist_from, visit.assist_to
    try:
        check_assist(*numbers, visit.assist_skills, work_min)
    except BadInput:
        detail = f"Its second crew cannot come as asked within {work_min} min of work: change the one or the other."
        return Because(code="second_crew", detail=detail)
    return None
