"""Papers in the background: what a change makes stale, what is made again, and what a bad survey does not stop."""

from __future__ import annotations

import datetime
import os
import shutil
import signal
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa
from sqlmodel import Session, col, select

from api import tables
from api.access.accounts import Role
from api.database import open_database, transaction
from api.ledger.facts.week import facts
from api.ledger.history import note
from api.papers.preparation import Preparation
from api.papers.shown.job_page import job_page
from api.papers.stored import keeper
from api.papers.stored.keeper import Keeper, renew, stale
from api.settings import sqlite_address
from api.week.run.planning import prepare_week
from tests.conftest import BuiltDemo
from tests.service.cast import running, settings_for, signed_in
from tests.waiting import until

MONDAY = datetime.date(2027, 4, 12)
NOW = datetime.datetime(2027, 4, 8, 20, tzinfo=datetime.UTC)
INSTALL, SHORT, SURVEY = "J-1042", "J-1046", "J-1095"


@pytest.fixture
def folder(built: BuiltDemo, tmp_path: Path) -> Path:
    """A data folder with the demo business, its papers fresh."""
    return shutil.copytree(built.out, tmp_path / "demo")


@pytest.fixture
def database(folder: Path) -> Iterator[sa.Engine]:
    engine = open_database(sqlite_address(folder))
    yield engine
    engine.dispose()


def found_stale(database: sa.Engine) -> list[str]:
    with transaction(database) as session:
        return stale(session)


def made_of(database: sa.Engine, visit: str) -> dict[str, str]:
    """Return the fingerprints of a visit's papers."""
    with transaction(database) as session:
        rows = session.exec(select(tables.Prepared).where(tables.Prepared.visit_id == visit)).all()
        return {row.what: row.fingerprint for row in rows}


def survey_of(session: Session, visit: str) -> tables.SiteSurvey:
    awning = session.get_one(tables.Visit, visit).awning_id
    return session.exec(select(tables.SiteSurvey).where(tables.SiteSurvey.awning_id == awning)).one()


def windier(session: Session) -> None:
    row = survey_of(session, INSTALL)
    row.document = {**row.document, "wind_class": 3 - row.document["wind_class"]}


def maker(session: Session) -> None:
    awning = session.get_one(tables.Visit, INSTALL).awning_id
    part = tables.MakerPart
    session.exec(select(part).where(part.awning_id == awning, part.item != "bracket")).first().quantity += 1  # type: ignore[union-attr]


def box(session: Session) -> None:
    session.get_one(tables.Awning, session.get_one(tables.Visit, INSTALL).awning_id).box_mm += 100


def recount(session: Session) -> None:
    line = select(tables.BenchCount).where(tables.BenchCount.visit_id == INSTALL, tables.BenchCount.item == "bracket")
    session.exec(line).one().counted -= 1


def load(session: Session) -> None:
    session.add(tables.KitState(visit_id=INSTALL, loaded_on=MONDAY))


def test_fresh_papers_are_not_stale(database: sa.Engine) -> None:
    assert found_stale(database) == []


@pytest.mark.parametrize(
    ("change", "renewed"),
    [
        (windier, {"layout", "drawing", "kit", "duration", "condition"}),
        (maker, {"kit", "condition"}),
        (box, {"kit", "condition"}),
        (recount, {"condition"}),
        (load, {"condition"}),
    ],
)
def test_a_change_makes_just_that_job_stale_and_just_what_rests_on_it_is_made_again(
    database: sa.Engine, change: Callable[[Session], None], renewed: set[str]
) -> None:
    before = made_of(database, INSTALL)
    with transaction(database) as session:
        change(session)
    assert found_stale(database) == [INSTALL]
    with transaction(database) as session:
        assert renew(session, [INSTALL, SHORT], NOW) == 1
    after = made_of(database, INSTALL)
    assert {what for what in after if after[what] != before[what]} == renewed
    assert found_stale(database) == []


def test_what_all_jobs_rest_on_makes_all_stale_and_no_wall_is_drawn_anew(database: sa.Engine) -> None:
    before = made_of(database, INSTALL)
    with transaction(database) as session:
        business = session.get_one(tables.Business, 1)
        business.times = business.times + "\n"
        jobs = list(session.exec(select(tables.Visit.id).where(tables.Visit.state == "open")))
    assert found_stale(database) == sorted(jobs)
    with transaction(database) as session:
        renew(session, jobs, NOW)
    after = made_of(database, INSTALL)
    assert {what for what in after if after[what] != before[what]} == {"duration"}
    with transaction(database) as session:
        session.add(tables.Equipment(id="E-1", kind="ladder-40", yard_id="north", name="ladder"))
    with transaction(database) as session:
        kits = session.exec(select(tables.Prepared.visit_id).where(tables.Prepared.what == "kit")).all()
        assert stale(session) == sorted(kits)  # its ladder may be another one
        renew(session, kits, NOW)
    assert made_of(database, INSTALL)["drawing"] == before["drawing"]


def test_stale_papers_are_shown_as_such_and_never_planned_on(database: sa.Engine) -> None:
    with transaction(database) as session:
        windier(session)
    with transaction(database) as session:
        page = job_page(session, INSTALL, NOW)
        assert page is not None
        assert page.stale == {"layout", "drawing", "kit", "duration"}
        now = survey_of(session, INSTALL).document["wind_class"]
    made = prepare_week(database, MONDAY, NOW)
    assert made.tally.made == 4
    survey = made.papers[INSTALL].survey
    assert survey is not None
    assert survey.wind_class == now
    with transaction(database) as session:
        page = job_page(session, INSTALL, NOW)
        assert page is not None
        assert page.stale == set()


