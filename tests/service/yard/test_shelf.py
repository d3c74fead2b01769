"""/stock: pieces come and go by moves, what posted weeks need is set aside, and the week asks only for what is free."""

from __future__ import annotations

import datetime
import shutil
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import alembic.command
import alembic.config
import pytest
import sqlalchemy as sa
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import Session, col, select

from api import tables
from api.access.accounts import Role
from api.business.load import load_business
from api.business.seed import read_business
from api.database import MIGRATIONS, open_database, transaction, upgrade
from api.settings import sqlite_address
from api.shelf import moving, setting_aside
from api.shelf.books import Held, RunsOut, ShelfLine
from api.week.run.planning import prepare_week
from scheduler.errors import BadInput
from tests.conftest import DEMO, BuiltDemo
from tests.crates import LAG, MONDAY, NOW, SHELF, add_job, add_shelves, post_week
from tests.service.cast import PAGE, csrf_in, for_programs, signed_in

AT_NORTH = {"item": LAG, "yard_id": "north"}


@pytest.fixture
def office(app_on_either: FastAPI) -> TestClient:
    with transaction(app_on_either.state.database) as session:
        add_shelves(session, {LAG: 20, "shim": 8})
    return for_programs(app_on_either, Role.office)


def line(answer: Any, item: str = LAG) -> dict[str, Any]:
    (yard,) = answer.json()["yards"]
    (found,) = [one for one in yard["items"] if one["item"] == item]
    return dict(found)


def moves(session: Session, item: str = LAG) -> list[tuple[str, int, int]]:
    rows = session.exec(
        select(tables.StockMove).where(tables.StockMove.item == item).order_by(col(tables.StockMove.id))
    )
    return [(row.kind, row.pieces, row.on_hand_after) for row in rows]


def test_a_delivery_comes_in_parts_and_no_piece_is_lost(office: TestClient, app_on_either: FastAPI) -> None:
    ordered = line(office.post("/stock/deliveries", data={**AT_NORTH, "quantity": 12, "due_on": "2027-04-14"}))
    (delivery,) = ordered["coming"]
    address = f"/stock/deliveries/{delivery['id']}"
    assert office.post(f"{address}/received", data={"pieces": 5}).status_code == 428
    now = line(office.post(f"{address}/received", data={"pieces": 5}, headers={"If-Match": '"1"'}))
    assert (now["on_hand"], [d["quantity"] for d in now["coming"]]) == (25, [7])
    again = office.post(f"{address}/received", data={"pieces": 5}, headers={"If-Match": '"1"'})
    assert again.status_code == 412  # two unpack the same boxes
    (rest,) = now["coming"]
    assert (
        office.post(f"/stock/deliveries/{rest['id']}", data={"due_on": "2027-04-20", "version": 1}).status_code == 200
    )
    last = line(office.post(f"/stock/deliveries/{rest['id']}/received", data={"pieces": 8, "version": 2}))
    assert (last["on_hand"], last["coming"]) == (33, [])  # one more than was ordered
    with transaction(app_on_either.state.database) as session:
        assert moves(session) == [("count", 20, 20), ("receipt", 5, 25), ("receipt", 8, 33)]


def test_a_count_of_a_shelf_that_moved_meanwhile_is_refused(office: TestClient, app_on_either: FastAPI) -> None:
    version = line(office.get("/stock"))["version"]
    office.post("/stock/corrections", data={**AT_NORTH, "pieces": -2, "why": "bent"})
    sent = {**AT_NORTH, "counted": 20}
    assert office.post("/stock/counts", data={**sent, "version": version}).status_code == 412
    fresh = line(office.get("/stock"))
    assert fresh["on_hand"] == 18
    assert line(office.post("/stock/counts", data={**sent, "version": fresh["version"]}))["on_hand"] == 20
    with transaction(app_on_either.state.database) as session:
        assert moves(session) == [("count", 20, 20), ("correction", -2, 18), ("count", 2, 20)]


