"""/jobs: the list in parts, narrowed by kind, state, kit, town, because and words; and quick among many jobs."""

from __future__ import annotations

import datetime
import shutil
from collections.abc import Iterator
from typing import Any

import pytest
import sqlalchemy as sa
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import col, select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from api.jobs.listed import JobsWanted, jobs_list, places
from scheduler.plan import read_plan
from tests.conftest import BuiltDemo
from tests.service.cast import JSON, PAGE, by_link, running, settings_for, signed_in


@pytest.fixture(scope="module")
def demo(built: BuiltDemo, tmp_path_factory: pytest.TempPathFactory) -> Iterator[FastAPI]:
    out = shutil.copytree(built.out, tmp_path_factory.mktemp("jobs") / "out")
    with running(settings_for(out)) as app:
        yield app


@pytest.fixture(scope="module")
def client(demo: FastAPI) -> TestClient:
    return signed_in(demo, Role.reader)


def listed(client: TestClient, **asked: Any) -> list[dict[str, Any]]:
    answer = client.get("/jobs", params={"limit": 200, **asked}, headers=JSON)
    assert answer.status_code == 200, answer.text
    items: list[dict[str, Any]] = answer.json()["items"]
    return items


def test_all_open_jobs_come_in_parts_each_once(client: TestClient, demo: FastAPI) -> None:
    with transaction(demo.state.database) as session:
        expected = sorted(session.exec(select(tables.Visit.id).where(tables.Visit.state == "open")))
    found: list[str] = []
    after = ""
    while after is not None:
        part = client.get("/jobs", params={"limit": 7, "after": after}, headers=JSON).json()
        assert len(part["items"]) <= 7
        found += [item["id"] for item in part["items"]]
        after = part["next"]
    assert found == expected


def test_conditions_of_kits_agree_with_the_jobs_own_pages(client: TestClient) -> None:
    for condition in ("uncounted", "short", "verified"):
        items = listed(client, kit=condition)
        assert items
        assert all(item["kit"] == condition and item["kind"] == "install" for item in items)
    short = {item["id"] for item in listed(client, kit="short")}
    assert "J-1046" in short
    assert "Kit: short" in client.get("/jobs/J-1046", headers=PAGE).text
    assert short == {item["id"] for item in listed(client, kind="install") if item["kit"] == "short"}
    assert listed(client, kit="loaded") == []


def test_a_kit_that_is_loaded_is_found(client: TestClient, demo: FastAPI) -> None:
    job = listed(client, kit="verified")[0]["id"]
    with transaction(demo.state.database) as session:
        session.add(tables.KitState(visit_id=job, loaded_on=datetime.date(2027, 4, 12), loaded_by="Ida"))
    assert [item["id"] for item in listed(client, kit="loaded")] == [job]
    with transaction(demo.state.database) as session:
        session.delete(session.get_one(tables.KitState, job))


def test_where_jobs_stand_is_as_planned_and_why_others_wait(client: TestClient, demo: FastAPI) -> None:
    with transaction(demo.state.database) as session:
        plan = read_plan(session.exec(select(tables.StoredPlan.plan)).one())
    stops = {stop.job: (route.crew, stop.start) for route in plan.routes for stop in route.stops}
    items = listed(client)
    assert {i["id"]: (i["where"]["crew"], i["where"]["start"]) for i in items if i["where"]} == stops
    assert not any(item["where"]["posted"] for item in items if item["where"])
    waiting = {skipped.job: [one.code for one in skipped.because] for skipped in plan.skipped}
    assert {i["id"]: [one["code"] for one in i["waiting"]] for i in items if i["waiting"]} == waiting
    for code in {code for codes in waiting.values() for code in codes}:
        assert {i["id"] for i in listed(client, because=code)} == {
            job for job, codes in waiting.items() if code in codes
        }


def test_a_posted_week_goes_before_a_newer_plan(client: TestClient, demo: FastAPI) -> None:
    with transaction(demo.state.database) as session:
        old = session.exec(select(tables.StoredPlan)).one()
        at = datetime.datetime(2027, 4, 9, tzinfo=datetime.UTC)
        posted = tables.PostedWeek(start_date=old.start_date, plan_id=old.id or 0, posted_at=at, posted_by="maud")
        session.add(posted)
        session.flush()
        assert {where.posted for where in places(session).stops.values()} == {True}
        posted.withdrawn_at = at
        session.flush()
        assert {where.posted for where in places(session).stops.values()} == {False}


