"""A long list that is taken in keeps nobody else from making jobs, and no number is given twice."""

from __future__ import annotations

import re
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from api.office import taking
from tests.service.cast import JSON, for_pages, signed_in
from tests.service.office.test_set_up import keep_file, send, text_of
from tests.service.sales import made, sale

LINES = 40


def page_client(app: FastAPI) -> TestClient:
    return for_pages(app, Role.office)


def a_list(first: int = 1) -> bytes:
    lines = (f"Customer {n},555-{n:04},{n} Mill Lane,Marl,repair,squeaks" for n in range(first, first + LINES))
    return "\n".join(["Customer,Phone,Address,Town,Kind,What is wrong", *lines]).encode()


def numbers(ids: set[str]) -> list[int]:
    return sorted(int(one.partition("-")[2]) for one in ids)


@pytest.mark.race
def test_jobs_are_made_while_a_long_list_is_taken_in(app_on_either: FastAPI, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(taking, "AT_ONCE", 4)
    office, other = page_client(app_on_either), signed_in(app_on_either, Role.office)
    other.headers.update(JSON)
    sold = sale(other)
    address = send(office, "jobs", a_list())
    own = set[str]()
    with ThreadPoolExecutor(1) as pool:
        sent = pool.submit(keep_file, office, address)
        while not sent.done():
            own.add(made(other.post("/visits", json=sold.visit()))["id"])
    assert f"✓ Taken in: {LINES} new" in text_of(sent.result())
    with transaction(app_on_either.state.database) as session:
        listed = set(session.exec(select(tables.Visit.id))) - own
    assert len(listed) == LINES
    first, *_, last = numbers(listed)
    assert [n for n in numbers(own) if first < n < last], (numbers(own), first, last)


@pytest.mark.race
def test_of_two_long_lists_at_once_each_row_has_a_number_of_its_own(app_on_either: FastAPI) -> None:
    clients = [page_client(app_on_either) for _ in range(2)]
    addresses = [send(client, "jobs", a_list(1 + 1000 * n)) for n, client in enumerate(clients)]
    with ThreadPoolExecutor(2) as pool:
        pages = list(pool.map(keep_file, clients, addresses))
    assert all(f"✓ Taken in: {LINES} new" in text_of(page) for page in pages)
    with transaction(app_on_either.state.database) as session:
        for table in (tables.Customer, tables.Site, tables.Visit):
            ids = session.exec(select(table.id)).all()
            assert len(ids) == 2 * LINES
            assert all(re.fullmatch("[CSJ]-[0-9]{4}", one) for one in ids), ids


def test_nobody_waits_for_a_long_list_that_is_looked_through_nor_does_it_take_a_number(
    app_on_either: FastAPI, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(taking, "AT_ONCE", 4)
    office, other = page_client(app_on_either), signed_in(app_on_either, Role.office)
    other.headers.update(JSON)
    sold, take, jobs = sale(other), taking.take, list[str]()

    def take_and_sell(*given: Any, **named: Any) -> taking.TableTaken:
        done = take(*given, **named)
        with ThreadPoolExecutor(1) as pool:  # the trial is not over yet
            jobs.append(pool.submit(lambda: made(other.post("/visits", json=sold.visit()))["id"]).result(timeout=20))
        return done

    monkeypatch.setattr(taking, "take", take_and_sell)
    page = text_of(office.get(send(office, "jobs", a_list())).text)
    assert f"{LINES} rows: {LINES} new" in page, page
    assert "Customer 1, 555-0001, 1 Mill Lane" in page
    assert not re.search(r"\b[JC]-[a-z0-9]+", page), page  # a number is given when the row is kept
    jobs.append(made(other.post("/visits", json=sold.visit()))["id"])
    assert numbers({jobs[1]}) == [numbers({jobs[0]})[0] + 1]
    with transaction(app_on_either.state.database) as session:
        assert len(session.exec(select(tables.Visit.id)).all()) == 2
