"""Pairs and the plan of the weeks ahead bettered by turns at night, and a turn that is not worth it taken back."""

from __future__ import annotations

import datetime
import time

import pytest
from fastapi import FastAPI
from sqlmodel import col, select

from api import tables
from api.access.accounts import Role
from api.database import Hold, transaction
from api.ledger.plans.documents import because_as_data
from api.roster.filling import RosterKeeper, fill
from api.week.horizon import keeper
from api.week.horizon.document import horizon_of
from api.week.horizon.keeping import IN_TURN, NIGHTLY, KeptHorizon, newest, newest_id, store
from api.week.horizon.start import _moved
from scheduler import plan_week
from scheduler.plan import read_plan
from tests.service.cast import PAGE, signed_in
from tests.service.promise.conftest import THURSDAY

pytestmark = [pytest.mark.slow, pytest.mark.usefixtures("compiled")]

NIGHT = datetime.datetime(2027, 4, 9, 6, 31, tzinfo=datetime.UTC)  # half past one at the yards, and a minute
MINUTE = datetime.timedelta(minutes=1)
VISIT = "J-1044"  # of the north yard, told to nobody, on many days
# north-1: bramwith with oskar-t; north-2: veldt with quill


class Night:
    """The keepers of one night, whose minutes pass as they are told; a plan takes a few seconds of the machine."""

    def __init__(self, app: FastAPI, monkeypatch: pytest.MonkeyPatch, dearer: int = 0) -> None:
        self.app, self.now, self.planned, self.dearer = app, NIGHT, 0, dearer
        monkeypatch.setattr(keeper, "start_horizon", self._plan)
        state = app.state
        self.roster = RosterKeeper(state.database, lambda: self.now, Hold(), state.signals)
        self.horizon = keeper.HorizonKeeper(state.database, state.runs, lambda: self.now)

    def _plan(self, *_: object, **__: object) -> None:
        """Plan the weeks ahead from the plan that counts; `dearer`: the second plan of the night costs so much more."""
        self.planned += 1
        with transaction(self.app.state.database) as session:
            before, horizon = newest(session), horizon_of(session, self.now)
            assert before is not None
            start = read_plan(_moved(before, horizon))
            plan = plan_week(horizon.document, seconds=4, clock=time.monotonic, start=start, with_because=False)
            made = store(
                session, horizon.document, plan, weeks=horizon.weeks, because=because_as_data(horizon.because),
                how="planned", made_from=newest_id(session), now=self.now + MINUTE / 2, by=NIGHTLY,
            )  # fmt: skip
            if self.planned == 2:
                made.cost_cents += self.dearer
                session.add(made)

    def pass_(self, minutes: int = 60) -> None:
        """Let the night pass, each keeper looking as often as it does."""
        for _ in range(minutes):
            self.roster.look()
            self.horizon.look()
            self.now += MINUTE


def two_skills(app: FastAPI) -> None:
    """Have a visit ask for two skills that no usual pair of its yard has together."""
    with transaction(app.state.database) as session:
        for name, skill in (("veldt", "rope access"), ("oskar-t", "glass roofs")):
            person = session.get_one(tables.Person, name)
            person.skills = [*person.skills, skill]
            session.add(person)
        visit = session.get_one(tables.Visit, VISIT)
        visit.skills = ["rope access", "glass roofs"]
        session.add(visit)


def goes(app: FastAPI) -> tuple[str, datetime.date] | None:
    plan = now(app)
    return next(
        ((route.crew, plan.date(route.day)) for route in plan.plan.routes for stop in route.jobs if stop.job == VISIT),
        None,
    )


def now(app: FastAPI) -> KeptHorizon:
    with transaction(app.state.database) as session:
        plan = newest(session)
    assert plan is not None
    return plan


def changes(app: FastAPI) -> list[tables.RosterChange]:
    with transaction(app.state.database) as session:
        row = tables.RosterChange
        return list(session.exec(select(row).order_by(col(row.id))))


def test_others_ride_together_for_a_visit_that_no_pair_could_do(app: FastAPI, monkeypatch: pytest.MonkeyPatch) -> None:
    two_skills(app)
    fill(app.state.database, THURSDAY, "somebody")
    night = Night(app, monkeypatch)
    night.pass_()
    found = goes(app)
    assert found is not None, "the plan of the night has it, with a pair made for it"
    crew, date = found
    made = changes(app)
    assert [change.made_by for change in made][:3] == ["somebody", NIGHTLY, IN_TURN]
    assert made[2].after
    assert date.isoformat() in made[2].after
    assert not made[2].undone
    assert night.planned == 2, "the second turn changes no pair, so that nothing is planned again"
    before = night.planned
    night.pass_(20)
    assert night.planned == before
    page = signed_in(app, Role.manager).get(
        f"/roster?from={date - datetime.timedelta(days=date.weekday())}", headers=PAGE
    )
    assert "Oskar Tindle" in page.text
    assert VISIT in page.text, "why they ride together names the visit"
    assert crew in ("north-1", "north-2", "north-3")


def test_a_turn_that_makes_nothing_cheaper_is_taken_back_with_its_plan(
    app: FastAPI, monkeypatch: pytest.MonkeyPatch
) -> None:
    two_skills(app)
    fill(app.state.database, THURSDAY, "somebody")
    night = Night(app, monkeypatch, dearer=10_000_000)
    night.pass_()
    assert goes(app) is None
    made = changes(app)
    assert made[2].made_by == IN_TURN
    assert made[2].undone
    assert len(made) == 3
    assert night.planned == 2
    plan = now(app)
    assert plan.made_by == IN_TURN
    night.pass_(20)
    assert (night.planned, len(changes(app))) == (2, 3)
    with transaction(app.state.database) as session:
        days = session.exec(select(tables.RosterDay)).all()
    assert all("rope access" not in str(day.because) for day in days)


def test_a_plan_asked_for_by_day_has_no_turns(app: FastAPI, monkeypatch: pytest.MonkeyPatch) -> None:
    fill(app.state.database, THURSDAY, "somebody")
    night = Night(app, monkeypatch)
    night.now = THURSDAY + datetime.timedelta(hours=1)
    night.pass_(3)
    assert night.planned == 0
    assert len(changes(app)) == 1