def test_no_shelf_goes_below_zero_without_a_reason(office: TestClient, app_on_either: FastAPI) -> None:
    assert office.post("/stock/corrections", data={**AT_NORTH, "pieces": -2, "why": " "}).status_code == 422
    with transaction(app_on_either.state.database) as session, pytest.raises(BadInput, match="only 20"):
        moving.move(session, (LAG, "north"), "correction", -21, by="x", now=NOW)
    wrong = tables.StockMove(item=LAG, yard_id="north", kind="taken", pieces=-30, on_hand_after=-10, at=NOW, by="x")
    with pytest.raises(sa.exc.IntegrityError), transaction(app_on_either.state.database) as session:
        session.add(wrong)
    with transaction(app_on_either.state.database) as session:
        add_job(session, shelf={LAG: 26})
        setting_aside.taken(session, "J-1", MONDAY, by="crew", now=NOW)
        last = session.exec(select(tables.StockMove).order_by(col(tables.StockMove.id).desc())).first()
        assert last is not None
        assert (last.on_hand_after, last.why) == (-6, "J-1 took 26, by the books there were 20: count this shelf")
    page = office.get("/stock", headers=PAGE).text
    assert "▲ 1 shelf is below zero" in page


@pytest.mark.race
def test_moves_at_the_same_moment_lose_no_piece(office: TestClient, app_on_either: FastAPI) -> None:
    def take(n: int) -> None:
        with transaction(app_on_either.state.database) as session:
            moving.move(session, (LAG, "north"), "correction", -1 if n % 2 else 2, by=f"p{n}", now=NOW, why="x")

    with ThreadPoolExecutor(4) as pool:
        list(pool.map(take, range(20)))
    with transaction(app_on_either.state.database) as session:
        assert session.get_one(tables.StockItem, (LAG, "north")).on_hand == 30
        running = 0
        for _, pieces, after in moves(session):
            running += pieces
            assert after == running


@pytest.mark.race
def test_two_who_load_one_kit_at_once_take_its_parts_once(office: TestClient, app_on_either: FastAPI) -> None:
    with transaction(app_on_either.state.database) as session:
        add_job(session, shelf={LAG: 6})

    def load(_: int) -> None:
        with transaction(app_on_either.state.database) as session:
            setting_aside.taken(session, "J-1", MONDAY, by="crew", now=NOW)

    with ThreadPoolExecutor(3) as pool:
        list(pool.map(load, range(3)))
    assert line(office.get("/stock"))["on_hand"] == 14


def test_a_posting_sets_aside_and_the_next_one_frees_it(office: TestClient, app_on_either: FastAPI) -> None:
    with transaction(app_on_either.state.database) as session:
        for visit in ("J-1", "J-2"):
            add_job(session, visit)
        setting_aside.reserve(session, post_week(session, {"J-1": 1, "J-2": 2}, {"J-1": SHELF, "J-2": {LAG: 7}}), NOW)
    before = line(office.get("/stock"))
    assert (before["set_aside"], before["free"]) == (17, 3)
    assert before["held"][0] == {"visit": "J-1", "pieces": 10, "day": "2027-04-13"}
    with transaction(app_on_either.state.database) as session:
        setting_aside.taken(session, "J-1", MONDAY, by="crew", now=NOW)
        setting_aside.reserve(session, post_week(session, {"J-1": 3}, {"J-1": SHELF}), NOW)
    loaded = line(office.get("/stock"))
    assert (loaded["on_hand"], loaded["set_aside"]) == (10, 0)  # on the van already, and J-2 is not posted any more
    with transaction(app_on_either.state.database) as session:
        setting_aside.returned(session, "J-1", MONDAY, by="crew", now=NOW)
    back = line(office.get("/stock"))
    assert (back["on_hand"], back["set_aside"], back["held"][0]["day"]) == (20, 10, "2027-04-15")
    with transaction(app_on_either.state.database) as session:
        newest = session.exec(select(tables.PostedWeek).order_by(col(tables.PostedWeek.id).desc())).first()
        assert newest is not None
        setting_aside.release(session, newest, NOW)
    assert line(office.get("/stock"))["set_aside"] == 0


