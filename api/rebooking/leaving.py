"""Why a visit has left its posted week by a choice of a case: kept with the plan in English, read in any language."""

from __future__ import annotations

import datetime

from api import tables
from api.fields.shown import day_name
from scheduler.plan import Because


def leaving(case: tables.RebookingCase, date: datetime.date | None) -> tuple[Because, ...]:
    """Return why a visit has left the week, where today's rows do not say so themselves; `date` is its new day."""
    code = {"short": "short", "weather": "weather", "crew away": "no_crew", "customer": "hours"}
    words = {
        "short": "Its kit was found short.",
        "weather": "The forecast took its time.",
        "crew away": "Its crew is away.",
        "customer": "The customer has asked for another time.",
    }
    text = f"{words.get(case.cause, 'It was taken off the posted week.')} It waits since changed visit {case.id}."
    if date is not None:
        text = f"{words.get(case.cause, 'It was taken off the posted week.')} It is promised for {day_name(date)} now."
    return (Because(code.get(case.cause, "not_tried"), text),)
