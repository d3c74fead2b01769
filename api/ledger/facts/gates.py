"""Gates: what must be true before a visit, and which open ones hold it back."""

from __future__ import annotations

import datetime
from collections.abc import Iterable

from api import tables
from api.fields.shown import day_name


def due_day(gate: tables.Gate, day: datetime.date | None) -> datetime.date | None:
    """Return when a gate is due: its own day, else so many days before the `day` of its visit; None: nobody knows."""
    if gate.due_on is not None or gate.days_before is None or day is None:
        return gate.due_on
    return day - datetime.timedelta(days=gate.days_before)


def holding(gates: Iterable[tables.Gate], day: datetime.date | None) -> list[tables.Gate]:
    """Return the open gates that keep a visit from its `day`: of one that is promised those that are due too late.

    A visit without a day (None) is held back by every open gate: it is free when the gate is closed.
    """
    return [
        gate
        for gate in gates
        if gate.state == "open" and (day is None or (due := due_day(gate, day)) is None or due > day)
    ]  # fmt: skip


def gate_words(gate: tables.Gate, day: datetime.date | None = None) -> str:
    """Return in a sentence what is still open; `day` is its visit's, None: it has none yet."""
    on = due_day(gate, day)
    due = f"due {day_name(on)}" if on else "with no day named"
    if on is None and gate.days_before is not None:
        due = f"due {gate.days_before} days before the visit, which has no day yet"
    return f"Still open: {gate.what}, {due}{f', {gate.owner} sees to it' if gate.owner else ''}."
