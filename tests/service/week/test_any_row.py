"""Whatever row the office's forms or a file bring in: what is taken never keeps a week from being planned.

Rows are drawn from the limits of their columns, bounds and odd values before others, and pile up: each that is taken
stays while the next ones come.
"""

from __future__ import annotations

import csv
import datetime
import io
import random
import shutil
import time
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from sqlmodel import Session, col, select

from api import tables
from api.business.demo import FILES
from api.business.part import BadValues
from api.database import open_database, transaction
from api.exchange.importing import IMPORTABLE, import_tables
from api.fields.column_limits import Choice, ColumnLimit, Date, Decimal, Text, Whole
from api.fields.files.sheets import BadFiles
from api.fields.limits import LIMITS
from api.http.problems import Problem
from api.office import keeping
from api.office.kind import Kind
from api.office.kinds import KINDS
from api.settings import sqlite_address
from api.uploads.reading import read_upload
from api.week.horizon.document import horizon_of
from api.week.run.planning import plan_week, prepare_week
from scheduler import plan_week as engine
from scheduler.errors import BadInput
from tests.conftest import BuiltDemo
from tests.one_a_day import one_a_day

MONDAY = datetime.date(2027, 4, 12)
NOW = datetime.datetime(2027, 4, 8, 20, tzinfo=datetime.UTC)
DAYS = ["2027-04-11", "2027-04-12", "2027-04-14", "2027-04-16", "2027-04-17", "2027-04-30", "1990-01-01", "2100-12-31"]
TEXTS = ["a", "Ж-1", "a b", "𝕁", "J-1042", "north-1", "install", "=1+1", "x" * 40, "\u202e", "'", '"', "0"]
HOURS = ["", "Mon 0:00-24:00", "Mon-Sun 7:30-16:30", "Sat 23:00-24:00", "Mon 6:00-6:01", "Tue 12:00-13:00", "Mon-Fri"]
# What the columns without a limit of their own are typed as.
COUNTS = ["", "ladder-24: 2", "ladder-24: 50; stepladder-8: 1", "nothing: 1", "ladder-24: 0"]
# Kinds whose rows weeks are made of.
OF_WEEKS = [name for name in KINDS if name not in ("maker-orders", "packed", "model-parts", "model-sizes", "models")]


def drawn(limit: ColumnLimit | None, name: str, chance: random.Random) -> str:
    """Return a text for a column: what its limit lets in, at the bounds more often than not, or something odd."""
    if limit is None or chance.random() < 0.05:
        return chance.choice([*TEXTS, *HOURS, *COUNTS])
    if name == "skills":
        return chance.choice(["", "masonry", "roof-mount masonry", "nobody-has-this"])
    if isinstance(limit, Whole):
        return str(chance.choice([limit.least, limit.most, chance.randint(limit.least, limit.most), 1, 60]))
    if isinstance(limit, Decimal):
        return str(chance.choice([limit.least, limit.most, round(chance.uniform(limit.least, limit.most), 5)]))
    if isinstance(limit, Date):
        return chance.choice(DAYS)
    if isinstance(limit, Choice):
        return chance.choice(limit.of)
    assert isinstance(limit, Text)
    if limit.pattern.startswith("0?"):
        return chance.choice(["", "Mon-Fri", "Sun", "Mon Sun"])
    return chance.choice([*TEXTS, "x" * limit.most, ""])


def by_form(session: Session, chance: random.Random) -> str:
    """Have a form make a row of a kind, or change one; returns what it was."""
    kind: Kind = KINDS[chance.choice(OF_WEEKS)]
    rows = list(session.exec(select(kind.table)).all())
    old = keeping.records(session, kind, [chance.choice(rows)])[0] if rows and chance.random() < 0.6 else None
    known = keeping.choices(session, kind)
    texts: dict[str, str] = {}
    for column in kind.columns:
        if old is not None and (column.name in kind.key or chance.random() < 0.6):
            continue
        if known.get(column.name):
            texts[column.name] = chance.choice(known[column.name])[0]
        elif column.choices:
            texts[column.name] = chance.choice(column.choices)[0]
        elif column.name == "visit_id":
            texts[column.name] = chance.choice(list(session.exec(select(tables.Visit.id)).all()))
        else:
            limit = LIMITS.get(f"{kind.table.__tablename__}.{column.name}")
            texts[column.name] = chance.choice(HOURS) if column.name == "hours" else drawn(limit, column.name, chance)
    values = keeping.read(session, kind, texts, old)
    keeping.keep(session, kind, old, values, by="test", now=NOW)
    return f"{kind.id}: {texts}"


