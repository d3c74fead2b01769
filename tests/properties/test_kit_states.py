"""Whatever is counted, comes in, is loaded or unloaded: a kit is in one true condition, and none rides unverified."""

from __future__ import annotations

from collections import defaultdict

import pytest
import sqlalchemy as sa
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule, run_state_machine_as_test
from sqlmodel import Session, col, select

from api import tables
from api.bench import counting, shorts
from api.database import open_database, transaction
from api.day import loading
from api.http.problems import Problem
from api.http.versions import etag
from api.ledger.plans.posted_days import Act, PostedDay
from api.ledger.shelves import off_shelf
from api.papers.kits import kit_of, made_kit
from tests.crates import MONDAY, NOW, PARTS, SHELF, TODAY, add_job, add_shelves, post_week
from tests.properties.test_stock_states import QUIETLY, empty
from tests.service.cast import add_yard

pytestmark = pytest.mark.slow

Tallies = dict[str, tuple[int, int]]  # counted and damaged by item
PEOPLE = st.sampled_from(("tam", "lew"))
CREW = Act("crew", NOW, NOW, NOW)


class Kits(RuleBasedStateMachine):
    """One crate with its kit; `missing` is None before the first count, `tally` while none is under way."""

    database: sa.Engine

    @initialize()
    def begin(self) -> None:
        empty(self.database)
        add_yard(self.database)
        self.missing: dict[str, int] | None = None
        self.tally: Tallies | None = None
        self.count_id, self.loaded = 0, False
        with transaction(self.database) as session:
            add_job(session)
            add_shelves(session, SHELF)
            self.posted = post_week(session, {"J-1": 0}, {"J-1": SHELF}).id

    @property
    def condition(self) -> str:
        if self.missing is None:
            return "uncounted"
        return "short" if self.missing else "loaded" if self.loaded else "verified"

    @rule(by=PEOPLE)
    def open(self, by: str) -> None:
        with transaction(self.database) as session:
            if self.loaded:
                with pytest.raises(Problem, match="on the van"):
                    counting.begin(session, session.get_one(tables.Visit, "J-1"), by=by, now=NOW)
                return
            count, new = counting.begin(session, session.get_one(tables.Visit, "J-1"), by=by, now=NOW)
            assert new is (self.tally is None)
            assert new or count.id == self.count_id
            self.count_id = count.id or 0
        self.tally = {} if self.tally is None else self.tally

    @rule(by=PEOPLE, item=st.sampled_from((*PARTS, "arm cover")), pieces=st.integers(-2, 3), damaged=st.integers(-1, 1))
    def tap(self, by: str, item: str, pieces: int, damaged: int) -> None:
        if not self.count_id:
            return
        had = (self.tally or {}).get(item, (0, 0))
        then = (had[0] + pieces, had[1] + damaged)
        refused = self.tally is None or not 0 <= then[1] <= then[0]
        try:
            with transaction(self.database) as session:
                counting.tap(session, self.count_id, item, by=by, now=NOW, pieces=pieces, damaged=damaged)
            assert not refused
            assert self.tally is not None
            self.tally[item] = then
        except Problem:
            assert refused

    @rule(by=PEOPLE, item=st.sampled_from(tuple(PARTS)))
    def tap_all(self, by: str, item: str) -> None:
        """Two who say at once how many there are do not add up."""
        if self.tally is None or self.tally.get(item, (0, 0))[1] > PARTS[item]:
            return
        with transaction(self.database) as session:
            for _ in range(2):
                counting.tap(session, self.count_id, item, by=by, now=NOW, to=PARTS[item])
        self.tally[item] = (PARTS[item], self.tally.get(item, (0, 0))[1])

    @rule()
    def tap_whole_crate(self) -> None:
        for item in PARTS:
            self.tap_all("tam", item)

    @rule(rest_missing=st.booleans())
    def close(self, rest_missing: bool) -> None:
        if not self.count_id:
            return
        try:
            with transaction(self.database) as session:
                visit = session.get_one(tables.Visit, "J-1")
                counting.close(session, visit, self.count_id, by="tam", now=NOW, rest_missing=rest_missing)
        except Problem:
            untouched = self.tally is not None and not PARTS.keys() <= self.tally.keys()
            assert self.loaded or self.tally is None or (untouched and not rest_missing)
            return
        assert not self.loaded
        assert self.tally is not None
        sound = {item: self.tally.get(item, (0, 0)) for item in PARTS}
        lacking = {item: PARTS[item] - n + broken for item, (n, broken) in sound.items()}
        self.missing, self.tally = {item: n for item, n in lacking.items() if n > 0}, None
        self.closed_with = dict(self.missing)

    @rule(by=PEOPLE, brackets=st.sampled_from((0, 2, 3, 4, 4)), cranks=st.integers(0, 1))
    def count_again(self, by: str, brackets: int, cranks: int) -> None:
        """A whole count in one go, so that kits are often counted, and counted again after something has come in."""
        if self.loaded:
            return
        self.open(by)
        assert self.tally is not None
        for item, pieces in (PARTS | {"bracket": brackets, "hand crank": cranks}).items():
            damaged = self.tally.get(item, (0, 0))[1]
            with transaction(self.database) as session:
                counting.tap(session, self.count_id, item, by=by, now=NOW, damaged=-damaged)
                counting.tap(session, self.count_id, item, by=by, now=NOW, to=pieces)
            self.tally[item] = (pieces, 0)
        self.close(rest_missing=False)

    @rule(pieces=st.integers(1, 3), which=st.integers(0, 3))
    def arrive(self, pieces: int, which: int) -> None:
        with transaction(self.database) as session:
            rows = select(tables.Short).where(col(tables.Short.arrived_on).is_(None)).order_by(col(tables.Short.id))
            listed = session.exec(rows).all()
            if not listed:
                return
            short = listed[which % len(listed)]
            item, came = short.item, min(pieces, short.missing)
            shorts.arrive(session, short, came, etag(short.version), by="lew", now=NOW, today=TODAY)
        assert self.missing is not None
        self.missing[item] -= came
        self.missing = {name: n for name, n in self.missing.items() if n}

    @rule(on=st.booleans(), first_only=st.booleans())
    def tick(self, on: bool, first_only: bool) -> None:
        with transaction(self.database) as session:
            visit = session.get_one(tables.Visit, "J-1")
            items = [line.item for line in loading.lines_of(made_kit(session, "J-1"))]
            ticked = set(session.exec(select(tables.LoadTick.item)))
            chosen = items[:1] if first_only else items
            loading.tick(session, self.day(session), visit, chosen, on, CREW)
        then = ticked | set(chosen) if on else ticked - set(chosen)
        if self.condition == "verified" and then >= set(items):
            self.loaded = True
        elif self.loaded and not on and then != ticked:
            self.loaded = False

    def day(self, session: Session) -> PostedDay:
        return PostedDay("north-1", MONDAY, session.get_one(tables.PostedWeek, self.posted), None)

    @invariant()
    def the_kit_is_what_it_is_said_to_be(self) -> None:
        if not hasattr(self, "posted"):
            return
        with transaction(self.database) as session:
            state = kit_of(session, session.get_one(tables.Visit, "J-1"))
            assert state is not None
            assert (state.condition, state.missing) == (self.condition, self.missing or {})
            row = session.get(tables.KitState, "J-1")
            assert (row is not None and row.loaded_on is not None) is self.loaded
            assert off_shelf(session, ["J-1"]).get("J-1", {}) == (SHELF if self.loaded else {})
            self.check_pieces(session)

    def check_pieces(self, session: Session) -> None:
        if self.tally is not None:
            found = counting.tallies(session, self.count_id)
            assert {item: (tally.counted, tally.damaged) for item, tally in found.items()} == self.tally
        if self.missing is None:
            return
        of_count: dict[str, int] = defaultdict(int)
        still: dict[str, int] = defaultdict(int)
        newest = session.exec(
            select(tables.CrateCount.id).where(col(tables.CrateCount.closed_at).is_not(None))
            .order_by(col(tables.CrateCount.id).desc())
        ).first()  # fmt: skip
        for short in session.exec(select(tables.Short)):
            if short.count_id == newest:
                of_count[short.item] += short.missing
            if short.arrived_on is None:
                still[short.item] += short.missing
        assert of_count == self.closed_with
        assert still == self.missing


def run(database: sa.Engine, examples: int, steps: int) -> None:
    machine = type("On", (Kits,), {"database": database})
    limits = settings(
        max_examples=examples, stateful_step_count=steps, deadline=None, suppress_health_check=QUIETLY
    )  # fmt: skip
    run_state_machine_as_test(machine, settings=limits)  # type: ignore[no-untyped-call]


def test_kits_on_sqlite(database: sa.Engine) -> None:
    run(database, examples=10, steps=20)
    database.dispose()


@pytest.mark.long
def test_kits_on_postgresql(postgresql_database: str) -> None:
    """In every suite the same on SQLite, and taps at once on a server: tests/service/yard/test_bench.py."""
    database = open_database(postgresql_database)
    run(database, examples=4, steps=15)
    database.dispose()
