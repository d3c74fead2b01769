"""Job packets and day sheets as PDF: what stands on them, and that nothing is lost on the way to paper."""

from __future__ import annotations

import datetime
import io
import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import pypdf
import pytest
from fastapi import FastAPI
from sqlmodel import select

from api import tables
from api.access.accounts import Role
from api.cli import main
from api.database import open_database, transaction
from api.day.content import day_content, day_sheet_pdf
from api.fields.wording import PLAIN
from api.jobs.packet import packet_pdf
from api.ledger.plans.days import crew_day
from api.papers.shown.job_page import JobPage, job_page
from scheduler.errors import BadInput
from scheduler.layout.documents import MASONRY
from tests.conftest import BuiltDemo
from tests.service.cast import by_link, running, settings_for, signed_in
from tests.steps import CHECKS

pytestmark = pytest.mark.slow

NOW = datetime.datetime(2027, 4, 8, 20, tzinfo=datetime.UTC)
MONDAY, DAY = datetime.date(2027, 4, 12), datetime.date(2027, 4, 13)


@pytest.fixture(scope="module")
def app(built: BuiltDemo, tmp_path_factory: pytest.TempPathFactory) -> Iterator[FastAPI]:
    out = shutil.copytree(built.out, tmp_path_factory.mktemp("packets") / "out")
    with running(settings_for(out)) as app:
        yield app


def text_of(data: bytes) -> str:
    """Return the text of all pages with single blanks, so that line breaks do not matter."""
    return " ".join(" ".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(data)).pages).split())


def same(text: str) -> str:
    return re.sub(r"\s", "", text)


def job_of(app: FastAPI, visit_id: str) -> JobPage:
    with transaction(app.state.database) as session:
        found = job_page(session, visit_id, NOW)
    assert found is not None
    return found


def packet(app: FastAPI, visit_id: str) -> bytes:
    with transaction(app.state.database) as session:
        data = packet_pdf(session, visit_id, NOW)
    assert data is not None
    return data


def test_a_packet_holds_everything_that_the_job_page_holds(app: FastAPI) -> None:
    data, found = packet(app, "J-1046"), job_of(app, "J-1046")
    text, job = same(text_of(data)), found.job
    assert job.layout is not None
    assert job.kit is not None
    for finding in job.layout.findings:
        assert same(PLAIN.say(finding.text)) in text, finding.code
    for item in job.kit.items:
        assert same(f"{item.quantity} × {item.name}") in text
    assert same("short 1, expected Wed Apr 14") in text
    for words in (found.customer.name, found.customer.phone, found.site.address, found.site.access, *CHECKS["install"]):
        assert same(words) in text
    assert "Couldnotfinish,because" in text
    assert "WalldrawingJ-1046" in text
    for n, bracket in enumerate(job.layout.brackets, 1):
        assert re.search(rf"{n}\d+'.*?\({bracket.wall:.0f}mm\)", text), n


def test_the_wall_drawing_has_a_page_of_its_own_at_true_size(app: FastAPI) -> None:
    pages = pypdf.PdfReader(io.BytesIO(packet(app, "J-1046"))).pages
    wide = [page for page in pages if page.mediabox.width > page.mediabox.height]
    assert len(wide) == 2
    assert float(wide[0].mediabox.width) == pytest.approx(279.4 / 25.4 * 72, abs=0.5)
    first, second = (same(page.extract_text()) for page in wide)
    assert same("Drill schedule") in first
    assert same("page 1 of 2") in first
    assert same("Perrin Brackwater") in first
    assert same("0 is the left end of the deck rail") in first
    assert same("Shade of the open awning") in second
    assert same("page 2 of 2") in second
    assert all(float(page.mediabox.width) == pytest.approx(612, abs=0.5) for page in pages if page not in wide)


def test_a_packet_with_a_stop_says_that_nothing_may_be_drilled(app: FastAPI) -> None:
    text = text_of(packet(app, "J-1049"))
    assert "Brick veneer" in text
    assert "Nothing may be drilled" in text
    assert "Kit:" not in text


@pytest.mark.parametrize(("visit_id", "check"), [("J-1076", CHECKS["survey"][0]), ("J-1088", CHECKS["repair"][0])])
def test_surveys_and_repairs_have_packets_with_checks_of_their_own(app: FastAPI, visit_id: str, check: str) -> None:
    text = text_of(packet(app, visit_id))
    assert check in text
    assert "lift: awning seated" not in text


def test_texts_of_people_are_text_on_paper(app: FastAPI) -> None:
    with transaction(app.state.database) as session:
        site = session.get_one(tables.Site, job_of(app, "J-1076").site.id)
        site.access = '<img src="http://example.org/x.png"> & <b>gate</b>'
    assert same('<img src="http://example.org/x.png"> & <b>gate</b>') in same(text_of(packet(app, "J-1076")))


def test_a_day_sheet_holds_the_day_in_order(app: FastAPI) -> None:
    with transaction(app.state.database) as session:
        day = crew_day(session, "north-1", DAY)
        data = day_sheet_pdf(session, "north-1", DAY, NOW)
    assert data is not None
    assert day is not None
    assert day.cell is not None
    text = text_of(data)
    assert "Not posted" in text
    at = text.index("Stops in order")
    for entry in day.cell.entries:
        found = job_of(app, entry.job)
        at = text.index(entry.job, at)
        for words in (found.site.address, found.customer.phone, found.site.access, f"{entry.drive_min} min drive"):
            assert same(words) in same(text)
        for item in found.job.kit.items if found.job.kit else ():
            assert same(f"{item.quantity} × {item.name}") in same(text)
        if found.hours:
            assert same("Customer’s hours") in same(text)
        for check in CHECKS[found.job.visit.kind]:
            assert same(check) in same(text)
    for tool, count in day.cell.from_pool.items():
        assert f"{count} × {tool}, from the yard's pool" in text
    assert "On the van before it leaves" in text
    assert "go first" in text


