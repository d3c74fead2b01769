"""Taking a part in: what was sent read line by line, the version checked, the change kept and told to the history."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import desc
from sqlmodel import Session, col, select

from api.business.part import BadValues, Part
from api.ledger.fingerprint import fingerprint
from api.ledger.history import note
from api.tables import History
from scheduler.errors import BadInput

NOUN = "settings"
_MOST_CHANGES = 20


@dataclass(frozen=True)
class Taken:
    """What became of a part that was sent: `fields` are (before, after) by name; none: it said what stood already."""

    fields: dict[str, tuple[str, str]]


def mark_of(part: Part) -> str:
    """Return the version of a part: it changes when any of its values does."""
    return fingerprint([[line.name, line.text] for line in part.lines])[:16]


def read_texts(part: Part, texts: Mapping[str, str]) -> dict[str, Any]:
    """Return every line's value: of those not among `texts` as it stands. Raises `BadValues` with every fault."""
    known = {line.name for line in part.lines}
    faults = [(name, "is not known here; leave it out") for name in texts if name not in known]
    values: dict[str, Any] = {}
    for line in part.lines:
        try:
            values[line.name] = line.parse(texts.get(line.name, line.text).strip())
        except BadInput as fault:
            faults.append((line.name, fault.problem))
    if faults:
        raise BadValues(faults)
    return values


def keep(session: Session, part: Part, texts: Mapping[str, str], again: Any, *, by: str, now: datetime.datetime) -> Any:
    """Take `texts` into `part`; `again(session)` is the part as it is afterwards, for the history.

    Returns `Taken`, or None where somebody was quicker. Raises `BadValues`.
    """
    values = read_texts(part, texts)
    before = {line.name: line.text for line in part.lines}
    if not part.write(session, values):
        return None
    session.flush()
    after = {line.name: line.text for line in again(session).lines}
    names = dict.fromkeys([*before, *after])
    fields = {
        name: (before.get(name, ""), after.get(name, ""))
        for name in names
        if before.get(name, "") != after.get(name, "")
    }
    if fields:
        note(session, now, by, "changed", NOUN, part.id, {name: list(pair) for name, pair in fields.items()})
    return Taken(fields)


def undoing(part: Part, line: History) -> dict[str, str] | None:
    """Return the texts that undo a change of `part`; None where a value has changed since, or a row has gone.

    A row that the change added is taken out.
    """
    now, found = {one.name: one.text for one in part.lines}, dict[str, str]()
    for name, (before, after) in line.detail.items():
        row = f"{name.rpartition('.')[0]}.out"
        if name not in now or not _same(now[name], after):
            return None
        if row not in now or before:
            found[name] = before
        else:
            found[row] = "out"
    return found


def _same(one: str, other: str) -> bool:
    """Say whether two texts are the same value: 30.0 is 30."""
    try:
        return one == other or float(one) == float(other)
    except ValueError:
        return False


def changes_of(session: Session, part_id: str) -> list[History]:
    """Return the last changes of a part, the newest first."""
    lines = select(History).where(History.noun == NOUN, History.noun_id == part_id)
    return list(session.exec(lines.order_by(desc(col(History.id))).limit(_MOST_CHANGES)))