@pytest.mark.parametrize("wrong", [{"wind_class": 9}, {"wall": "brick"}, {"doors": None}])
def test_a_bad_survey_marks_its_job_with_a_sentence_and_stops_no_other(
    folder: Path, database: sa.Engine, wrong: dict[str, object]
) -> None:
    with transaction(database) as session:
        row = survey_of(session, INSTALL)
        row.document = {**row.document, **wrong}
        other = survey_of(session, SHORT)
        other.document = {**other.document, "wind_class": 3 - other.document["wind_class"]}
    made = prepare_week(database, MONDAY, NOW)
    (key,) = wrong
    (why,) = made.built.because[INSTALL]
    assert why.code == "drawing"
    assert why.detail.startswith("The survey cannot be used: ")
    assert key in why.detail
    assert set(made_of(database, INSTALL)) == {"fault", "duration"}
    assert made.papers[SHORT].kit is not None
    assert found_stale(database) == []
    with running(settings_for(folder)) as app:
        told = signed_in(app, Role.reader).get("/papers").json()
        page = signed_in(app, Role.reader).get(f"/jobs/{INSTALL}", headers={"accept": "text/html"})
    assert (told["stale"], told["being_made"]) == (0, 0)
    assert told["faults"] == {INSTALL: why.detail}
    assert page.status_code == 200


def test_a_mended_survey_is_drawn_again(database: sa.Engine) -> None:
    with transaction(database) as session:
        right = survey_of(session, INSTALL).document
        survey_of(session, INSTALL).document = {**right, "wall": "brick"}
    before = made_of(database, INSTALL)
    prepare_week(database, MONDAY, NOW)
    with transaction(database) as session:
        survey_of(session, INSTALL).document = right
    assert found_stale(database) == [INSTALL]
    prepare_week(database, MONDAY, NOW)
    assert made_of(database, INSTALL) == before


def test_a_job_that_nothing_is_made_of_any_more_loses_its_papers(database: sa.Engine) -> None:
    with transaction(database) as session:
        session.delete(survey_of(session, INSTALL))
    assert found_stale(database) == [INSTALL]
    with transaction(database) as session:
        renew(session, [INSTALL], NOW)
    assert set(made_of(database, INSTALL)) == {"duration"}


@pytest.fixture
def quick_looks(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(keeper, "LOOK_S", 0.1)
    monkeypatch.setattr(keeper, "RETRY_S", 0.1)


@pytest.mark.usefixtures("quick_looks")
def test_the_keeper_renews_what_a_change_made_stale_whoever_made_it(folder: Path, database: sa.Engine) -> None:
    before = made_of(database, INSTALL)
    keeper = Keeper(database, sqlite_address(folder), 1, lambda: NOW)
    keeper.lookout.start()
    try:
        other = open_database(sqlite_address(folder))  # as another process has it
        with transaction(other) as session:
            windier(session)
            note(session, NOW, "import", "changed", "survey", INSTALL, {})
        other.dispose()
        until(lambda: found_stale(database) == [])
        assert made_of(database, INSTALL)["layout"] != before["layout"]
    finally:
        keeper.lookout.stop()


@pytest.mark.slow
@pytest.mark.usefixtures("quick_looks")
def test_processes_make_many_and_one_that_is_killed_leaves_nothing_half_written(
    folder: Path, database: sa.Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    with transaction(database) as session:
        session.execute(sa.delete(tables.Prepared))
        open_ones = set(session.exec(select(tables.Visit.id).where(tables.Visit.state == "open")))
    keeper = Keeper(database, sqlite_address(folder), 1, lambda: NOW)
    killed: list[int] = []

    def kill() -> bool:
        for child in _children():
            if not killed:
                os.kill(child, signal.SIGKILL)
                killed.append(child)
        return bool(killed)

    keeper.lookout.start()
    try:
        until(kill)
        until(lambda: found_stale(database) == [])
    finally:
        keeper.lookout.stop()
    with transaction(database) as session:
        rows = session.execute(sa.select(col(tables.Prepared.visit_id), col(tables.Prepared.what))).all()
    assert {row.visit_id for row in rows} == open_ones
    whole = {row.visit_id for row in rows if row.what == "layout"}
    assert whole == {row.visit_id for row in rows if row.what == "drawing"}


def _children() -> list[int]:
    """Return the spawned processes of this one that make papers."""
    found = []
    for path in Path("/proc").glob("[0-9]*/stat"):
        try:
            parent = int(path.read_text().rpartition(")")[2].split()[1])
            words = path.with_name("cmdline").read_bytes()
        except (OSError, ValueError):
            continue
        if parent == os.getpid() and b"spawn_main" in words:
            found.append(int(path.parent.name))
    return found


def test_today_is_the_yards_date_late_in_the_evening_too(database: sa.Engine) -> None:
    late = datetime.datetime(2027, 4, 9, 3, tzinfo=datetime.UTC)  # Thursday the 8th, ten in the evening
    with transaction(database) as session:
        assert Preparation(session, facts(session), late, remake=False).today == datetime.date(2027, 4, 8)
