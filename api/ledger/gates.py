"""Gates: what must be true before a visit, and which open ones hold it back."""

from __future__ import annotations

import datetime
from collections.abc import Iterable

from api import tables
from api.fields.shown import day_name


def holding(gates: Iterable[tables.Gate], day: datetime.date | None) -> list[tables.Gate]:
    """Return the open gates that keep a visit from its `day`: of one that is promised those that are due too late.

    A visit without a day (None) is held back by every open gate: it is free when the gate is closed.
    """
    return [
        gate
        for gate in gates
        if gate.state == "open" and (day is None or gate.due_on is None or gate.due_on > day)
    ]  # fmt: skip


def gate_words(gate: tables.Gate) -> str:
    """Return in a sentence what is still open."""
    due = f"due {day_name(gate.due_on)}" if gate.due_on else "with no day named"
    return f"Still open: {gate.what}, {due}{f', {gate.owner} sees to it' if gate.owner else ''}."
