"""/jobs/{visit}: a job's page tells its whole story, reads only what is its own, and shows each what is theirs."""

from __future__ import annotations

import datetime
import html
import shutil
import threading
from collections.abc import Iterator
from typing import Any

import pytest
import sqlalchemy as sa
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from scheduler.plan import read_plan
from tests.conftest import BuiltDemo
from tests.service.cast import PAGE, by_link, running, settings_for, signed_in
from tests.service.posted import post_the_plan

JOB = "J-1046"
AT = datetime.datetime(2027, 4, 9, 15, 5, tzinfo=datetime.UTC)


@pytest.fixture(scope="module")
def demo(built: BuiltDemo, tmp_path_factory: pytest.TempPathFactory) -> Iterator[FastAPI]:
    out = shutil.copytree(built.out, tmp_path_factory.mktemp("job") / "out")
    with running(settings_for(out)) as app:
        yield app


@pytest.fixture
def office(demo: FastAPI) -> TestClient:
    return signed_in(demo, Role.office)


def page_of(client: TestClient, job: str = JOB) -> str:
    answer = client.get(f"/jobs/{job}", headers=PAGE)
    assert answer.status_code == 200
    return html.unescape(answer.text)


def test_the_page_leads_to_survey_bench_packet_and_drawing(office: TestClient) -> None:
    text = page_of(office)
    for address in ("survey", "packet.pdf", "drawing.svg?page=1", "drawing.svg?page=2"):
        assert f'href="/jobs/{JOB}/{address}"' in text
    assert f'href="/bench/{JOB}"' in text
    for words in ("Lifting:", "built 1924", "Local codes", "soft ground behind the house", "Mon-Fri 8:00-17:00"):
        assert words in text, words


def test_what_was_told_done_and_photographed_stands_there(demo: FastAPI, office: TestClient) -> None:
    with transaction(demo.state.database) as session:
        session.add(tables.Message(visit_id=JOB, to_name="P", subject="A new day", body="Dear <P>,\nTuesday.",
                                   state="told", how="e-mail", made_at=AT, made_by="olive", told_at=AT))  # fmt: skip
        session.add(tables.DayResult(visit_id=JOB, crew_id="north-1", day=AT.date(), start=480, end=600,
                                     outcome="partly", why="rain", noted_at=AT, noted_by="lorn"))  # fmt: skip
        session.add(tables.Photo(visit_id=JOB, shows="wall", caption="left corner", media_type="image/png", bytes=1,
                                 sha256="0", taken_at=AT, taken_by="lorn"))  # fmt: skip
    answer = office.get(f"/jobs/{JOB}", headers=PAGE).text
    text = html.unescape(answer)
    for words in ("✓ told Fri Apr 9, 10:05 by e-mail", "◐ partly done", "rain", "left corner", "noted by lorn"):
        assert words in text, words
    assert "Dear &lt;P&gt;" in answer
    link = by_link(demo, "north-1", datetime.date(2027, 4, 12))
    assert link.get(f"/jobs/{JOB}", headers=PAGE).status_code == 404  # nothing is posted for that crew


def test_the_history_of_a_job_and_its_things_is_told_in_words(office: TestClient) -> None:
    visit = office.get(f"/visits/{JOB}").json()
    body = {name: value for name, value in visit.items() if name not in ("id", "version")}
    assert office.put(f"/visits/{JOB}", json={**body, "due_on": "2027-04-20", "note": "key at the neighbour's"},
                      headers={"If-Match": "*"}).status_code == 200  # fmt: skip
    site = office.get(f"/sites/{visit['site_id']}").json()
    values = {name: value for name, value in site.items() if name not in ("id", "version")}
    office.put(f"/sites/{site['id']}", json={**values, "storeys": 3}, headers={"If-Match": "*"})
    text = page_of(office)
    assert "olive changed the visit: due on from Fri Apr 16 to Tue Apr 20; note from nothing to “key at the" in text
    assert f"olive changed the site {site['id']}: storeys from {site['storeys']} to 3" in text


def test_other_visits_to_the_site_are_named(demo: FastAPI, office: TestClient) -> None:
    with transaction(demo.state.database) as session:
        follow = session.execute(sa.text("SELECT first_id, then_id FROM visit_follows LIMIT 1")).one()
    assert f'href="/jobs/{follow.then_id}"' in page_of(office, follow.first_id)


def test_readers_and_leads_see_no_buttons_that_are_not_theirs(demo: FastAPI) -> None:
    with transaction(demo.state.database) as session:
        plan = post_the_plan(session)
        account = session.exec(select(tables.Account).where(tables.Account.role == Role.lead)).one()
        route = read_plan(plan.plan).routes[0]
        account.crew_id, own = route.crew, route.stops[0].job
        session.add(account)
    reader, lead = page_of(signed_in(demo, Role.reader)), page_of(signed_in(demo, Role.lead), own)
    assert "Keep the photo" not in reader
    assert "Keep the photo" in lead
    assert f'href="/bench/{JOB}"' in reader
    assert "Count it" not in reader
    assert ("Count it" in lead) == ("Count it" in page_of(signed_in(demo, Role.office), own))
    assert 'id="calendar"' not in reader + lead


def test_the_page_reads_by_key_whatever_else_there_is(demo: FastAPI, office: TestClient) -> None:
    """No read of a table that grows with the jobs goes without a condition, a limit, or one end of its key."""
    growing = {"visit", "site", "customer", "sales_order", "awning", "maker_part", "site_survey", "bench_count",
               "short", "booking", "visit_hours", "prepared", "history", "photo", "message", "day_result"}  # fmt: skip
    seen: list[str] = []
    page_of(office)  # what a process keeps once it was read does not depend on which tests ran before

    def listen(_conn: Any, _cursor: Any, statement: str, *_: Any) -> None:
        if threading.current_thread().name.startswith("AnyIO"):  # the page's own, not what keepers read beside it
            seen.append(statement)

    sa.event.listen(demo.state.database, "before_cursor_execute", listen)
    page_of(office)
    sa.event.remove(demo.state.database, "before_cursor_execute", listen)
    assert 5 < len(seen) < 70
    for statement in seen:
        table = statement.partition("FROM ")[2].split()[:1]
        bounded = any(word in statement for word in ("WHERE", "LIMIT", "max("))
        assert not table or table[0] not in growing or bounded, statement


@pytest.mark.parametrize("job", ["J-0000", "%00", "x" * 300])
def test_an_unknown_job_is_404_everywhere(office: TestClient, job: str) -> None:
    for address in (f"/jobs/{job}", f"/jobs/{job}/drawing.svg", f"/jobs/{job}/survey"):
        assert office.get(address, headers=PAGE).status_code == 404
