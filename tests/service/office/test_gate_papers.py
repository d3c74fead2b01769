"""Papers of gates: kept as files, shown and opened where the gate is, taken away and put back."""

from __future__ import annotations

import io
import re

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from PIL import ExifTags, Image
from sqlmodel import select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from api.ledger.kept_files import MOST_BYTES
from api.office import papers
from tests.service.cast import JSON, for_pages, signed_in
from tests.service.day.test_photos import picture, with_place
from tests.service.office.test_set_up import make, text_of

JOB = "J-1048"
PDF = b"%PDF-1.7\n1 0 obj << >> endobj\ntrailer << >>\n%%EOF\n"


@pytest.fixture
def office(posted: FastAPI) -> TestClient:
    return for_pages(posted, Role.office)


def a_gate(client: TestClient, app: FastAPI, what: str = "building permit") -> int:
    make(client, "gates", visit_id=JOB, what=what)
    with transaction(app.state.database) as session:
        return session.exec(select(tables.Gate.id).where(tables.Gate.what == what)).one() or 0


def sent(
    client: TestClient, gate: int, data: bytes, name: str = "permit.pdf", to: str = "papers", **more: str
) -> tuple[int, str]:
    """Send a file to a gate; return status and text."""
    files = {"file": (name, data, "application/octet-stream")}
    answer = client.post(f"/gates/{gate}/{to}", files=files, data={"job": JOB, **more}, follow_redirects=False)
    return answer.status_code, text_of(answer.text)


def test_a_gate_is_closed_with_its_paper_which_both_pages_show_and_open(posted: FastAPI, office: TestClient) -> None:
    gate = a_gate(office, posted)
    assert sent(office, gate, PDF, "C:\\scans\\Permit 77.pdf", "closed", paper="BP-77")[0] == 303
    for address in (f"/gates?job={JOB}", f"/jobs/{JOB}"):
        page = office.get(address).text
        (link,) = set(re.findall(r'href="(/gate-papers/[0-9]+)">Permit 77\.pdf<', page))
        assert "BP-77" in text_of(page)
    answer = office.get(link)
    assert (answer.content, answer.headers["content-type"]) == (PDF, "application/pdf")
    assert answer.headers["content-disposition"].startswith("inline")
    assert "Permit" in answer.headers["content-disposition"]
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert "olive filed the gate paper" in text_of(office.get(f"/jobs/{JOB}").text)
    for role, status in ((Role.reader, 200), (Role.lead, 404)):
        assert signed_in(posted, role).get(link).status_code == status
    assert signed_in(posted, Role.reader).post(f"{link}/taken-away").status_code == 403


def test_a_paper_is_kept_while_its_gate_stays_open(posted: FastAPI, office: TestClient) -> None:
    gate = a_gate(office, posted)
    assert sent(office, gate, PDF)[0] == 303
    page = office.get("/gates").text
    assert "permit.pdf" in page
    assert "1 gate is open" in text_of(page)
    assert office.post(f"/gates/{gate}/closed", data={"paper": "BP-1"}, follow_redirects=False).status_code == 303


def test_a_form_whose_file_was_left_empty_closes_the_gate_and_keeps_none(posted: FastAPI, office: TestClient) -> None:
    gate = a_gate(office, posted)
    empty = (
        b'--x\r\nContent-Disposition: form-data; name="paper"\r\n\r\nBP-1\r\n'
        b'--x\r\nContent-Disposition: form-data; name="file"; filename=""\r\n'
        b"Content-Type: application/octet-stream\r\n\r\n\r\n--x--\r\n"
    )
    headers = {"content-type": "multipart/form-data; boundary=x"}
    asked = office.post(f"/gates/{gate}/papers", content=empty, headers=headers)
    assert asked.status_code == 422, text_of(asked.text)
    assert "file : is missing" in text_of(asked.text)
    done = office.post(f"/gates/{gate}/closed", content=empty, headers=headers, follow_redirects=False)
    assert done.status_code == 303
    with transaction(posted.state.database) as session:
        assert session.get_one(tables.Gate, gate).state == "closed"
        assert not session.exec(select(tables.GatePaper)).all()


def test_a_photo_of_a_paper_loses_where_it_was_taken(posted: FastAPI, office: TestClient) -> None:
    gate = a_gate(office, posted)
    answer = office.post(f"/gates/{gate}/papers", files={"file": ("letter", with_place(), "")}, headers=JSON)
    assert answer.status_code == 201, answer.text
    told = answer.json()
    assert (told["media_type"], told["name"]) == ("image/jpeg", "letter.jpg")
    kept = office.get(told["address"]).content
    assert b"SECRET-PHONE" not in kept
    assert Image.open(io.BytesIO(kept)).getexif()[ExifTags.Base.Orientation] == 6


