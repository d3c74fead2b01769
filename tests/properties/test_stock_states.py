"""Whatever happens to a shelf: no piece is lost, none is held twice, and none is below zero without a why."""

from __future__ import annotations

import contextlib
import datetime
from collections import defaultdict

import pytest
import sqlalchemy as sa
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule, run_state_machine_as_test
from sqlmodel import Session, SQLModel, col, select

from api import tables
from api.database import open_database, transaction
from api.http.versions import etag
from api.ledger.facts.week import Facts
from api.ledger.shelves import held_pieces, off_shelf
from api.shelf import moving, setting_aside
from api.shelf.books import shelves
from api.week.build import _stock
from scheduler.errors import BadInput
from tests.crates import LAG, MONDAY, NOW, TODAY, add_job, add_shelves, post_week
from tests.service.cast import add_yard

pytestmark = pytest.mark.slow

VISITS = ("J-1", "J-2", "J-3")
ITEMS = (LAG, "shim")
PARTS = {"J-1": {LAG: 6, "shim": 4}, "J-2": {LAG: 9}, "J-3": {LAG: 5, "shim": 8, "washer": 3}}
PIECES = st.integers(1, 12)


class Shelves(RuleBasedStateMachine):
    """One yard with two shelves and three visits; `expected` is what a careful storekeeper would have in the head."""

    database: sa.Engine

    @initialize(lag=st.integers(0, 25), shim=st.integers(0, 12))
    def begin(self, lag: int, shim: int) -> None:
        empty(self.database)
        add_yard(self.database)
        self.expected: dict[str, int] = {LAG: lag, "shim": shim, "washer": 0}
        self.on_van: dict[str, dict[str, int]] = defaultdict(dict)
        self.ordered, self.standing = 0, dict[datetime.date, set[str]]()
        with transaction(self.database) as session:
            for visit in VISITS:
                add_job(session, visit, shelf=PARTS[visit])
            add_shelves(session, {LAG: lag, "shim": shim})

    @rule(item=st.sampled_from(ITEMS), quantity=PIECES, days=st.integers(0, 9))
    def order(self, item: str, quantity: int, days: int) -> None:
        with transaction(self.database) as session:
            due = TODAY + datetime.timedelta(days=days)
            moving.order(session, (item, "north"), quantity, due, by="o", now=NOW)
        self.ordered += quantity

    @rule(pieces=PIECES)
    def receive(self, pieces: int) -> None:
        with transaction(self.database) as session:
            open_ones = select(tables.Delivery).where(col(tables.Delivery.arrived_on).is_(None))
            delivery = session.exec(open_ones.order_by(col(tables.Delivery.id))).first()
            if delivery is None:
                return
            self.ordered += max(0, pieces - delivery.quantity)  # more came than was ordered
            self.expected[delivery.item] += pieces
            moving.receive(session, delivery, pieces, etag(delivery.version), by="o", now=NOW, today=TODAY)

    @rule(item=st.sampled_from(ITEMS), counted=st.integers(0, 30))
    def count(self, item: str, counted: int) -> None:
        with transaction(self.database) as session:
            row = session.get_one(tables.StockItem, (item, "north"))
            moving.count(session, row, counted, etag(row.version), by="o", now=NOW, today=TODAY)
        self.expected[item] = counted

    @rule(item=st.sampled_from(ITEMS), pieces=st.integers(-12, 12), why=st.sampled_from(("", "a box fell")))
    def correct(self, item: str, pieces: int, why: str) -> None:
        with contextlib.suppress(BadInput), transaction(self.database) as session:
            moving.correct(session, (item, "north"), pieces, why, by="o", now=NOW)
            self.expected[item] += pieces

    @rule(visit=st.sampled_from(VISITS))
    def load(self, visit: str) -> None:
        with transaction(self.database) as session:
            setting_aside.taken(session, visit, MONDAY, by="crew", now=NOW)
        for item, pieces in PARTS[visit].items():
            self.expected[item] -= pieces - self.on_van[visit].get(item, 0)
            self.on_van[visit][item] = pieces

    @rule(visit=st.sampled_from(VISITS), left=st.none() | st.integers(0, 9))
    def unload(self, visit: str, left: int | None) -> None:
        """All comes back, or only what was left over."""
        with transaction(self.database) as session:
            over = None if left is None else {LAG: left}
            setting_aside.returned(session, visit, MONDAY, by="crew", now=NOW, pieces=over)
        for item, pieces in self.on_van[visit].items():
            back = pieces if left is None else min(pieces, left if item == LAG else 0)
            self.expected[item] += back
            self.on_van[visit][item] = pieces - back

    @rule(visits=st.sets(st.sampled_from(VISITS)), week=st.integers(0, 1), day=st.integers(0, 5))
    def post(self, visits: set[str], week: int, day: int) -> None:
        monday = MONDAY + datetime.timedelta(days=7 * week)
        with transaction(self.database) as session:
            posted = post_week(session, dict.fromkeys(sorted(visits), day), PARTS, monday)
            for _ in range(2):  # a second time changes nothing
                setting_aside.reserve(session, posted, NOW)
        self.standing[monday] = visits

    @invariant()
    def the_books_hold(self) -> None:
        if not hasattr(self, "expected"):
            return
        with transaction(self.database) as session:
            self.check_moves(session)
            self.check_held(session)
            rows = session.exec(select(tables.Delivery)).all()
            assert sum(row.quantity for row in rows) == self.ordered

    def check_moves(self, session: Session) -> None:
        running: dict[str, int] = defaultdict(int)
        for move in session.exec(select(tables.StockMove).order_by(col(tables.StockMove.id))):
            running[move.item] += move.pieces
            assert move.on_hand_after == running[move.item]
            assert move.on_hand_after >= 0 or move.why
        for row in session.exec(select(tables.StockItem)):
            assert row.on_hand == running[row.item] == self.expected[row.item]
        taken = off_shelf(session, VISITS)
        for visit in VISITS:
            assert taken.get(visit, {}) == {item: n for item, n in self.on_van[visit].items() if n}

    def check_held(self, session: Session) -> None:
        held = held_pieces(session)
        asked: dict[tuple[str, str], int] = defaultdict(int)
        for row in held:
            asked[row.visit_id, row.item] += row.pieces
            posted = session.get_one(tables.PostedWeek, row.posted_id)
            assert row.visit_id in self.standing[posted.start_date]
        for (visit, item), pieces in asked.items():  # never twice, never what is on the van already
            assert pieces + self.on_van[visit].get(item, 0) <= PARTS[visit][item]
        for stock in _stock(_facts(session, held), MONDAY, {"J-1"}):
            (line,) = [one for yard in shelves(session) for one in yard.lines if one.stock.item == stock.id]
            others = sum(row.pieces for row in held if row.item == stock.id and row.visit_id != "J-1")
            come = sum(arrival.qty for arrival in stock.arrivals)
            due = sum(d.quantity for d in line.coming if (d.due_on - MONDAY).days < 6)
            assert stock.on_hand + come == max(0, max(0, line.stock.on_hand - others) + due
                                               - max(0, others - line.stock.on_hand))  # fmt: skip