def test_a_visit_of_any_yard_has_its_parts_set_aside_where_its_crew_starts(
    office: TestClient, app_on_either: FastAPI
) -> None:
    with transaction(app_on_either.state.database) as session:
        add_job(session, "J-1")
        setting_aside.reserve(session, post_week(session, {"J-1": 1}, {"J-1": {LAG: 3}}, yard=None), NOW)
    assert line(office.get("/stock"))["held"] == [{"visit": "J-1", "pieces": 3, "day": "2027-04-13"}]


def test_pages_work_by_forms_alone(office: TestClient, app_on_either: FastAPI) -> None:
    person = signed_in(app_on_either, Role.office)
    person.headers.update(PAGE)
    csrf = csrf_in(person.get("/stock").text)
    made = person.post("/stock/items", data={"csrf": csrf, "item": "flashing", "yard_id": "north", "counted": 3})
    assert (made.status_code, made.headers["location"]) == (303, "/stock#yard-north")
    assert person.post("/stock/items", data={"item": "flashing", "yard_id": "north"}).status_code == 422
    assert person.post("/stock/items", data={"item": "flashing", "yard_id": "moon"}).status_code == 422
    assert "flashing" in person.get("/stock").text
    told = person.get("/stock/moves", params={"item": "flashing", "yard": "north"}).text
    assert "+3" in told
    assert person.get("/stock/moves", params={"item": "nothing", "yard": "north"}).status_code == 404


def test_a_lead_counts_and_does_not_order(office: TestClient, app_on_either: FastAPI) -> None:
    lead, reader = signed_in(app_on_either, Role.lead), signed_in(app_on_either, Role.reader)
    version = line(office.get("/stock"))["version"]
    assert lead.post("/stock/counts", data={**AT_NORTH, "counted": 19, "version": version}).status_code == 200
    order = {**AT_NORTH, "quantity": 1, "due_on": "2027-04-14"}
    assert lead.post("/stock/deliveries", data=order).status_code == 403
    assert reader.get("/stock").status_code == 200
    assert reader.post("/stock/counts", data={**AT_NORTH, "counted": 19}).status_code == 403


def test_what_is_taken_in_from_files_begins_with_a_count(tmp_path: Path) -> None:
    database = open_database(f"sqlite:///{tmp_path / 'demo.sqlite'}")
    upgrade(database)
    business = read_business(DEMO)
    load_business(database, business, "files", NOW)
    with transaction(database) as session:
        begun = {(m.item, m.yard_id): (m.kind, m.on_hand_after) for m in session.exec(select(tables.StockMove))}
        rows = session.exec(select(tables.StockItem)).all()
        assert rows
        assert begun == {(row.item, row.yard_id): ("count", row.on_hand) for row in rows}
    database.dispose()


def test_shelves_kept_before_there_were_moves_begin_with_a_count(tmp_path: Path) -> None:
    database = open_database(f"sqlite:///{tmp_path / 'old.sqlite'}")
    config = alembic.config.Config()
    config.set_main_option("script_location", str(MIGRATIONS))
    with database.begin() as connection:
        config.attributes["connection"] = connection
        alembic.command.upgrade(config, "0002")
        connection.execute(sa.text("INSERT INTO yard VALUES ('north', 'North', 41, -98, 1)"))
        connection.execute(sa.text("INSERT INTO stock_item VALUES ('shim', 'north', 'shim', 40, '2027-04-08', 1)"))
    upgrade(database)
    with transaction(database) as session:
        (move,) = session.exec(select(tables.StockMove)).all()
        assert (move.kind, move.pieces, move.on_hand_after, move.at.date()) == (
            "count", 40, 40, datetime.date(2027, 4, 8),
        )  # fmt: skip
    database.dispose()


