"""Numbers that can be said on the phone: jobs J-1104, one after the other; what comes with one is called after it.

What comes without a job, as programs enter it, takes a number of the same row: the customer C-1105 has the site S-1105.
"""

from __future__ import annotations

import re

import sqlalchemy as sa
from sqlmodel import Session, SQLModel, select

from api import tables
from api.fields.ids import new_id
from api.workers.turns import Turn, one_at_a_time

FIRST = 1001
_NUMBERED = re.compile(r"J-([1-9][0-9]{0,7})")
_ANY_NUMBERED = re.compile(r"[A-Z]-([1-9][0-9]{0,7})(-[0-9]+)?")


def job_number(session: Session, form: str) -> str:
    """Return the id of the job of the form or request `form`: the next number, or the one that it got before."""
    had = session.get(tables.JobNumber, form)
    if had is not None:
        return f"J-{had.number}"
    one_at_a_time(
        session, Turn.NUMBER_JOBS
    )  # else two who enter a job at once are given one number, and one is refused
    last = session.exec(select(sa.func.max(tables.JobNumber.number))).one()
    if last is None:  # the first one goes on where those that were taken in end
        found = map(_NUMBERED.fullmatch, session.exec(select(tables.Visit.id)))
        last = max((int(one[1]) for one in found if one is not None), default=FIRST - 1)
    number = last + 1
    while session.get(tables.Visit, f"J-{number}") is not None:
        number += 1
    session.add(tables.JobNumber(form=form, number=number))
    session.flush()
    return f"J-{number}"


def numbered(session: Session, table: type[SQLModel], letter: str, other_id: str = "") -> str:
    """Return the id of a new row that comes without a job: called after another one, else by the next number."""
    known = _ANY_NUMBERED.fullmatch(other_id) is not None
    return called_after(session, other_id if known else job_number(session, new_id("J")), table, letter)


def called_after(session: Session, other_id: str, table: type[SQLModel], letter: str) -> str:
    """Return the id of a new row that comes with a job or other row: A-1104 of J-1104, A-1104-2 where that is taken."""
    found = _ANY_NUMBERED.fullmatch(other_id)
    if found is None:
        return new_id(letter)
    names = (f"{letter}-{found[1]}", *(f"{letter}-{found[1]}-{n}" for n in range(2, 100)))
    return next((name for name in names if session.get(table, name) is None), new_id(letter))
