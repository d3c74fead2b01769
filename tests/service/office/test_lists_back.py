"""What a list made is taken back in one go: all of it while nothing rests on it, or none, and what does is said."""

from __future__ import annotations

import datetime
import re
from collections.abc import Callable
from typing import Any

import pytest
import sqlalchemy as sa
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import SQLModel, select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from tests.service.cast import JSON, for_pages, signed_in
from tests.service.office.test_set_up import keep_file, make, send, text_of

HEADS = (
    "Customer,Phone,Address,Town,Kind,What is wrong,Model,Width,Projection,Weight,Box length,Yard,"
    "Booked crew,Appointment date,Appointment time"
)
LINES = [
    f"Customer {n},555-{n:04},{n} Mill Lane,Marl,{'repair' if n % 2 else 'install'},squeaks,"
    f"{',,,,,' if n % 2 else 'Tern,14 ft,10 ft,119 lb,14 ft,north'}"
    f",{'north-1,4/29/2027,9:00' if n == 1 else ',,'}"
    for n in range(1, 7)
]
A_LIST = "\n".join([HEADS, *LINES]).encode()
# What a list leaves: that it was there, how files of its shape are read, and where its addresses are.
STAYS = {
    "history", "chain_link", "taken_list", "sent_file", "file_shape", "job_number", "sign_in", "kept_answer",
    "place_answer", "account",
}  # fmt: skip


@pytest.fixture
def office(posted: FastAPI) -> TestClient:
    return for_pages(posted, Role.office)


def rows(app: FastAPI) -> dict[str, list[Any]]:
    with transaction(app.state.database) as session:
        return {
            table.name: sorted(map(repr, session.execute(sa.select(table)).all()))
            for table in SQLModel.metadata.sorted_tables
            if table.name not in STAYS
        }


def taken(app: FastAPI, client: TestClient, data: bytes = A_LIST, kind: str = "jobs") -> tuple[str, list[list[str]]]:
    """Take a list in; return where it is taken back, and what it made."""
    page = text_of(keep_file(client, send(client, kind, data)))
    assert "0 refused" in page, page
    with transaction(app.state.database) as session:
        row = session.exec(select(tables.TakenList).order_by(sa.desc("id"))).first()
        assert row is not None
        return f"/set-up/{kind}/lists/{row.id}/taken-back", row.made


def test_all_that_a_list_made_goes_and_nothing_else(posted: FastAPI, office: TestClient) -> None:
    make(office, "usual-gates", kind="install", what="deposit paid")
    before = rows(posted)
    back, made = taken(posted, office)
    assert sorted({table for table, _ in made}) == ["awnings", "customers", "orders", "sites", "visits"]
    with transaction(posted.state.database) as session:
        (told,) = session.exec(select(tables.Booking).where(tables.Booking.day == datetime.date(2027, 4, 29)))
        assert ["visits", told.visit_id] in made
    page = office.get("/set-up/jobs").text
    assert f'action="{back}"' in page
    done = office.post(back)
    assert "✓ Taken back: 24 rows of list.csv are gone." in text_of(office.get(done.headers["location"]).text)
    assert rows(posted) == before
    page = office.get("/set-up/jobs").text
    assert "taken back by olive" in text_of(page)
    assert f'action="{back}"' not in page
    again = office.post(back)
    assert (again.status_code, "was taken back already" in text_of(again.text)) == (409, True)
    assert office.get("/weeks/2027-04-12", follow_redirects=True).status_code == 200
    back, _ = taken(posted, office)
    assert signed_in(posted, Role.reader).post(back).status_code == 403
    assert office.post(back.replace("/jobs/", "/people/")).status_code == 404


def later(app: FastAPI, row: SQLModel) -> None:
    with transaction(app.state.database) as session:
        session.add(row)


NOW = datetime.datetime(2027, 4, 9, 12, tzinfo=datetime.UTC)
RESTS: dict[str, tuple[Callable[[str], SQLModel], str]] = {
    "a promise": (
        lambda job: tables.Booking(visit_id=job, crew_id="north-1", day=NOW.date(), start=540, hold="day", told_at=NOW),
        "promises to the customer",
    ),
    "a photo": (
        lambda job: tables.Photo(visit_id=job, shows="wall", media_type="image/png", bytes=4, sha256="a" * 64,
                                 taken_at=NOW, taken_by="x"),
        "photos",
    ),
    "a closed gate": (lambda job: tables.Gate(visit_id=job, what="permit", state="closed"), "gates worked on"),
    "a change by hand": (
        lambda job: tables.History(at=datetime.datetime(2099, 1, 1, tzinfo=datetime.UTC), by="olive", did="changed",
                                   noun="visit", noun_id=job, detail={"note": ["", "x"]}),
        "was changed since",
    ),
}  # fmt: skip


@pytest.mark.parametrize("what", sorted(RESTS))
def test_what_rests_on_a_list_is_named_and_keeps_all_of_it(posted: FastAPI, office: TestClient, what: str) -> None:
    back, made = taken(posted, office)
    job = next(key for table, key in made if table == "visits")
    row, words = RESTS[what]
    later(posted, row(job))
    before = rows(posted)
    answer = office.post(back)
    assert answer.status_code == 409
    shown = text_of(answer.text)
    assert "This list cannot be taken back." in shown
    assert job in shown
    assert words in shown
    assert rows(posted) == before
    told = office.post(back, headers=JSON).json()
    assert len(told["resting"]) == 1
    assert told["resting"][0].startswith(job)


def test_another_job_of_a_customer_from_the_list_keeps_it(posted: FastAPI, office: TestClient) -> None:
    back, made = taken(posted, office)
    site = next(key for table, key in made if table == "sites")
    later(posted, tables.Visit(id="J-9999", kind="survey", site_id=site))  # type: ignore[call-arg]
    answer = office.post(back)
    assert (answer.status_code, f"{site}: visits" in text_of(answer.text)) == (409, True)


def test_what_was_deleted_meanwhile_keeps_nothing(posted: FastAPI, office: TestClient) -> None:
    back, made = taken(posted, office)
    job = next(key for table, key in reversed(made) if table == "visits")
    with transaction(posted.state.database) as session:
        session.delete(session.get_one(tables.Visit, job))
    assert office.post(back, headers=JSON).json() == {"deleted": 23}


def test_a_list_of_people_is_taken_back_too(posted: FastAPI, office: TestClient) -> None:
    before = rows(posted)
    back, made = taken(posted, office, b"Name,Role,Yard\nLea Quill,lead,north\nBo Reed,helper,north\n", "people")
    assert [table for table, _ in made] == ["people", "people"]
    assert office.post(back).status_code == 303
    assert rows(posted) == before


def test_a_table_taken_in_as_it_went_out_is_taken_back_on_its_page(posted: FastAPI, office: TestClient) -> None:
    before = rows(posted)
    text = "customer,name,phone,email,note\nC-9001,Lea Quill,555-0101,,\nC-9002,Bo Reed,555-0102,,\n"
    sent = {"file": ("customers.csv", text)}
    assert office.post("/exchange/imports", files=sent, data={"run": "keep"}).status_code == 200
    action = re.search(r'action="(/set-up/tables/lists/[0-9]+/taken-back)"', office.get("/exchange").text)
    assert action
    done = office.post(action[1])
    assert done.headers["location"].startswith("/exchange?")
    assert "Taken back: 2 rows of customers.csv" in text_of(office.get(done.headers["location"]).text)
    assert rows(posted) == before
