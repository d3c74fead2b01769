"""Orders to makers: the late ones first, a changed day that moves the crate and is said before, the paper, the mail."""

from __future__ import annotations

import datetime
import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
import sqlalchemy as sa
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import Session, col, select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from api.fields.addresses.mail import Server
from api.ledger.told import told_now
from api.maker.orders import order_list
from api.week.run.planning import prepare_week
from tests.conftest import BuiltDemo
from tests.service.cast import for_pages, running, settings_for
from tests.service.office.test_entry import form_of
from tests.service.office.test_set_up import text_of
from tests.service.postbox import Postbox

NOW = datetime.datetime(2027, 4, 8, 21, tzinfo=datetime.UTC)
TODAY = datetime.date(2027, 4, 8)
MONDAY = datetime.date(2027, 4, 12)
SENDER = "Tallow Bend office <office@tallow.example>"


@pytest.fixture
def maker(built: BuiltDemo, tmp_path: Path, postbox: tuple[Postbox, Server]) -> Iterator[FastAPI]:
    """The demo with a mail server."""
    settings = settings_for(shutil.copytree(built.out, tmp_path / "data"))
    with running(replace(settings, smtp=postbox[1], mail_from=SENDER)) as app:
        app.state.clock = lambda: NOW
        yield app


@pytest.fixture
def office(maker: FastAPI) -> TestClient:
    return for_pages(maker, Role.office)


def uncounted(session: Session) -> tables.Visit:
    """Return an install whose crate nobody has counted."""
    counted = select(tables.BenchCount.visit_id)
    wanted = select(tables.Visit).where(
        tables.Visit.kind == "install", tables.Visit.state == "open", col(tables.Visit.id).not_in(counted)
    )
    return session.exec(wanted.order_by(tables.Visit.id)).first()  # type: ignore[return-value]


def order_of(office: TestClient, awning: str, **cells: str) -> str:
    """Write an order down by its form; return its address."""
    form = form_of(office.get(f"/maker-orders/new?awning={awning}").text)
    assert form["awning_id"] == awning
    answer = office.post("/maker-orders/new", data=form | cells, follow_redirects=False)
    assert answer.status_code == 303, text_of(answer.text)
    return answer.headers["location"].partition("?")[0]


def change(office: TestClient, address: str, **cells: str) -> tuple[int, str]:
    form = form_of(office.get(address).text)
    answer = office.post(address, data=form | cells, follow_redirects=False)
    return answer.status_code, text_of(answer.text)


def arrives(app: FastAPI, awning: str) -> datetime.date | None:
    with transaction(app.state.database) as session:
        return session.get_one(tables.Awning, awning).arrives_on


def test_the_promised_day_is_the_crates_and_a_changed_one_moves_what_waits_for_it(
    maker: FastAPI, office: TestClient
) -> None:
    with transaction(maker.state.database) as session:
        visit = uncounted(session)
        job, awning = visit.id, visit.awning_id or ""
    address = order_of(office, awning, maker="Fenwright", sent_on="2027-03-01", promised_on="2027-04-15")
    assert arrives(maker, awning) == datetime.date(2027, 4, 15)
    because = prepare_week(maker.state.database, MONDAY, NOW).built.because[job]
    assert "The crate is expected on Thu Apr 15: count it then." in [why.detail for why in because]
    status, page = change(office, address, changed_to="2027-04-22", anyway="yes")
    assert status == 303, page
    assert arrives(maker, awning) == datetime.date(2027, 4, 22)
    because = prepare_week(maker.state.database, MONDAY, NOW).built.because[job]
    assert "The crate is expected on Thu Apr 22: count it then." in [why.detail for why in because]
    shown = text_of(office.get(f"/jobs/{job}").text)
    assert "promised for Thu Apr 22, first Thu Apr 15" in shown
    assert "changed to from nothing to Thu Apr 22" in shown  # the history
    assert "arrives on from Thu Apr 15 to Thu Apr 22" in shown
    assert "changed to" in text_of(office.get(address).text)