def test_words_kind_state_and_town_narrow_together(client: TestClient) -> None:
    assert {item["kind"] for item in listed(client, kind="survey")} == {"survey"}
    assert listed(client, state="done") == []
    assert len(listed(client, state="any")) == len(listed(client))
    here = listed(client, town="Tallow Bend")
    assert {item["town"] for item in here} == {"Tallow Bend"}
    assert [item["id"] for item in listed(client, words="perrin BRACK", kind="install")] == ["J-1046"]
    assert [item["id"] for item in listed(client, words="J-1046 brackwater")] == ["J-1046"]
    assert listed(client, words="brackwater", town="Quillby") == []
    assert listed(client, words="%") == listed(client, words="100_") == []


@pytest.mark.parametrize("asked", [{"kind": "party"}, {"kit": "lost"}, {"limit": 0}, {"words": "x" * 121}])
def test_what_no_job_can_be_is_refused(client: TestClient, asked: dict[str, Any]) -> None:
    assert client.get("/jobs", params=asked, headers=JSON).status_code == 422


def test_the_page_keeps_what_was_asked_and_leads_on(client: TestClient) -> None:
    text = client.get("/jobs?kind=install&limit=3", headers=PAGE).text
    assert '<option value="install" selected>' in text
    assert 'href="/jobs?kind=install&amp;after=' in text
    assert "No job is like that" in client.get("/jobs?words=nobody-at-all", headers=PAGE).text
    assert "Open and count (" in text


def test_a_day_link_sees_no_list(demo: FastAPI) -> None:
    assert by_link(demo, "north-1", datetime.date(2027, 4, 12)).get("/jobs", headers=JSON).status_code == 403


@pytest.fixture(scope="module")
def many(demo: FastAPI) -> FastAPI:
    """The demo with ten thousand jobs beside its own, most of them done, each install with its counted kit."""
    with demo.state.database.begin() as connection:
        sites = connection.execute(sa.select(tables.Site.__table__)).mappings().all()  # type: ignore[attr-defined]
        n = range(10_000)
        visits = [
            {"id": f"K-{i:05}", "kind": "install" if i % 4 else "repair", "site_id": sites[i % len(sites)]["id"],
             "order_id": None, "awning_id": f"B-{i:05}" if i % 4 else None, "state": "open" if i % 10 == 0 else "done",
             "skills": [], "fault": "", "note": "", "version": 1}
            for i in n
        ]  # fmt: skip
        order = connection.execute(sa.select(col(tables.Order.id))).scalar()
        hung = [v["awning_id"] for v in visits if v["awning_id"]]
        sizes = {"model": "hood", "width_mm": 4000, "projection_mm": 3000, "weight_kg": 60, "box_mm": 4300, "boxes": 1}
        awnings = [{"id": a, "order_id": order, **sizes, "cloth": "", "yard_id": "north", "version": 1} for a in hung]
        parts = [{"awning_id": a, "item": item, "quantity": 2} for a in hung for item in ("awning", "bracket", "hood")]
        counts = [
            {"visit_id": v["id"], "item": part, "counted": 2, "damaged": 0, "counted_on": datetime.date(2027, 4, 1),
             "counted_by": "Ida"}
            for v in visits if v["awning_id"] for part in ("awning", "bracket", "hood")
        ]  # fmt: skip
        for table, rows in (
            (tables.Awning, awnings), (tables.Visit, visits), (tables.MakerPart, parts), (tables.BenchCount, counts),
        ):  # fmt: skip
            connection.execute(sa.insert(table.__table__), rows)  # type: ignore[attr-defined]
    return demo


def test_among_ten_thousand_jobs_no_part_reads_them_all(many: FastAPI) -> None:
    """Rows are counted as SQLite hands them over: far more than any part takes, far fewer than there are."""
    for asked in (
        JobsWanted(), JobsWanted(state="open"), JobsWanted(words="saddler 41"),
        JobsWanted(kit="verified"), JobsWanted(kit="short"),
        JobsWanted(kit="uncounted"),
        JobsWanted(kind="install", state="done", town="Cobbet"), JobsWanted(because="uncounted"),
    ):  # fmt: skip
        with transaction(many.state.database) as session:
            standing = places(session)
            read = [0]

            def count(_: object, row: tuple[object, ...], read: list[int] = read) -> tuple[object, ...]:
                read[0] += 1
                return row

            driver: Any = session.connection().connection.dbapi_connection
            driver.row_factory = count
            try:
                lines, _ = jobs_list(session, asked, standing, None, 50)
            finally:
                driver.row_factory = None
            assert lines
            assert len(lines) < read[0] < 2_000, asked
