"""An install of two days: it is finished, signed for, under warranty and told as done with its last day alone."""

from __future__ import annotations

import csv
import datetime
import html
import io
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import col, select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from api.day.content import day_sheet_pdf
from api.hand_over.warranty import warranty_of
from api.jobs.taken_away import taken_away
from api.learning.done import done_jobs
from api.ledger.days.day_rows import days_of, in_rows, is_finished
from api.ledger.history import note
from tests.conftest import BuiltDemo
from tests.service.cast import PAGE, for_pages
from tests.service.day.day_cast import AT, CREW, DAY, HOME, MORNING, Jobs, on_the_morning, phone, post, post_day
from tests.service.day.test_hand_over import sign, words_of, work
from tests.service.office.test_days_in_a_row import make_days
from tests.service.office.test_entry import form_of
from tests.service.office.test_set_up import text_of
from tests.steps import CHECKS


@pytest.fixture
def day(built: BuiltDemo, tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[FastAPI, Jobs, str]]:
    """The install of the posted day in two days, and the id of the second of them."""
    folder = tmp_path_factory.mktemp("several") / "posted"
    jobs = post_day(built.out, folder)
    with on_the_morning(folder) as app:
        office = desk(app)
        status, page = make_days(office, jobs.install, days="2", minutes="330")
        assert status == 409, text_of(page)
        kept = office.post(f"/jobs/{jobs.install}/days", data=form_of(page), follow_redirects=False)
        assert kept.status_code == 303
        with transaction(app.state.database) as session:
            _, second = days_of(session, session.get_one(tables.Visit, jobs.install))
            assert in_rows(session) >= {jobs.install, second.id}
        yield app, jobs, second.id


def desk(app: FastAPI) -> TestClient:
    return for_pages(app, Role.office)


def second_day(app: FastAPI, jobs: Jobs, second: str) -> None:
    """Have the second day posted as well: for the test on the same date, after the first."""
    with transaction(app.state.database) as session:
        post(session, {CREW: [(jobs.install, 480, 700), (second, 720, 940)]})


def go_on(app: FastAPI, jobs: Jobs) -> str:
    """Have the posted repair go on with the posted install, as its second day does; return it."""
    with transaction(app.state.database) as session:
        hung, then = (session.get_one(tables.Visit, one) for one in (jobs.install, jobs.repair))
        then.site_id, then.awning_id, then.work_id = hung.site_id, hung.awning_id, "repair"
        session.add(tables.VisitFollows(first_id=hung.id, then_id=then.id, min_days=1, max_days=1))
        note(session, MORNING, "test", "changed", "visit", then.id, {})
    return jobs.repair


def told_done(app: FastAPI) -> dict[str, dict[str, str]]:
    text = desk(app).get(f"/weeks/{DAY}/done.csv").text
    return {row["Job"]: row for row in csv.DictReader(io.StringIO(text.lstrip("\ufeff")))}


def finish(crew: TestClient, visit: str) -> None:
    """Tell a later day of the install, which goes on as a repair, to be done."""
    for step in CHECKS["repair"]:
        assert crew.post(f"{HOME}/steps", json={"at": AT, "visit": visit, "step": step}).status_code == 200
    told = crew.post(f"{HOME}/results", json={"at": AT, "visit": visit, "outcome": "done", "start": 720, "end": 940})
    assert told.status_code == 201, told.text


def test_it_is_done_with_its_last_day(day: tuple[FastAPI, Jobs, str]) -> None:
    app, jobs, second = day
    crew = phone(app)
    with transaction(app.state.database) as session:
        repair = session.get_one(tables.Visit, jobs.repair)
        repair.fault = f"bulb as at {jobs.install}"
        note(session, MORNING, "test", "changed", "visit", repair.id, {})
    page = crew.get(HOME, headers=PAGE).text
    assert f"Bulb as at {jobs.install}." in text_of(page)  # not j-1048
    stop = page.split(f'id="stop-{jobs.install}"')[1].split("</section>")[0]
    assert f"the customer signs on the last of them, {second}" in text_of(stop)
    assert "data-pad" not in stop
    assert "day 1 of 2" in text_of(stop)
    refused = sign(crew, jobs.install)
    assert refused.status_code == 422
    assert f"{jobs.install} is not the last day of its job: the customer signs on that, {second}" in refused.text
    work(crew, jobs.install)
    one = told_done(app)[jobs.install]
    assert (one["Outcome"], one["What was left or not in order"].split(";")[0]) == (
        "partly", f"day 1 of 2 of {jobs.install}"
    )  # fmt: skip
    awning = one["Awning"]
    with transaction(app.state.database) as session:
        assert not is_finished(session, session.get_one(tables.Visit, jobs.install))
        assert warranty_of(session, awning) is None
    for visit in (jobs.install, second):
        words = words_of(desk(app).get(f"/jobs/{visit}/hand-over.pdf").content)
        assert "Begun Mon Apr 12, 2027, and not finished yet" in words
        assert "Hung on" not in words

    second_day(app, jobs, second)
    signed = sign(crew, second)
    assert signed.status_code == 200, signed.text
    for visit in (jobs.install, second):
        assert "✓ Signed by Ana Quill" in text_of(desk(app).get(f"/jobs/{visit}").text)
    finish(crew, second)
    rows = told_done(app)
    last = rows[second]
    assert (last["Outcome"], last["Kind"], last["Signed by"]) == ("done", "install", "Ana Quill")
    assert last["What was left or not in order"] == f"day 2 of 2 of {jobs.install}"
    assert rows[jobs.install]["Outcome"] == "partly"
    with transaction(app.state.database) as session:
        assert is_finished(session, session.get_one(tables.Visit, jobs.install))
        warranty = warranty_of(session, awning)
        assert warranty is not None
        assert warranty.begun_on == DAY
        assert jobs.install not in {job.visit_id for job in done_jobs(session)}  # half an install teaches none
    for visit in (jobs.install, second):
        words = words_of(desk(app).get(f"/jobs/{visit}/hand-over.pdf").content)
        assert "Hung on Mon Apr 12, 2027" in words
        assert "Ana Quill" in words
        assert "12 degrees, as the customer wished" in words  # of the first day
    page = text_of(desk(app).get(f"/jobs/{jobs.install}").text)
    assert "✓ Signed by Ana Quill" in page