def test_the_same_file_twice_is_one_paper_and_both_gates_may_have_it(posted: FastAPI, office: TestClient) -> None:
    gate, other = a_gate(office, posted), a_gate(office, posted, "landlord")
    for _ in range(2):
        assert sent(office, gate, PDF)[0] == 303
    assert sent(office, other, PDF, "the same.pdf")[0] == 303
    with transaction(posted.state.database) as session:
        assert sorted(row.gate_id for row in session.exec(select(tables.GatePaper))) == [gate, other]
    assert len(list((posted.state.settings.data / "papers").iterdir())) == 1


REFUSED = {
    "a page": (b"<html><script>alert(1)</script>", 415, "no PDF file and no JPEG"),
    "a table": (b"PK\x03\x04" + b"x" * 100, 415, "no PDF file and no JPEG"),
    "nothing": (b"", 415, "no PDF file and no JPEG"),
    "cut off": (b"%PDF-1.7\n" + b"x" * 5000, 415, "cut off"),
    "a broken picture": (picture()[:200], 415, "cannot be read"),
    "too large": (b"%PDF-1.7\n" + b"x" * MOST_BYTES + b"%%EOF", 413, "more than 12 MB"),
}


@pytest.mark.parametrize("what", sorted(REFUSED))
def test_anything_else_is_refused_in_a_sentence_and_leaves_nothing_behind(
    posted: FastAPI, office: TestClient, what: str
) -> None:
    data, status, words = REFUSED[what]
    gate = a_gate(office, posted)
    for to in ("papers", "closed"):
        answer = sent(office, gate, data, to=to)
        assert answer[0] == status
        assert words in answer[1]
    with transaction(posted.state.database) as session:
        assert session.get_one(tables.Gate, gate).state == "open"
        assert not session.exec(select(tables.GatePaper)).all()
    assert not list(posted.state.settings.data.glob("papers/*"))


def test_a_gate_has_so_many_papers_at_most(
    posted: FastAPI, office: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(papers, "MOST", 2)
    gate = a_gate(office, posted)
    answers = [sent(office, gate, PDF + b"\n" * n) for n in range(3)]
    assert [status for status, _ in answers] == [303, 303, 409]
    assert "A gate has at most 2 files" in answers[2][1]


def test_a_paper_is_taken_away_and_put_back_and_its_gate_stays_while_it_is_there(
    posted: FastAPI, office: TestClient
) -> None:
    gate = a_gate(office, posted)
    sent(office, gate, PDF)
    row = f"/set-up/gates/row?key={gate}"
    mark = re.search(r'name="mark" value="([^"]*)"', office.get(row).text)
    assert mark
    gone = {"do": "delete", "mark": mark[1], "visit_id": JOB, "what": "building permit", "state": "open"}
    kept = office.post(row, data=gone, follow_redirects=False)
    assert kept.status_code == 409
    assert "1 files belong to it" in text_of(kept.text)
    page = office.get(f"/gates?job={JOB}").text
    (away,) = re.findall(r'action="(/gate-papers/[0-9]+/taken-away)"', page)
    assert office.post(away, data={"job": JOB}, follow_redirects=False).status_code == 303
    page = office.get(f"/gates?job={JOB}").text
    assert "taken away by olive" in text_of(page)
    assert "permit.pdf" not in office.get(f"/jobs/{JOB}").text.partition("History")[0].partition("<h2")[0]
    (back,) = re.findall(r'action="(/gate-papers/[0-9]+/put-back)"', page)
    assert office.post(back, data={"job": JOB}, follow_redirects=False).status_code == 303
    assert away in office.get(f"/gates?job={JOB}").text
    told = text_of(office.get(f"/jobs/{JOB}").text)
    assert "olive took away the gate paper" in told
    assert "olive put back the gate paper" in told
    office.post(away, data={"job": JOB})
    assert office.post(row, data=gone, follow_redirects=False).status_code == 303


def test_a_paper_whose_file_is_missing_says_so(posted: FastAPI, office: TestClient) -> None:
    gate = a_gate(office, posted)
    sent(office, gate, PDF)
    (link,) = re.findall(r'href="(/gate-papers/[0-9]+)"', office.get(f"/gates?job={JOB}").text)
    for file in (posted.state.settings.data / "papers").iterdir():
        file.unlink()
    answer = office.get(link)
    assert answer.status_code == 404
    assert "restore it from a backup" in text_of(answer.text)