def test_a_day_that_breaks_a_promise_is_said_before_it_is_kept(maker: FastAPI, office: TestClient) -> None:
    with transaction(maker.state.database) as session:
        visit = uncounted(session)
        job, awning = visit.id, visit.awning_id or ""
        session.execute(sa.update(tables.Booking).where(col(tables.Booking.visit_id) == job).values(withdrawn_at=NOW))
        crew = session.exec(select(tables.Crew.id)).first() or ""
        session.add(tables.Booking(visit_id=job, crew_id=crew, day=datetime.date(2027, 4, 20), start=540, hold="day"))
        session.get_one(tables.Awning, awning).arrives_on = datetime.date(2027, 4, 9)
    address = order_of(office, awning, sent_on="2027-03-01", confirmed_on="2027-03-02", promised_on="2027-04-09")
    status, page = change(office, address, changed_to="2027-04-21")
    assert status == 409
    assert f"▲ {job} is promised for Tue Apr 20, and its crate will not be here by then" in page
    assert arrives(maker, awning) == datetime.date(2027, 4, 9)
    form = form_of(office.get(address).text) | {"changed_to": "2027-04-21"}
    again = form_of(office.post(address, data=form).text)
    assert again["anyway"] == "yes"
    assert again["changed_to"] == "2027-04-21"
    assert office.post(address, data=again, follow_redirects=False).status_code == 303
    assert arrives(maker, awning) == datetime.date(2027, 4, 21)
    assert "1 comes too late for a promise" in text_of(office.get("/maker-orders").text)
    with transaction(maker.state.database) as session:
        assert told_now(session, job) is not None  # the promise itself stays: the office tells the customer
    assert change(office, address, changed_to="2027-04-19")[0] == 303  # better news needs no second look


def test_the_late_ones_come_first_the_longest_first(maker: FastAPI, office: TestClient) -> None:
    with transaction(maker.state.database) as session:
        awnings = list(session.exec(select(tables.Awning.id).order_by(tables.Awning.id)))[:6]
        days = ["2027-04-20", "2027-04-05", None, "2027-03-20", "2027-04-12", "2027-03-30"]
        for awning, day in zip(awnings, days, strict=True):
            session.add(
                tables.MakerOrder(awning_id=awning, what="cloth", sent_on=datetime.date(2027, 3, 1),
                                  promised_on=datetime.date.fromisoformat(day) if day else None)
            )  # fmt: skip
        session.add(tables.MakerOrder(awning_id=awnings[5], what="arm", sent_on=TODAY, came_on=TODAY))
    with transaction(maker.state.database) as session:
        found = [(one.order.awning_id, one.standing, one.late_days) for one in order_list(session, TODAY)]
    a, b, c, d, e, f = awnings
    assert found == [
        (d, "late", 19), (f, "late", 9), (b, "late", 3), (c, "no day", 0), (e, "unconfirmed", 0), (a, "unconfirmed", 0),
        (f, "came", 0),
    ]  # fmt: skip
    page = text_of(office.get("/maker-orders").text)
    assert "▲ 3 are late." in page
    assert "▲ 19 days late" in page


def test_what_came_is_to_be_counted_at_the_bench(maker: FastAPI, office: TestClient) -> None:
    with transaction(maker.state.database) as session:
        visit = uncounted(session)
        job, awning = visit.id, visit.awning_id or ""
    address = order_of(office, awning, sent_on="2027-03-01", promised_on="2027-04-30", anyway="yes")
    answer = office.post(f"{address}/came", follow_redirects=True)
    assert "✓ It has come today. Count its crate at the bench." in text_of(answer.text)
    assert f'href="/bench/{job}"' in answer.text
    assert arrives(maker, awning) == TODAY
    because = prepare_week(maker.state.database, MONDAY, NOW).built.because[job]
    assert "uncounted" in [why.code for why in because]
    assert job in office.get("/bench").text


def test_a_crate_that_is_counted_early_has_come_and_so_has_its_order(maker: FastAPI, office: TestClient) -> None:
    with transaction(maker.state.database) as session:
        visit = uncounted(session)
        job, awning = visit.id, visit.awning_id or ""
    order_of(office, awning, sent_on="2027-03-01", promised_on="2027-04-30", anyway="yes")
    assert office.post(f"/bench/{job}/counts", follow_redirects=True).status_code == 200
    with transaction(maker.state.database) as session:
        (order,) = session.exec(select(tables.MakerOrder)).all()
        assert order.came_on == TODAY