def test_nobody_signs_while_an_earlier_day_is_open(day: tuple[FastAPI, Jobs, str]) -> None:
    app, jobs, second = day
    second_day(app, jobs, second)
    crew = phone(app)
    refused = sign(crew, second)
    assert refused.status_code == 422
    assert f"not done yet: {jobs.install}. The customer signs once they are" in refused.text
    page = text_of(desk(app).get(f"/jobs/{jobs.install}").text)
    assert f"Nobody has signed for it yet: the customer signs on the last of its days, {second}" in page


def test_an_awning_is_gone_when_the_last_day_has_taken_it_away(day: tuple[FastAPI, Jobs, str]) -> None:
    app, jobs, _ = day
    with transaction(app.state.database) as session:
        hung = session.get_one(tables.Visit, jobs.install)
        work_id = session.exec(select(tables.WorkKind.id).where(col(tables.WorkKind.takes_away))).first()
        days = [
            tables.Visit(id=name, kind="repair", work_id=work_id, site_id=hung.site_id, awning_id=hung.awning_id)
            for name in ("J-9001", "J-9002")
        ]
        session.add_all(days)
        session.flush()
        session.add(tables.VisitFollows(first_id="J-9001", then_id="J-9002", min_days=1, max_days=1))
        days[0].state = "done"
        note(session, MORNING, "test", "made", "visit", "J-9001", {})
        session.flush()
        assert hung.awning_id not in taken_away(session)
        days[1].state = "done"
        session.flush()
        assert hung.awning_id in taken_away(session)


def test_a_later_day_has_the_wall_of_the_install_it_goes_on_with(built: BuiltDemo, tmp_path: Path) -> None:
    jobs = post_day(built.out, tmp_path / "posted")
    with on_the_morning(tmp_path / "posted") as app:
        second = go_on(app, jobs)
        with transaction(app.state.database) as session:
            content = day_sheet_pdf(session, CREW, DAY, MORNING)
        crew = phone(app)
        page = crew.get(HOME, headers=PAGE).text
        drawings = [crew.get(f"{HOME}/drawings/{one}") for one in (jobs.install, second)]
    panels = {one: page.split(f'id="stop-{one}"')[1].split("</section>")[0] for one in (jobs.install, second)}
    table = 'role="region" aria-label="Drill schedule'
    first, later = (text_of(panels[one].split(table)[1].split("</table>")[0]) for one in panels)
    assert first.replace(jobs.install, second) == later
    serious = re.findall(r'<li class="(?:stop|caution)">(.*?)</li>', panels[jobs.install], re.S)
    assert serious
    assert all(text in panels[second] for text in serious)
    assert f"Drawn for {jobs.install}, which this goes on with" in text_of(panels[second])
    assert f"{HOME}/drawings/{second}" in panels[second]
    assert [one.status_code for one in drawings] == [200, 200]
    assert drawings[0].text == drawings[1].text
    assert content is not None
    paper = re.sub(r"\s+", "", words_of(content)).partition(f"{second}:")[2]
    assert [text for text in serious if re.sub(r"\s+", "", html.unescape(text)) not in paper] == []


def test_a_day_on_which_the_crew_stays_is_kept_on_its_phone_too(day: tuple[FastAPI, Jobs, str]) -> None:
    page = desk(day[0]).get(f"/crews/{CREW}/days/{DAY + datetime.timedelta(days=1)}").text
    assert "This crew does not go out on this day." in page
    assert 'id="kept"' in page  # where the script says so


@pytest.mark.slow
def test_the_second_days_page_and_packet_show_the_wall_that_the_first_was_drawn_for(
    day: tuple[FastAPI, Jobs, str],
) -> None:
    app, jobs, second = day
    office = desk(app)
    first, page = (html.unescape(office.get(f"/jobs/{one}").text) for one in (jobs.install, second))
    drawn = re.compile(r'<figure class="wall".*?</figure>', re.DOTALL)
    dangers = re.compile(r'<section aria-labelledby="findings">.*?</section>', re.DOTALL)
    assert drawn.findall(first)
    assert drawn.findall(page) == drawn.findall(first)
    assert dangers.findall(page) == dangers.findall(first)
    assert f'Goes on with <a href="/jobs/{jobs.install}">{jobs.install}</a>' in page
    assert "no drilling" not in page
    assert f"Goes on with {jobs.install}" not in first
    said = {one: words_of(office.get(f"/jobs/{one}/packet.pdf").content) for one in (jobs.install, second)}
    drilled = re.compile(r"Drill schedule.*?Positions are to the middle of each bracket", re.DOTALL)
    assert drilled.findall(said[jobs.install])
    assert drilled.findall(said[second]) == drilled.findall(said[jobs.install])
    assert f"Goes on with {jobs.install}" in said[second]
