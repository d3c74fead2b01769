"""The hand-over: signed on the phone, its sheet on paper and by mail, warranty, callbacks, what a week has done."""

from __future__ import annotations

import csv
import datetime
import io
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import pypdf
import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from hypothesis import given
from hypothesis import strategies as st
from sqlmodel import select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from api.fields.addresses.mail import Server
from api.hand_over.warranty import months_after
from tests.conftest import BuiltDemo
from tests.service.cast import PAGE, signed_in
from tests.service.day.day_cast import AT, CREW, DAY, HOME, Jobs, history, on_the_morning, phone, post_day
from tests.service.office.test_set_up import text_of
from tests.service.postbox import SENDER, Postbox
from tests.steps import CHECKS

LINES = [[[10, 20], [300, 210], [700, 90]], [[500, 50]]]


def sign(client: TestClient, visit: str, name: str | None = "Ana Quill", **more: Any) -> Any:
    body = {"at": AT, "visit": visit, "strokes": LINES} | ({"name": name} if name is not None else {}) | more
    return client.post(f"{HOME}/signatures", json=body)


def work(client: TestClient, visit: str, outcome: str = "done", **more: Any) -> None:
    """Sign every step of an install, one with a note, and tell what became of it."""
    for step in CHECKS["install"]:
        note = "12 degrees, as the customer wished" if step == "pitch" else ""
        done = client.post(f"{HOME}/steps", json={"at": AT, "visit": visit, "step": step, "note": note})
        assert done.status_code == 200, done.text
    body = {"at": AT, "visit": visit, "outcome": outcome, "start": 540, "end": 775, **more}
    assert client.post(f"{HOME}/results", json=body).status_code == 201


def words_of(data: bytes) -> str:
    return " ".join(" ".join(sheet.extract_text() for sheet in pypdf.PdfReader(io.BytesIO(data)).pages).split())


