"""What was done in a week, a line a visit, for invoicing."""

from __future__ import annotations

import datetime

from sqlmodel import Session, col, select

from api import tables
from api.exchange.exporting import Table, plain
from api.fields.files.cells import clock_text
from api.fields.shown import feet
from api.http.names import crew_names
from api.ledger.days.day_rows import days_of
from api.ledger.plans.days import by_id

HEAD = (
    "Day", "Job", "Kind", "Outcome", "Customer", "Address", "Town", "Order", "Awning", "Model", "Width", "Crew",
    "Begun", "Ended", "Minutes", "Signed by", "What was left or not in order",
)  # fmt: skip


def done_in_week(session: Session, monday: datetime.date) -> Table:
    """Return the visits done, wholly or partly, in the seven days from `monday` on: by day, then by job.

    A job of several days is done on its last day, as the kind of work that it began as; the days before are parts of
    it. The last column says which day of how many it is.
    """
    result = tables.DayResult
    wanted = select(result).where(col(result.day) >= monday, col(result.day) < monday + datetime.timedelta(days=7))
    newest = {(row.day, row.visit_id): row for row in session.exec(wanted.order_by(col(result.id)))}
    signed = {(row.day, row.visit_id): row.name for row in session.exec(select(tables.Signature))}
    names, get, lines = crew_names(session), by_id(session), []
    for (day, visit_id), row in sorted(newest.items()):
        if row.outcome == "not_done":
            continue
        visit, site, customer, awning = get(visit_id)
        days = days_of(session, visit)
        nth = [one.id for one in days].index(visit_id) + 1
        in_part = nth < len(days) or any(one.state != "done" for one in days[:-1])
        outcome = "partly" if in_part else row.outcome
        odd = [f"{step}: {words}" for step, words in row.checks.items() if words != "in order"]
        of_row = [f"day {nth} of {len(days)} of {days[0].id}"] if len(days) > 1 else []
        spans = row.start is not None and row.end is not None
        lines.append(tuple(plain(cell) for cell in (
            day, visit_id, days[0].work.name, outcome.replace("_", " "), customer.name, site.address, site.town,
            visit.order_id, visit.awning_id, awning.model if awning else None,
            feet(awning.width_mm) if awning else None,
            names.get(row.crew_id, row.crew_id), None if row.start is None else clock_text(row.start),
            None if row.end is None else clock_text(row.end),
            (row.end or 0) - (row.start or 0) if spans else None, signed.get((day, visit_id)),
            "; ".join([*of_row, *([row.why] if row.why else []), *odd]) or None,
        )))  # fmt: skip
    return Table("done", HEAD, tuple(lines))
