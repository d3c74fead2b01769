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
_TRIES = "only tries"  # of a session's info
_NUMBERED = re.compile(r"J-([1-9][0-9]{0,7})")
_ANY_NUMBERED = re.compile(r"[A-Z]-([1-9][0-9]{0,7})(-[0-9]+)?")


def only_tries(session: Session) -> None:
    """Have a session that keeps nothing number what it makes by chance.

    It takes no turn then, and no number that another one waits for until it is over.
    """
    session.info[_TRIES] = True


def is_tried(session: Session) -> bool:
    """Say whether a session keeps nothing of what it makes."""
    return _TRIES in session.info


def take_turn(session: Session) -> None:
    """Have the rest of a transaction be the only one that numbers rows, so that nobody else gets the same number."""
    if not is_tried(session):
        one_at_a_time(session, Turn.NUMBER_JOBS)


def job_number(session: Session, form: str) -> str:
    """Return the id of the job of the form or request `form`: the next number, or the one that it got before."""
    if is_tried(session):
        return new_id("J")
    had = session.get(tables.JobNumber, form)
    if had is not None:
        return f"J-{had.number}"
    take_turn(session)  # else two who enter a job at once are given one number, and one is refused
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
    if found is None or is_tried(session):
        return new_id(letter)
    take_turn(session)
    names = (f"{letter}-{found[1]}", *(f"{letter}-{found[1]}-{n}" for n in range(2, 100)))
    return next((name for name in names if session.get(table, name) is None), new_id(letter))