def _facts(session: Session, held: list[tables.Reservation]) -> Facts:
    """Return facts of which only shelves and what concerns them are filled."""

    class Week:
        week_days = 6

    nothing = dict.fromkeys(Facts.__dataclass_fields__)
    return Facts(**{  # type: ignore[arg-type]
        **nothing,
        "rules": Week,
        "stock": list(session.exec(select(tables.StockItem))),
        "deliveries": list(session.exec(select(tables.Delivery))),
        "visits": {row.id: row for row in session.exec(select(tables.Visit))},
        "held": held,
    })  # fmt: skip


def empty(database: sa.Engine) -> None:
    with database.begin() as connection:
        if connection.dialect.name == "postgresql":
            connection.execute(
                sa.text("SET LOCAL session_replication_role = replica")
            )  # the history only grows, but here
        else:
            names = connection.execute(sa.text("SELECT name FROM sqlite_master WHERE type = 'trigger'"))
            for name in [row[0] for row in names if row[0].endswith("_no_delete")]:
                connection.execute(sa.text(f"DROP TRIGGER {name}"))
        for table in reversed(SQLModel.metadata.sorted_tables):
            if table.name != "work_kind":  # a new database begins with these
                connection.execute(sa.delete(table))


QUIETLY = [HealthCheck.too_slow, HealthCheck.filter_too_much]


def test_shelves_on_sqlite(database: sa.Engine) -> None:
    machine = type("OnSqlite", (Shelves,), {"database": database})
    run_state_machine_as_test(  # type: ignore[no-untyped-call]
        machine,
        settings=settings(max_examples=15, stateful_step_count=15, deadline=None, suppress_health_check=QUIETLY),
    )


def test_a_kit_that_two_weeks_hold_is_set_aside_once_when_it_comes_back(database: sa.Engine) -> None:
    state = type("OnSqlite", (Shelves,), {"database": database})()
    state.begin(lag=0, shim=0)
    state.load(visit="J-1")
    state.post(visits={"J-1"}, week=0, day=0)
    state.post(visits={"J-1"}, week=1, day=0)
    state.unload(visit="J-1", left=None)
    state.the_books_hold()
    with transaction(database) as session:
        assert {row.item: row.pieces for row in held_pieces(session)} == {LAG: 6, "shim": 4}
    database.dispose()


@pytest.mark.long
def test_shelves_on_postgresql(postgresql_database: str) -> None:
    """In every suite the same on SQLite, and single postings on a server: tests/service/yard/test_shelf.py."""
    database = open_database(postgresql_database)
    machine = type("OnPostgresql", (Shelves,), {"database": database})
    run_state_machine_as_test(  # type: ignore[no-untyped-call]
        machine,
        settings=settings(max_examples=4, stateful_step_count=12, deadline=None, suppress_health_check=QUIETLY),
    )
    database.dispose()