@pytest.mark.parametrize(
    ("cells", "field", "words"),
    [
        ({"awning_id": "A-none"}, "awning_id", 'no awning has the id "A-none"'),
        ({"sent_on": "2027-04-01", "promised_on": "2027-03-01"}, "promised_on", "must not come before the order was"),
        ({"confirmed_on": "2027-04-01"}, "sent_on", "must say when it was sent"),
        ({"changed_to": "2027-04-01"}, "promised_on", "must say which day was promised first"),
        ({"email": "nobody"}, "email", "must be an e-mail address"),
        ({"what": ""}, "what", "must not be empty"),
    ],
)
def test_what_cannot_stand_is_told_beside_its_field(
    maker: FastAPI, office: TestClient, cells: dict[str, str], field: str, words: str
) -> None:
    with transaction(maker.state.database) as session:
        awning = session.exec(select(tables.Awning.id)).first() or ""
    form = form_of(office.get(f"/maker-orders/new?awning={awning}").text) | cells
    answer = office.post("/maker-orders/new", data=form)
    assert answer.status_code == 422
    assert f'id="{field}-fault"' in answer.text
    assert words in text_of(answer.text)
    with transaction(maker.state.database) as session:
        assert session.exec(select(tables.MakerOrder)).all() == []


def test_an_order_is_mailed_with_its_paper_and_counts_as_sent(
    maker: FastAPI, office: TestClient, postbox: tuple[Postbox, Server]
) -> None:
    with transaction(maker.state.database) as session:
        awning = uncounted(session).awning_id or ""
    address = order_of(office, awning, maker="Fenwright", email="orders@fenwright.example")
    postbox[0].refusal = "451 try later"
    page = text_of(office.post(f"{address}/mail", follow_redirects=True).text)
    assert "▲ It was not sent. The mail server answered 451: try later" in page
    assert "○ Not sent yet." in page
    postbox[0].refusal = ""
    page = text_of(office.post(f"{address}/mail", follow_redirects=True).text)
    assert "✓ Sent to orders@fenwright.example." in page
    (letter,) = postbox[0].letters
    assert letter["To"] == "Fenwright <orders@fenwright.example>"
    (paper,) = list(letter.iter_attachments())
    assert paper.get_filename() == f"order-{awning}.pdf"
    assert paper.get_content().startswith(b"%PDF")
    with transaction(maker.state.database) as session:
        (order,) = session.exec(select(tables.MakerOrder)).all()
        assert order.sent_on == TODAY
        assert [row.state for row in session.exec(select(tables.SentPaper).order_by(tables.SentPaper.id))] == [  # type: ignore[arg-type]
            "failed", "sent"
        ]  # fmt: skip


def test_the_paper_says_what_is_ordered(maker: FastAPI, office: TestClient) -> None:
    with transaction(maker.state.database) as session:
        awning = uncounted(session).awning_id or ""
    answer = office.get(f"{order_of(office, awning)}/order.pdf")
    assert answer.headers["content-type"] == "application/pdf"
    assert answer.content.startswith(b"%PDF")
    assert office.get("/maker-orders/999/order.pdf").status_code == 404
    assert office.post("/maker-orders/999/mail").status_code == 404


def test_a_wall_measured_anew_since_the_order_is_marked(maker: FastAPI, office: TestClient) -> None:
    with transaction(maker.state.database) as session:
        survey = session.exec(select(tables.SiteSurvey).order_by(tables.SiteSurvey.id)).first()
        assert survey is not None
        awning, values = survey.awning_id, survey.model_dump()
    address = order_of(office, awning)
    assert "measured anew" not in office.get(address).text
    with transaction(maker.state.database) as session:
        later = values["surveyed_on"] + datetime.timedelta(days=900)
        session.add(tables.SiteSurvey(**values | {"id": "S-later", "surveyed_on": later}))
    assert "The wall was measured anew since it was ordered" in office.get(address).text