def test_the_customers_signature_is_kept_as_lines_and_shown_and_taken_back(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    crew = phone(app)
    answer = sign(crew, jobs.install)
    assert answer.status_code == 200, answer.text
    assert answer.json() == {"visit": jobs.install, "signed_by": "Ana Quill"}
    assert crew.get(f"{HOME}/state").json()["signatures"][jobs.install]["name"] == "Ana Quill"
    with transaction(app.state.database) as session:
        (row,) = session.exec(select(tables.Signature)).all()
        assert row.strokes == LINES
        assert set(tables.Signature.model_fields) == {"visit_id", "day", "crew_id", "name", "at", "taken_by", "strokes"}
    office = signed_in(app, Role.office)
    page = office.get(f"/jobs/{jobs.install}", headers=PAGE).text
    assert "✓ Signed by Ana Quill" in text_of(page)
    assert 'd="M10 20L300 210 700 90M500 50L500 50"' in page
    assert "✓ Ana Quill" in text_of(crew.get(HOME, headers=PAGE).text)
    sign(crew, jobs.install, "Bo Quill")
    with transaction(app.state.database) as session:
        assert [row.name for row in session.exec(select(tables.Signature))] == ["Bo Quill"]
    assert sign(crew, jobs.install, signed=False).json()["signed_by"] is None
    assert crew.get(f"{HOME}/state").json()["signatures"] == {}
    assert [did for did, noun, _ in history(app, "visit")] == ["handed over", "handed over", "took back"]


@pytest.mark.parametrize(
    ("body", "where", "words"),
    [
        ({"name": None}, "name", "must say who signed"),
        ({"name": ""}, "name", ""),
        ({"strokes": []}, "strokes", "nothing was written"),
        ({"strokes": [[[5, 5]]]}, "strokes", "nothing was written"),
        ({"strokes": [[[5, 5], [1001, 5]]]}, "strokes", "must stay within 1000 by 400, has a point at 1001, 5"),
        ({"strokes": [[[5, 5], [-1, 5]]]}, "strokes", "must stay within 1000 by 400"),
        ({"strokes": [[[n % 1000, 0] for n in range(4000)]] * 2}, "strokes", "has more than 6000 points"),
        ({"strokes": [[[1]]]}, "strokes", ""),
    ],
)
def test_what_is_no_signature_is_refused_and_keeps_nothing(
    day: tuple[FastAPI, Jobs], body: dict[str, Any], where: str, words: str
) -> None:
    app, jobs = day
    answer = sign(phone(app), jobs.install, **body)
    assert answer.status_code == 422
    assert where in str(answer.json())
    assert words in answer.json()["detail"]
    with transaction(app.state.database) as session:
        assert session.exec(select(tables.Signature)).all() == []


def test_a_repair_is_not_handed_over_and_others_do_not_sign(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    assert "customers sign for an install" in sign(phone(app), jobs.repair).json()["detail"]
    assert sign(phone(app), jobs.others).status_code == 404
    assert sign(signed_in(app, Role.reader), jobs.install).status_code == 403
    assert phone(app).get(f"/jobs/{jobs.others}/hand-over.pdf").status_code == 404


def test_a_signature_sent_twice_by_a_phone_counts_once(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    crew, key = phone(app), {"Idempotency-Key": "one-signature-1"}
    body = {"at": AT, "visit": jobs.install, "name": "Ana Quill", "strokes": LINES}
    one, other = (crew.post(f"{HOME}/signatures", json=body, headers=key) for _ in range(2))
    assert one.json() == other.json()
    assert [did for did, _, _ in history(app, "visit")] == ["handed over"]


def test_the_sheet_says_what_hangs_how_it_is_set_and_until_when_it_is_warranted(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    crew = phone(app)
    with transaction(app.state.database) as session:
        business = session.get_one(tables.Business, 1)
        business.phone, business.warranty_months = "555-0100", 30
        awning = session.get_one(tables.Awning, session.get_one(tables.Visit, jobs.install).awning_id)
        model, town = awning.model, business.name
    before = words_of(crew.get(f"/jobs/{jobs.install}/hand-over.pdf").content)
    assert "Not hung yet" in before
    assert "The warranty begins with the day on which the work is finished" in before
    sign(crew, jobs.install)
    work(crew, jobs.install)
    answer = crew.get(f"/jobs/{jobs.install}/hand-over.pdf")
    assert answer.headers["content-type"] == "application/pdf"
    paper = words_of(answer.content)
    for words in (model, "Hung on Mon Apr 12, 2027", "Pitch 12 degrees, as the customer wished", "Ana Quill",
                  "began on Mon Apr 12, 2027 and ends on Fri Oct 12, 2029",
                  "555-0100", town, "spring load"):  # fmt: skip
        assert words in paper, words
    page = text_of(signed_in(app, Role.office).get(f"/jobs/{jobs.install}", headers=PAGE).text)
    assert "Warranty since Mon Apr 12, 2027; it ends Fri Oct 12, 2029 ." in page
    assert "No callbacks since." in page
    assert crew.get(f"/jobs/{jobs.repair}/hand-over.pdf").status_code == 404


def test_work_left_begins_no_warranty_until_it_is_done(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    crew, office = phone(app), signed_in(app, Role.office)
    work(crew, jobs.install, "partly", why="ran out of time", left_min=60)
    page = text_of(office.get(f"/jobs/{jobs.install}", headers=PAGE).text)
    assert "The warranty begins on the day on which the awning hangs for good." in page
    with transaction(app.state.database) as session:
        rest = next(r.follow_on for r in session.exec(select(tables.DayResult)) if r.follow_on)
        visit = session.get_one(tables.Visit, rest)
        visit.state = "done"
        later = DAY + datetime.timedelta(days=3)
        session.add(tables.DayResult(visit_id=rest, crew_id=CREW, day=later, start=480, end=540, outcome="done",
                                     noted_at=datetime.datetime(2027, 4, 15, tzinfo=datetime.UTC),
                                     noted_by="lorn"))  # fmt: skip
    page = text_of(office.get(f"/jobs/{jobs.install}", headers=PAGE).text)
    assert "Warranty since Thu Apr 15, 2027" in page
    assert "No callbacks since." in page  # what was left of the install is none


def test_a_callback_stands_on_the_page_of_the_job(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    work(phone(app), jobs.install)
    with transaction(app.state.database) as session:
        hung = session.get_one(tables.Visit, jobs.install)
        session.add(tables.Visit(id="J-9001", kind="repair", site_id=hung.site_id, awning_id=hung.awning_id,  # type: ignore[call-arg]
                                 fault="squeaks"))  # fmt: skip
    page = text_of(signed_in(app, Role.office).get(f"/jobs/{jobs.install}", headers=PAGE).text)
    assert "1 callback since: J-9001 open: squeaks under warranty" in page


def test_the_sheet_is_mailed_to_the_customer(built: BuiltDemo, tmp_path: Path, postbox: tuple[Postbox, Server]) -> None:
    jobs = post_day(built.out, tmp_path / "posted")
    with on_the_morning(tmp_path / "posted") as app:
        app.state.settings = replace(app.state.settings, smtp=postbox[1], mail_from=SENDER)
        with transaction(app.state.database) as session:
            visit = session.get_one(tables.Visit, jobs.install)
            customer = session.get_one(tables.Customer, session.get_one(tables.Site, visit.site_id).customer_id)
            customer.email = "ana@quill.example"
        office = signed_in(app, Role.office)
        answer = office.post(f"/jobs/{jobs.install}/hand-over/mail", headers=PAGE, follow_redirects=True)
        assert "✓ Sent to ana@quill.example." in text_of(answer.text)
        (letter,) = postbox[0].letters
        (paper,) = list(letter.iter_attachments())
        assert paper.get_filename() == f"hand-over-{jobs.install}.pdf"
        assert "Not hung yet" in words_of(paper.get_content())
        assert office.post(f"/jobs/{jobs.repair}/hand-over/mail").status_code == 404


def test_what_was_done_in_a_week_is_a_table_for_invoicing(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    crew, office = phone(app), signed_in(app, Role.office)
    sign(crew, jobs.install)
    work(crew, jobs.install)
    not_done = {"at": AT, "visit": jobs.repair, "outcome": "not_done", "why": "nobody at home"}
    assert crew.post(f"{HOME}/results", json=not_done).status_code == 201
    answer = office.get("/weeks/2027-04-14/done.csv")  # any day of the week
    assert answer.headers["content-disposition"] == 'attachment; filename="done-2027-04-12.csv"'
    (line,) = csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"), newline=""))
    assert (line["Day"], line["Job"], line["Minutes"], line["Signed by"]) == (
        "2027-04-12", jobs.install, "235", "Ana Quill"
    )  # fmt: skip
    assert line["What was left or not in order"] == "pitch: 12 degrees, as the customer wished"
    assert line["Begun"] == "9:00"
    assert re.match("J-|O", line["Order"] or "O")
    assert len(list(csv.reader(io.StringIO(office.get("/weeks/2027-04-19/done.csv").text)))) == 1


@given(st.dates(datetime.date(2000, 1, 1), datetime.date(2100, 1, 1)), st.integers(0, 600))
def test_months_are_added_as_people_count_them(day: datetime.date, months: int) -> None:
    after = months_after(day, months)
    assert (after.year * 12 + after.month) - (day.year * 12 + day.month) == months
    assert after.day == day.day or (after.day < day.day and (after + datetime.timedelta(days=1)).day == 1)
