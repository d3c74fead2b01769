"""A long list is looked through and taken in behind its page: how far it is, stopped, broken off, its refused rows."""

from __future__ import annotations

import multiprocessing
import re
import sqlite3
import threading
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from api.exchange import behind as pieces
from api.office import behind, taking
from tests.service.cast import add_yard, for_pages, running, settings_for
from tests.service.office.test_set_up import send, text_of
from tests.waiting import until

LINES = 40


@pytest.fixture(autouse=True)
def shortly(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(behind, "LONG", 10)
    monkeypatch.setattr(taking, "AT_ONCE", 4)
    monkeypatch.setattr(pieces, "WRITE_S", 0.0)


@pytest.fixture
def office(app: FastAPI) -> TestClient:
    return page_client(app)


def page_client(app: FastAPI) -> TestClient:
    return for_pages(app, Role.office)


def a_list(bad: int = 0) -> bytes:
    """A list of jobs, the last `bad` of which have no address."""
    lines = [f"Customer {n},555-{n:04},{n} Mill Lane,Marl,repair,squeaks" for n in range(1, LINES - bad + 1)]
    lines += [f"Customer {n},555-{n:04},,Marl,repair,squeaks" for n in range(LINES - bad + 1, LINES + 1)]
    return "\n".join(["Customer,Phone,Address,Town,Kind,What is wrong", *lines]).encode()


def over(client: TestClient, address: str) -> str:
    """Wait until a list is over; return its page."""
    until(lambda: "progress max=" not in client.get(address).text)
    return client.get(address).text


def press(client: TestClient, address: str, do: str) -> str:
    """Press a button of a list's page, its columns as they stand there; return the page that follows."""
    page = client.get(address).text
    form = dict(re.findall(r'name="(csrf|mark)" value="([^"]*)"', page)) | columns_in(page) | {"do": do}
    answer = client.post(address, data=form, follow_redirects=False)
    return client.get(address).text if answer.status_code == 303 else answer.text


def columns_in(page: str) -> dict[str, str]:
    found = re.findall(r'<select name="(column-[0-9]+)"[^>]*>(.*?)</select>', page, re.DOTALL)
    chosen = {name: re.search(r'value="([^"]*)" selected', options) for name, options in found}
    return {name: one[1] if one else "" for name, one in chosen.items()}


def visits(app: FastAPI) -> int:
    with transaction(app.state.database) as session:
        return len(session.exec(select(tables.Visit.id)).all())


class Gate:
    """Holds a list back between two of its transactions, until it is let go on."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, at: int) -> None:
        self.there, self.go_on = threading.Event(), threading.Event()
        real = taking.take_in

        def held(*given: Any, step: Callable[[int], None], **named: Any) -> Any:
            def stop_at(rows: int) -> None:
                step(rows)
                if rows == at:
                    self.there.set()
                    assert self.go_on.wait(60)
                    step(rows)

            return real(*given, step=stop_at, **named)

        monkeypatch.setattr(behind, "take_in", held)


def test_a_long_list_is_looked_through_and_taken_in_and_its_page_says_how_far_it_is(
    app: FastAPI, office: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    gate = Gate(monkeypatch, 12)
    address = send(office, "jobs", a_list(bad=3))
    shown = text_of(over(office, address))
    assert f"Nothing has been changed yet. {LINES} rows: 37 new" in shown
    assert "3 refused" in shown
    assert visits(app) == 0
    working = press(office, address, "keep")
    until(gate.there.is_set)
    until(lambda: "12 of 40 are in" in text_of(office.get(address).text))
    assert "You may leave this page" in text_of(working)
    other = text_of(office.get(send(office, "jobs", a_list())).text)
    assert "olive has another list at work just now" in other
    assert office.get(f"{address}/refused.csv").status_code == 409
    gate.go_on.set()
    done = text_of(over(office, address))
    assert "✓ Taken in: 37 new, 0 changed, 0 as they are, 3 refused." in done
    assert visits(app) == 37
    refused = office.get(f"{address}/refused.csv").text
    assert refused.count("Customer") == 4  # the head, and three rows
    assert "must not be empty" in refused


def test_a_list_that_is_stopped_keeps_what_was_done_and_says_which_and_the_rest_comes_in_later(
    app: FastAPI, office: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    gate = Gate(monkeypatch, 12)
    address = send(office, "jobs", a_list())
    over(office, address)
    press(office, address, "keep")
    until(gate.there.is_set)
    assert office.post(f"{address}/stop", follow_redirects=False).status_code == 303
    gate.go_on.set()
    shown = text_of(over(office, address))
    assert "■ Stopped." in shown
    assert "12 of 40 rows are gone through, up to row 13: 12 new" in shown
    assert visits(app) == 12
    press(office, address, "try")
    assert "28 new, 0 changed, 12 as they are" in text_of(over(office, address))
    press(office, address, "keep")
    assert "28 new" in text_of(over(office, address))
    assert visits(app) == LINES


def test_a_list_that_is_stopped_while_it_is_looked_through_changes_nothing(
    app: FastAPI, office: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    there, go_on, real = threading.Event(), threading.Event(), taking.take

    def held(*given: Any, step: Callable[[int], None], **named: Any) -> Any:
        def stop_at(rows: int) -> None:
            if rows == 8:
                there.set()
                assert go_on.wait(60)
            step(rows)

        return real(*given, step=stop_at, **named)

    monkeypatch.setattr(behind, "take", held)
    address = send(office, "jobs", a_list())
    office.get(address)
    until(there.is_set)
    office.post(f"{address}/stop")
    go_on.set()
    assert "■ Stopped. Nothing was taken in." in text_of(over(office, address))
    assert visits(app) == 0


def test_what_would_do_something_else_by_now_is_not_taken_in(app: FastAPI, office: TestClient) -> None:
    address = send(office, "jobs", a_list())
    page = over(office, address)
    with transaction(app.state.database) as session:
        session.add(tables.Customer(id="C-77", name="Customer 1", phone="555-0001", email=""))
    form = dict(re.findall(r'name="(csrf|mark)" value="([^"]*)"', page)) | columns_in(page) | {"do": "keep"}
    office.post(address, data=form)
    assert "The rows would do something else by now than was shown. Nothing was taken in" in text_of(
        over(office, address)
    )
    assert visits(app) == 0


class Breaking:
    """Lets the database fail at the `nth` write of a visit from now on, and at all after it."""

    def __init__(self, engine: sa.Engine, nth: int) -> None:
        self.engine, self.nth, self.written = engine, nth, 0
        sa.event.listen(sa.Engine, "before_cursor_execute", self.see)

    def see(self, _connection: Any, _cursor: Any, statement: str, *_: Any) -> None:
        if statement.lower().startswith("insert into visit "):
            self.written += 1
            if self.written >= self.nth:
                raise sa.exc.OperationalError(statement, {}, sqlite3.OperationalError("disk I/O error"))

    def mend(self) -> None:
        if sa.event.contains(sa.Engine, "before_cursor_execute", self.see):
            sa.event.remove(sa.Engine, "before_cursor_execute", self.see)


@pytest.fixture
def breaking(app: FastAPI) -> Iterator[Callable[[int], Breaking]]:
    made = list[Breaking]()

    def begin(nth: int) -> Breaking:
        made.append(Breaking(app.state.database, nth))
        return made[-1]

    yield begin
    for one in made:
        one.mend()


def whole(app: FastAPI) -> int:
    """Return how many jobs there are, each with its site, customer and line of the history; nothing else is there."""
    with transaction(app.state.database) as session:
        jobs = session.exec(select(tables.Visit)).all()
        sites = {one.id: one for one in session.exec(select(tables.Site))}
        customers = {one.id for one in session.exec(select(tables.Customer))}
        told = session.exec(select(tables.History.noun_id).where(tables.History.noun == "visit")).all()
        lists = session.exec(select(tables.TakenList)).all()
    assert {one.site_id for one in jobs} == set(sites)
    assert {one.customer_id for one in sites.values()} == customers
    assert sorted(told) == sorted(one.id for one in jobs)
    assert sorted(key for one in lists for table, key in one.made if table == "visits") == sorted(told)
    return len(jobs)


@pytest.mark.parametrize("nth", [1, 3])
def test_a_database_that_fails_in_the_first_rows_is_told_in_a_sentence_and_nothing_is_in(
    app: FastAPI, office: TestClient, monkeypatch: pytest.MonkeyPatch, breaking: Callable[[int], Breaking], nth: int
) -> None:
    monkeypatch.setattr(behind, "LONG", 1000)
    address = send(office, "jobs", a_list())
    page = office.get(address).text
    form = dict(re.findall(r'name="(csrf|mark)" value="([^"]*)"', page)) | columns_in(page) | {"do": "keep"}
    failing = breaking(LINES + nth)  # it is looked through once more first
    answer = office.post(address, data=form)
    failing.mend()
    assert answer.status_code == 503
    assert "The database cannot be reached. Nothing was changed; try again in a minute." in text_of(answer.text)
    assert whole(app) == 0


@pytest.mark.parametrize("long", [1000, 10])
def test_a_database_that_fails_in_the_middle_leaves_whole_rows_and_says_up_to_which(
    app: FastAPI, office: TestClient, monkeypatch: pytest.MonkeyPatch, breaking: Callable[[int], Breaking], long: int
) -> None:
    monkeypatch.setattr(behind, "LONG", long)
    address = send(office, "jobs", a_list())
    page = over(office, address)
    form = dict(re.findall(r'name="(csrf|mark)" value="([^"]*)"', page)) | columns_in(page) | {"do": "keep"}
    failing = breaking(LINES + 11)
    answer = office.post(address, data=form)
    shown = text_of(over(office, address) if long == 10 else answer.text)
    failing.mend()
    assert "The rows up to 9 are in, the others are not. Send the file again: no row is changed twice." in shown
    assert "disk I/O" not in shown
    assert whole(app) == 8
    address = send(office, "jobs", a_list())
    assert "32 new, 0 changed, 8 as they are" in text_of(over(office, address))
    done = press(office, address, "keep")
    shown = text_of(over(office, address) if long == 10 else done)
    assert "✓ Taken in: 32 new, 0 changed, 8 as they are" in shown
    assert whole(app) == LINES


@pytest.mark.slow
def test_a_process_that_is_killed_leaves_whole_rows_and_the_page_says_so(
    migrated_file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "eaveboard.sqlite").write_bytes(migrated_file.read_bytes())
    with running(replace(settings_for(tmp_path), preparers=1)) as app:
        add_yard(app.state.database)
        office = page_client(app)
        lines = [f"Customer {n},555-{n:04},{n} Mill Lane,Marl,repair,squeaks" for n in range(1, 301)]
        address = send(office, "jobs", "\n".join(["Customer,Phone,Address,Town,Kind,Wrong", *lines]).encode())
        before = multiprocessing.active_children()
        over(office, address)
        press(office, address, "keep")
        until(lambda: whole(app) > 0)
        for child in multiprocessing.active_children():
            if child not in before:
                child.kill()
        shown = text_of(over(office, address))
        assert "It was broken off after" in shown
        assert 0 < whole(app) < 300
        again = send(office, "jobs", "\n".join(["Customer,Phone,Address,Town,Kind,Wrong", *lines]).encode())
        over(office, again)
        press(office, again, "keep")
        assert "✓ Taken in" in text_of(over(office, again))
        assert whole(app) == 300