def by_file(session: Session, chance: random.Random) -> str:
    """Have a file of one row made from one of the demo's come in; returns what it was."""
    table = chance.choice(IMPORTABLE)
    with (FILES / f"{table}.csv").open(encoding="utf-8-sig", newline="") as file:
        head, *rows = csv.reader(file)
    row = dict(zip(head, chance.choice(rows), strict=True))
    names = {"orders": "sales_order", "people": "person", "stock": "stock_item"}
    for name in head:
        if chance.random() < 0.4:
            column = f"{names.get(table, table.removesuffix('s'))}.{name}"
            limit = LIMITS.get(column) or LIMITS.get(f"{column}_id")
            row[name] = drawn(limit, name, chance)
    if chance.random() < 0.3:
        row[head[0]] = f"new-{chance.getrandbits(40)}"  # else it is one that is there already
    out = io.StringIO()
    csv.writer(out).writerows([head, list(row.values())])
    uploads = read_upload(out.getvalue().encode(), f"{table}.csv", IMPORTABLE)
    import_tables(session, uploads, keep=True, now=NOW, by="test")
    return f"{table}: {row}"


REFUSALS = (BadValues, BadFiles, BadInput, Problem)


def pile_up(database: sa.Engine, count: int, seed: int) -> Counter[str]:
    """Bring so many rows in; after each that is taken a week and the weeks ahead must still be made."""
    told: Counter[str] = Counter()
    for n in range(count):
        chance = random.Random(f"{seed} {n}")
        bring: Callable[[Session, random.Random], str] = chance.choice([by_form, by_file])
        try:
            with transaction(database) as session:
                taken = bring(session, chance)
        except REFUSALS:
            told[f"{bring.__name__}: refused"] += 1
            continue
        told[f"{bring.__name__}: taken"] += 1
        try:
            prepare_week(database, MONDAY, NOW)
            with transaction(database) as session:
                horizon_of(session, NOW)
        except Exception as fault:
            raise AssertionError(f"no week any more after number {n} of seed {seed}, {taken}: {fault!r}") from fault
    return told


@pytest.fixture
def database(built: BuiltDemo, tmp_path: Path) -> Iterator[sa.Engine]:
    folder = shutil.copytree(built.out, tmp_path / "data")
    engine = open_database(sqlite_address(folder))
    yield engine
    engine.dispose()


@pytest.mark.slow
def test_whatever_row_is_taken_a_week_is_still_planned(database: sa.Engine) -> None:
    told = pile_up(database, 40, 1)
    assert told["by_form: taken"] > 3, told
    assert told["by_file: taken"] > 3, told
    made = prepare_week(database, MONDAY, NOW)
    row, _ = plan_week(database, made, one_a_day, seconds=1.0, now=NOW, by="test")
    assert row.id


@pytest.mark.long
@pytest.mark.parametrize("seed", range(2, 12))
def test_whatever_rows_are_taken_the_engine_plans_the_week(compiled: None, database: sa.Engine, seed: int) -> None:
    pile_up(database, 150, seed)
    made = prepare_week(database, MONDAY, NOW)

    def plan(week: Any, *, seconds: float, report: Any = None) -> Any:
        return engine(week, seconds=seconds, clock=time.monotonic)

    row, _ = plan_week(database, made, plan, seconds=3.0, now=NOW, by="test")
    assert row.id
    with transaction(database) as session:
        assert session.exec(select(col(tables.StoredPlan.id))).all()
