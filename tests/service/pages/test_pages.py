"""The first pages: the week sheet and each job's page."""

from __future__ import annotations

import shutil
import xml.etree.ElementTree as ET
from collections.abc import Iterator

import pytest
from fastapi.testclient import TestClient

from api.access.accounts import Role
from api.weeksheet import PILES
from scheduler.documents import convert
from scheduler.engine.reasons.skipped import CODES
from scheduler.layout.documents import Finding, Layout
from scheduler.layout.drawing.cautions import sort_out
from scheduler.plan import read_plan
from tests.conftest import BuiltDemo
from tests.service.cast import PAGE, running, settings_for, signed_in


@pytest.fixture(scope="module")
def client(built: BuiltDemo, tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    out = shutil.copytree(built.out, tmp_path_factory.mktemp("pages") / "out")
    with running(settings_for(out)) as app:
        yield signed_in(app, Role.reader)


def test_home_leads_to_the_week_planned_last(client: TestClient) -> None:
    answer = client.get("/", follow_redirects=False)
    assert (answer.status_code, answer.headers["location"]) == (303, "/weeks/2027-04-12")


def test_without_a_plan_home_says_what_to_do(tmp_path_factory: pytest.TempPathFactory) -> None:
    out = tmp_path_factory.mktemp("empty")
    with running(settings_for(out)) as app:
        client = signed_in(app, Role.reader)
        assert 'href="/begin"' in client.get("/").text
        assert client.get("/weeks/2027-04-12").status_code == 404
        assert client.get("/jobs/J-1042").status_code == 422


def test_the_week_sheet_shows_every_planned_stop_and_every_waiting_job(client: TestClient) -> None:
    text = client.get("/weeks/2027-04-12").text
    plan = read_plan(client.get("/weeks/2027-04-12", headers={"accept": "application/json"}).content)
    stops = [stop for route in plan.routes for stop in route.stops]
    for stop in stops:
        assert f"{stop.start // 60}:{stop.start % 60:02}–{stop.end // 60}:{stop.end % 60:02}" in text
        assert f'href="/jobs/{stop.job}"' in text
    for skipped in plan.skipped:
        assert f'id="visit-{skipped.job}"' in text
        assert f'<span class="id">{skipped.job}</span>' in text
    assert len(stops) + len(plan.skipped) == 62
    assert f"<b>{len(stops)}</b> planned" in text
    assert f"<b>{len(plan.skipped)}</b> waiting" in text
    assert "Open and count" in text
    assert "Wall says stop" in text
    assert "no installs" in text  # the windy Wednesday


def test_the_week_sheet_has_crews_down_and_days_across(client: TestClient) -> None:
    text = client.get("/weeks/2027-04-12").text
    for crew in ("Bramwith", "Veldt", "Rask-Orme", "Corranby", "Yarrowleigh"):
        assert f"<b>{crew}</b>" in text
    assert text.count("<td data-part=") == 5 * 6


def test_a_job_page_shows_drawing_findings_and_kit(client: TestClient) -> None:
    text = client.get("/jobs/J-1046").text
    assert "<svg" in text
    assert "Kit: short" in text
    assert "short 1" in text
    assert "expected Wed Apr 14" in text
    assert "stepladder 8 ft" in text
    assert "Stale" not in text


def test_a_job_page_answers_first_and_folds_what_is_the_same_on_most_walls(client: TestClient) -> None:
    text = client.get("/jobs/J-1042").text
    papers = client.get("/jobs/J-1042", headers={"accept": "application/json"}).json()
    findings = convert(papers["layout"]["findings"], tuple[Finding, ...], "findings")  # type: ignore[arg-type]
    glance = text.partition('<dl class="glance">')[2].partition("</dl>")[0]
    assert [words for words in ("When", "Kit", "Wall", "On site") if f"<dt>{words}</dt>" not in glance] == []
    settle = text.partition('id="findings"')[2].partition("</section>")[0]
    at_once, _, folded = settle.partition("<details>")
    found = sort_out(findings)
    assert at_once.count("<li") == min(5, len(found.stops) + len(found.special))
    assert at_once.count("<li") + folded.count("<li") == len(findings)
    assert f"{len(found.stops) + len(found.special)} things to settle" in glance


def test_a_wall_with_many_stops_shows_five_and_says_how_many_more_stop_the_work(
    client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    stops = [Finding("stop", "edge", f"Bracket {n} is too near the edge.") for n in range(7)]
    monkeypatch.setattr("api.routes.jobs.jobs.sort_out", lambda findings: sort_out([*stops, *findings]))
    settle = client.get("/jobs/J-1042").text.partition('id="findings"')[2].partition("</section>")[0]
    at_once, _, folded = settle.partition("<details>")
    assert at_once.count("■ stop") == at_once.count("<li") == 5
    assert folded.count("■ stop") == 2
    assert "■ 2 of them stop the work too" in folded


@pytest.mark.parametrize(("job", "words"), [("J-1076", "survey"), ("J-1088", "cloth sags"), ("J-1049", "Brick veneer")])
def test_jobs_without_a_kit_have_a_page_too(client: TestClient, job: str, words: str) -> None:
    answer = client.get(f"/jobs/{job}")
    assert answer.status_code == 200
    assert words in answer.text
    assert "Kit:" not in answer.text


def test_the_drawing_and_the_documents_come_alone(client: TestClient) -> None:
    drawing = client.get("/jobs/J-1046/drawing.svg")
    assert drawing.headers["content-type"] == "image/svg+xml"
    assert ET.fromstring(drawing.text).tag == "{http://www.w3.org/2000/svg}svg"
    papers = client.get("/jobs/J-1046", headers={"accept": "application/json"}).json()
    assert set(papers) == {"id", "kind", "survey", "layout", "kit", "duration", "stale", "falls"}
    assert set(papers["layout"]) == set(Layout.__struct_fields__)
    assert client.get("/jobs/J-1076/drawing.svg").status_code == 404


@pytest.mark.parametrize("address", ["/jobs/J-9999", "/weeks/2030-01-07", "/nothing"])
def test_what_is_not_there_is_told_as_a_page_or_as_json(client: TestClient, address: str) -> None:
    answer = client.get(address, headers=PAGE)
    assert answer.status_code == 404
    assert answer.headers["content-type"].startswith("text/html")
    assert "There is no such page" in answer.text
    assert client.get(address, headers={"accept": "application/json"}).json()["status"] == 404


def test_every_because_of_the_engine_has_a_title_on_the_pile() -> None:
    assert set(CODES) <= set(PILES)
