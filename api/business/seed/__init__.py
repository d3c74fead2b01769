"""Reading a business from a folder of files (such as seeds/demo) into rows of the database.

Every fault is found in one pass and told with file, row and column; nothing is loaded unless all files are right.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from pathlib import Path

import msgspec
from sqlmodel import Session, SQLModel

from api.business.seed.reader import Find
from api.business.seed.work import WorkFiles
from api.business.seed.yard import YardFiles
from api.fields.files.sheets import BadFiles
from api.fields.rules import FirstWeek

__all__ = ["BusinessFiles", "load", "read_business"]
AT_A_TIME = 500  # rows added at once


class _Files(YardFiles, WorkFiles):
    """All files of a business."""


class BusinessFiles(msgspec.Struct):
    """What the files hold: `rows` in an order in which they can be added, and the week they were laid out for."""

    name: str
    first_week: FirstWeek
    rows: list[SQLModel]


def load(
    session: Session, business: BusinessFiles, tell: Callable[[int, int], None] = lambda done, total: None
) -> None:
    """Add all rows of `business` to an empty database; `tell` is told how many are in, of how many."""
    done = 0
    for _, kind in itertools.groupby(business.rows, type):
        while rows := list(itertools.islice(kind, AT_A_TIME)):
            session.add_all(rows)
            session.flush()  # before the next kind of row, which may refer to these
            done += len(rows)
            tell(done, len(business.rows))


def read_business(folder: Path, find: Find | None = None) -> BusinessFiles:
    """Return the business in `folder`; raises `BadFiles` with every fault of every file.

    find: gives the place of a yard that has an address and no coordinates; None: a yard must have them.
    """
    reader = _Files(folder, find)
    for step in (
        reader.business,
        reader.yards,
        reader.people,
        reader.days_off,
        reader.vans,
        reader.crews,
        reader.equipment,
        reader.stock,
        reader.deliveries,
        reader.customers,
        reader.sites,
        reader.orders,
        reader.awnings,
        reader.maker_parts,
        reader.surveys,
        reader.visits,
        reader.follows,
        reader.counts,
        reader.shorts,
    ):
        step()
    if reader.faults or reader.first_week is None:
        raise BadFiles(reader.faults)
    return BusinessFiles(reader.name, reader.first_week, reader.rows)