def test_the_week_asks_the_shelf_only_for_what_nobody_else_has(built: BuiltDemo, tmp_path: Path) -> None:
    """Set aside for a visit of a later week: not free; on the van: not asked for again; owed: out of the deliveries."""
    database = open_database(sqlite_address(shutil.copytree(built.out, tmp_path / "demo")))
    before = prepare_week(database, MONDAY, NOW).built.week
    parts = {job.id: job.parts for job in before.jobs}
    shim = "shim"
    with transaction(database) as session:
        later = tables.Booking(
            visit_id="J-1042", crew_id="north-1", day=MONDAY + datetime.timedelta(days=8), start=540, hold="day"
        )
        session.add(later)
        posted = post_week(session, {"J-1042": 1}, {"J-1042": parts["J-1042"]}, MONDAY + datetime.timedelta(days=7))
        setting_aside.reserve(session, posted, NOW)
        setting_aside.taken(session, "J-1043", MONDAY, by="crew", now=NOW)
    after = prepare_week(database, MONDAY, NOW).built.week
    jobs = {job.id: job for job in after.jobs}
    assert "J-1042" not in jobs
    assert jobs["J-1043"].parts == {}

    def on_hand(week: Any) -> int:
        return int(next(s.on_hand for s in week.stock if (s.id, s.yard) == (shim, "north")))

    assert on_hand(after) == on_hand(before) - parts["J-1042"][shim] - parts["J-1043"][shim]
    cartridge = "sealant cartridge"  # 13 on the shelf, 16 to come on Wednesday
    with transaction(database) as session:
        moving.correct(session, (cartridge, "north"), -20, "a pallet froze", by="x", now=NOW)
    short = prepare_week(database, MONDAY, NOW).built.week
    (stock,) = [s for s in short.stock if (s.id, s.yard) == (cartridge, "north")]
    taken = parts["J-1042"][cartridge] + parts["J-1043"][cartridge]
    assert stock.on_hand == 0
    assert [a.qty for a in stock.arrivals] == [16 - (20 + taken - 13)]
    database.dispose()


def shelf_line(on_hand: int, held: list[tuple[int, int]], coming: list[tuple[int, int]]) -> ShelfLine:
    """Return a shelf with `held` and `coming` as (day of the week, pieces)."""

    def day(n: int) -> datetime.date:
        return MONDAY + datetime.timedelta(days=n)

    stock = tables.StockItem(item=LAG, yard_id="north", name=LAG, on_hand=on_hand, counted_on=MONDAY)
    orders = [tables.Delivery(item=LAG, yard_id="north", quantity=q, due_on=day(n)) for n, q in coming]
    return ShelfLine(stock, [Held(f"J-{n}", pieces, day(n)) for n, pieces in held], orders, None)


@pytest.mark.parametrize(
    ("on_hand", "held", "coming", "out", "alone"),
    [
        (10, [(0, 4), (2, 6)], [], None, None),
        (10, [(0, 4), (2, 9)], [], (2, 3), (2, 3)),
        (10, [(0, 4), (2, 9)], [(2, 3)], None, (2, 3)),
        (10, [(0, 4), (2, 9)], [(3, 3)], (2, 3), (2, 3)),  # a day too late
        (4, [(0, 6), (1, 2), (4, 1)], [(1, 2)], (0, 3), (0, 5)),  # the worst comes later without the delivery
        (4, [(1, 6)], [(-3, 2)], None, (1, 2)),  # one that is late is expected today
        (4, [(-2, 6)], [], (0, 2), (0, 2)),  # what was wanted before is wanted today
    ],
)
def test_when_a_shelf_runs_out_and_by_how_much(
    on_hand: int, held: list[tuple[int, int]], coming: list[tuple[int, int]], out: tuple[int, int] | None,
    alone: tuple[int, int] | None,
) -> None:  # fmt: skip
    line = shelf_line(on_hand, held, coming)
    for found, wanted in ((line.runs_out(MONDAY), out), (line.runs_out(MONDAY, with_coming=False), alone)):
        assert found == (None if wanted is None else RunsOut(MONDAY + datetime.timedelta(days=wanted[0]), wanted[1]))