def test_a_day_off_and_an_unplanned_week_are_told(app: FastAPI) -> None:
    with transaction(app.state.database) as session:
        data = day_sheet_pdf(session, "north-1", DAY + datetime.timedelta(days=5), NOW)
        assert data is not None
        assert "does not go out on this day" in text_of(data)
        assert day_sheet_pdf(session, "north-1", datetime.date(2030, 1, 7), NOW) is None
        assert day_sheet_pdf(session, "nobody", DAY, NOW) is None
        assert packet_pdf(session, "J-9999", NOW) is None


def test_papers_come_by_address_too(app: FastAPI) -> None:
    reader = signed_in(app, Role.reader)
    answer = reader.get("/jobs/J-1088/packet.pdf")
    assert (answer.status_code, answer.headers["content-type"]) == (200, "application/pdf")
    assert answer.content.startswith(b"%PDF")
    assert reader.get("/jobs/J-9999/packet.pdf").status_code == 404
    assert reader.get("/crews/nobody/days/2027-04-13/day-sheet.pdf").status_code == 404
    phone = by_link(app, "north-1", DAY)
    assert phone.get("/jobs/J-1088/packet.pdf").status_code == 404  # nothing is posted
    assert phone.get("/crews/north-1/days/2027-04-13/day-sheet.pdf").status_code == 200


def test_the_command_line_does_the_same(
    built: BuiltDemo, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    out = shutil.copytree(built.out, tmp_path / "out")
    monkeypatch.setenv("EAVEBOARD_DATA", str(out))

    def run(*args: str) -> int:
        with pytest.raises(SystemExit) as ended:
            main(list(args))
        return int(ended.value.code or 0)

    assert run("packet", "J-1088", "--out", str(tmp_path / "p.pdf")) == 0
    assert run("daysheet", "north-1", "2027-04-13", "--out", str(tmp_path / "d.pdf")) == 0
    assert "J-1088" in text_of((tmp_path / "p.pdf").read_bytes())
    assert (tmp_path / "d.pdf").read_bytes().startswith(b"%PDF")
    assert run("packet", "J-9999", "--out", str(tmp_path / "x.pdf")) == 2
    assert 'no job has the id "J-9999"' in capsys.readouterr().err
    assert not (tmp_path / "x.pdf").exists()
    assert run("export", "--out", str(tmp_path / "all.zip")) == 0
    text = "customer,name,phone,email,note\nC-900,Orrin Thistlewood,,,\n"
    (tmp_path / "customers.csv").write_text(text)
    assert run("import", str(tmp_path / "customers.csv"), "--dry-run") == 0
    told = capsys.readouterr().out
    assert "customers.csv, row 2: new C-900: name “Orrin Thistlewood”" in told
    assert "customers: 1 new, 0 changed, 0 unchanged (nothing kept: a dry run)" in told
    (tmp_path / "bad.csv").write_text(text.replace("C-900", ""))
    assert run("import", str(tmp_path / "bad.csv"), "--table", "customers") == 2
    assert "bad.csv, row 2, customer: must not be empty" in capsys.readouterr().err
    assert run("import", str(tmp_path / "customers.csv")) == 0
    engine = open_database(f"sqlite:///{out / 'eaveboard.sqlite'}")
    with transaction(engine) as session:
        assert session.get(tables.Customer, "C-900") is not None
    engine.dispose()


def test_a_folder_without_a_database_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("EAVEBOARD_DATA", str(tmp_path))
    with pytest.raises(SystemExit):
        main(["export", "--out", str(tmp_path / "x.zip")])
    assert list(tmp_path.iterdir()) == []
    assert BadInput("", "x").problem == "x"


def test_the_wall_is_told_alike_on_day_sheet_and_packet(app: FastAPI) -> None:
    """Its zero, whether a photo shows it, and that members are felt for where it has some: masonry has none."""
    kinds = set[bool]()
    with transaction(app.state.database) as session:
        found = [
            crew_day(session, crew.id, date) for date in (MONDAY, DAY) for crew in session.exec(select(tables.Crew))
        ]
        days = [
            (day.crew.id, day.date, day_content(session, day.stored, day.crew, day.date, NOW)) for day in found if day
        ]
    for crew, date, content in days:
        for stop in content.stops:
            survey, masonry = stop.page.job.survey, None
            if survey is not None and stop.holes:
                masonry = survey.wall.kind in MASONRY
            if survey is None or masonry is None or masonry in kinds:
                continue
            kinds.add(masonry)
            with transaction(app.state.database) as session:
                sheet = text_of(day_sheet_pdf(session, crew, date, NOW) or b"")
            paper = text_of(packet(app, stop.entry.job))
            for text in (sheet, paper):
                assert same(stop.datum) in same(text)
                assert same("No photo shows the zero") in same(text)
                assert same(stop.fastener) in same(text)
            assert (bool(stop.member), same("Probe each") in same(paper)) == (not masonry, not masonry)
            if masonry and survey.wall.cover:
                assert "with the cover" in stop.fastener
    assert kinds == {True, False}
