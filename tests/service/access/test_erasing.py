"""Erasing a customer and giving out what is kept on one: nothing of them is left, and the chain holds."""

from __future__ import annotations

import csv
import datetime
import io
import json
import shutil
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from fastapi import FastAPI
from fastapi.testclient import TestClient
from PIL import Image
from sqlmodel import Session, SQLModel, select

from api import tables
from api.access.accounts import Role
from api.chain import links
from api.customers.erasing import CLEARED, DELETED, TEXTS
from api.customers.gathered import rows_of
from api.database import transaction
from api.settings import Settings
from scheduler.documents import encode
from tests.conftest import BuiltDemo
from tests.service.cast import JSON, PAGE, csrf_in, running, settings_for, signed_in
from tests.service.scripted import SMALL, best

NAME, OLD_PHONE, PHONE, EMAIL = "Odile Marräck", "555-0300", "555-0399", "odile@example.org"
NUMBER = "+13195550399"
PDF = b"%PDF-1.7\n%%EOF\n"
ADDRESS, NOW = "7 Thornfield Lane", datetime.datetime(2027, 4, 8, 20, tzinfo=datetime.UTC)
TELLING = (NAME, OLD_PHONE, PHONE, NUMBER, EMAIL, ADDRESS, "rings twice", "dog bites", "told Odile")
# Texts of what hangs on a customer that say nothing of the person: of the awning, the wall, the work, or staff.
OF_THE_WORK = {
    "awning": {"model", "motor", "cloth"}, "maker_part": {"item"}, "site": {"town"}, "sales_order": {"state"},
    "site_survey": {"document", "surveyed_by"}, "visit": {"kind", "state", "skills", "assist_skills"},
    "gate": {"what", "owner", "state"},
    "booking": {"hold", "told_how"}, "bench_count": {"item", "counted_by"}, "count_line": {"item", "code", "by"},
    "crate_count": {"begun_by", "closed_by", "cloth", "cover"}, "kit_state": {"loaded_by"},
    "case_visit": {"was", "state", "offers", "taken"}, "day_result": {"outcome", "checks", "noted_by"},
    "maker_order": {"what", "maker", "email", "ref"},
    "text_received": {"kind", "seen_by"},
    "message": {"kind", "spot", "state", "how", "fault", "made_by", "told_by", "answered_by"},
    "visit_lock": {"locked_by", "crew_id"},
    "load_tick": {"item", "ticked_by", "crew_id"},
    "reservation": {"item", "state"}, "short": {"item", "supplier", "order_ref"}, "step_done": {"step", "done_by"},
    "site_loss": {"item", "what", "noted_by"}, "stock_move": {"item", "kind", "why", "by"},
    "stop_time": {"what", "noted_by"}, "lift_time": {"what", "noted_by"},
    "sent_paper": {"about", "of_id", "state", "fault", "by"},
    "callback": {"at_cost"}, "stored_awning": {"rack", "state"},
    "day_repair": {"kind", "van", "taken_by", "undone_by"},
    "rain_date": {"equipment", "state", "made_by", "ended_by"},
    "visit_follows": set(), "visit_hours": set(), "customer": set(),
}  # fmt: skip


@pytest.fixture
def manager(app_on_either: FastAPI) -> TestClient:
    app_on_either.state.clock = lambda: NOW
    return signed_in(app_on_either, Role.manager)


@pytest.fixture
def on_sqlite(app: FastAPI) -> TestClient:
    app.state.clock = lambda: NOW
    return signed_in(app, Role.manager)


def picture() -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (8, 8), "green").save(out, "PNG")
    return out.getvalue()


def customer(client: TestClient, app: FastAPI) -> tuple[str, str]:
    """Make a customer with all that may be kept on one, by the service's own doors; return their id and the visit's."""
    made = client.post("/customers", json={"name": NAME, "phone": OLD_PHONE, "email": EMAIL, "note": "rings twice"})
    one, tag = made.json()["id"], made.headers["etag"]
    body = {"name": NAME, "phone": PHONE, "email": EMAIL, "note": "rings twice"}
    assert client.put(f"/customers/{one}", json=body, headers={"If-Match": tag}).status_code == 200
    site = client.post(
        "/sites",
        json={"customer_id": one, "town": "T", "address": ADDRESS, "lat": 41.12345, "lon": -98.54321,
              "access": "dog bites"},
    ).json()["id"]  # fmt: skip
    visit = client.post("/visits", json={"kind": "survey", "site_id": site, "note": "rings twice"})
    assert visit.status_code == 201, visit.text
    job = str(visit.json()["id"])
    shown = client.post(
        f"/jobs/{job}/photos", data={"shows": "wall"}, files={"file": ("a.png", picture(), "image/png")}, headers=JSON
    )
    assert shown.status_code == 201, shown.text
    with transaction(app.state.database) as session:
        gate = tables.Gate(visit_id=job, what="landlord", paper=f"letter of {NAME}", state="closed")
        session.add(gate)
        session.flush()
        number = gate.id
        session.add(
            tables.History(at=NOW, by="olive", did="changed", noun="gate", noun_id=f"{job}, landlord",
                           detail={"paper": ["", "told Odile"]})
        )  # fmt: skip
    letter = client.post(f"/gates/{number}/papers", files={"file": (f"{NAME}.pdf", PDF, "")}, headers=JSON)
    assert letter.status_code == 201, letter.text
    with transaction(app.state.database) as session:
        session.add(
            tables.Message(visit_id=job, to_name=NAME, to_email=EMAIL, subject=f"For {NAME}", body=f"Dear {NAME}",
                           made_at=NOW, made_by="olive", spot=None)
        )  # fmt: skip
        session.add(tables.TextReceived(number=NUMBER, words="rings twice", kind="other", customer_id=one, at=NOW))
        session.add(tables.Signature(visit_id=job, day=NOW.date(), crew_id="north-1", name=NAME, at=NOW, taken_by="x"))
        session.add(
            tables.Booking(visit_id=job, crew_id="north-1", day=NOW.date(), start=540, hold="day", told_at=NOW,
                           told_words="told Odile")
        )  # fmt: skip
        session.add(
            tables.History(at=NOW, by="olive", did="opened", noun="case", noun_id="77",
                           detail={"detail": f"{NAME} called"})
        )  # fmt: skip
    return one, job


def store_week(app: FastAPI, site: str) -> int:
    """Store a week that knows where the customer's house stands to a few meters."""
    week = json.loads(encode(SMALL).decode().replace(f'"{SMALL.jobs[0].place}"', f'"{site}"'))
    (place,) = [one for one in week["places"] if one["id"] == site]
    place |= {"lat": 41.12345, "lon": -98.54321}
    with transaction(app.state.database) as session:
        row = tables.StoredPlan(
            start_date=datetime.date(2019, 1, 7), fingerprint="x", week=json.dumps(week), plan=encode(best()).decode(),
            cost_cents=0, seconds=0.0, made_at=NOW, made_by="olive",
        )  # fmt: skip
        session.add(row)
        session.flush()
        assert row.id is not None
        return row.id


def test_a_stored_week_can_be_changed_in_an_opening_alone(app_on_either: FastAPI, manager: TestClient) -> None:
    number = store_week(app_on_either, "S-9")
    change = sa.update(tables.StoredPlan).where(sa.column("id") == number)

    def try_to(values: dict[str, str], *, opened: bool) -> None:
        with transaction(app_on_either.state.database) as session:
            if opened:
                session.add(tables.LedgerOpening(at=NOW, by="olive", why="test"))
                session.flush()
            session.execute(change.values(**values))

    for values, opened in (({"week": "{}"}, False), ({"plan": "[]"}, False), ({"plan": "[]"}, True)):
        with pytest.raises(sa.exc.DBAPIError, match="stays as it was made"):
            try_to(values, opened=opened)


def close(app: FastAPI, job: str) -> None:
    with transaction(app.state.database) as session:
        session.get_one(tables.Visit, job).state = "done"


def seal(app: FastAPI) -> None:
    with transaction(app.state.database) as session:
        while links.seal(session, NOW, whole=True):
            pass


def told_anywhere(session: Session) -> list[tuple[str, str]]:
    """Return where in the whole database any of the customer's words stands."""
    found = []
    for table in SQLModel.metadata.sorted_tables:
        for row in session.execute(sa.select(table)):
            text = json.dumps([str(value) for value in row], ensure_ascii=False)
            found += [(table.name, word) for word in TELLING if word in text]
    return found


def test_nothing_of_an_erased_customer_is_left_and_the_chain_is_whole(
    app_on_either: FastAPI, manager: TestClient
) -> None:
    app = app_on_either
    one, job = customer(manager, app)
    other = manager.post("/customers", json={"name": "Perrin Oldacre", "phone": "555-0777"}).json()["id"]
    close(app, job)
    with transaction(app.state.database) as session:
        site = session.get_one(tables.Visit, job).site_id
    stored = store_week(app, site)
    seal(app)
    data = app.state.settings.data
    files = [path for folder in ("photos", "papers") for path in (data / folder).iterdir()]
    assert len(files) == 2
    answer = manager.post(f"/customers/{one}/erase", data={"sure": one}, headers=JSON)
    assert answer.status_code == 200, answer.text
    assert [answer.json()[name] for name in ("photos", "papers", "still_named_in")] == [1, 1, []]
    assert not any(path.exists() for path in files)
    seal(app)
    with transaction(app.state.database) as session:
        assert told_anywhere(session) == []
        assert list(links.broken(session)) == []
        assert links.unsealed(session) == 0
        assert session.get_one(tables.Customer, other).name == "Perrin Oldacre"
        assert session.get_one(tables.Site, session.get_one(tables.Visit, job).site_id).lat == 41.1
        week = json.loads(session.get_one(tables.StoredPlan, stored).week)
        (place,) = [one for one in week["places"] if one["id"] == site]
        assert (place["lat"], place["lon"]) == (41.1, -98.5)
        assert len(week["places"]) == len(SMALL.places)
    lines = manager.get("/history", params={"noun": "customer", "noun_id": one}).json()["items"]
    assert [line["did"] for line in lines] == ["erased", "changed", "made"]
    assert lines[1]["detail"] == {"phone": ["erased", "erased"]}
    assert manager.post(f"/customers/{one}/erase", data={"sure": one}, headers=JSON).status_code == 409
    page = manager.get(f"/customers/{one}", headers=PAGE).text
    assert "Erased on" in page
    assert "by maud" in page
    assert "This service makes none by itself" in page
    assert manager.get(f"/jobs/{job}", headers=PAGE).status_code == 200


def test_an_erased_line_that_is_changed_once_more_is_named(app: FastAPI, on_sqlite: TestClient) -> None:
    manager = on_sqlite
    one, job = customer(manager, app)
    close(app, job)
    seal(app)
    assert manager.post(f"/customers/{one}/erase", data={"sure": one}, headers=JSON).status_code == 200
    with transaction(app.state.database) as session:
        line = session.exec(select(tables.ErasedLine)).all()[0]
        number = line.history_id
    for change in (f"UPDATE history SET detail = '{{}}' WHERE id = {number}", "DELETE FROM erased_line"):
        refused = pytest.raises(sa.exc.DatabaseError, match=r"only ever added to|stays as it was made")
        with refused, app.state.database.begin() as connection:
            connection.execute(sa.text(change))
    with app.state.database.begin() as connection:  # in an opening of one's own
        connection.execute(sa.text("INSERT INTO ledger_opening (at, \"by\", why) VALUES ('2027-04-08', 'x', 'x')"))
        connection.execute(sa.text(f"UPDATE history SET detail = '{{}}' WHERE id = {number}"))
    with transaction(app.state.database) as session:
        assert [one.words.split(";")[0] for one in links.broken(session)] == [
            f"line {number} of the history was changed"
        ]


def test_who_has_work_open_is_not_erased_and_the_page_says_what_stands_in_the_way(
    app: FastAPI, on_sqlite: TestClient
) -> None:
    manager = on_sqlite
    one, job = customer(manager, app)
    refused = manager.post(f"/customers/{one}/erase", data={"sure": one}, headers=JSON)
    assert (refused.status_code, job in refused.json()["detail"]) == (409, True)
    assert f"{job} is still open" in manager.get(f"/customers/{one}", headers=PAGE).text
    close(app, job)
    page = manager.get(f"/customers/{one}", headers=PAGE).text
    assert "Erase for good" in page
    wrong = manager.post(f"/customers/{one}/erase", data={"sure": "yes", "csrf": csrf_in(page)}, headers=PAGE)
    assert (wrong.status_code, f"write {one}" in wrong.text) == (422, True)
    assert manager.get(f"/customers/{one}").json()["name"] == NAME
    office = signed_in(app, Role.office).get(f"/customers/{one}", headers=PAGE).text
    assert ("Erase for good" in office, "ZIP" in office) == (False, False)


def test_the_file_of_a_customer_holds_every_row_and_picture_of_theirs_and_nobody_elses(
    app: FastAPI, on_sqlite: TestClient
) -> None:
    manager = on_sqlite
    one, job = customer(manager, app)
    manager.post("/customers", json={"name": "Perrin Oldacre", "phone": "555-0777"})
    answer = manager.get(f"/customers/{one}/kept.zip")
    assert (answer.status_code, answer.headers["cache-control"]) == (200, "no-store")
    packed = zipfile.ZipFile(io.BytesIO(answer.content))
    rows = {
        name[5:-4]: list(csv.DictReader(io.StringIO(packed.read(name).decode("utf-8-sig"))))
        for name in packed.namelist()
        if name.startswith("rows/")
    }
    assert {table: len(found) for table, found in rows.items() if table != "history"} == {
        "booking": 1, "customer": 1, "gate": 1, "gate_paper": 1, "message": 1, "photo": 1, "signature": 1, "site": 1,
        "text_received": 1, "visit": 1,
    }  # fmt: skip
    assert rows["customer"][0]["phone"] == PHONE
    assert {line["noun_id"] for line in rows["history"]} >= {one, job}
    (photo,) = [name for name in packed.namelist() if name.startswith("photos/")]
    assert Image.open(io.BytesIO(packed.read(photo))).size == (8, 8)
    assert [packed.read(name) for name in packed.namelist() if name.startswith("papers/")] == [PDF]
    everything = b"".join(packed.read(name) for name in packed.namelist()).decode(errors="replace")
    assert "Oldacre" not in everything
    assert NAME in packed.read("README.txt").decode()
    line = manager.get("/history", params={"noun": "customer", "noun_id": one}).json()["items"][0]
    assert (line["did"], line["by"]) == ("exported", "maud")
    assert manager.get("/customers/nobody/kept.zip").status_code == 404


@pytest.fixture(scope="module")
def demo(built: BuiltDemo, tmp_path_factory: pytest.TempPathFactory) -> Iterator[FastAPI]:
    folder = shutil.copytree(built.out, tmp_path_factory.mktemp("erasing") / "data")
    settings: Settings = settings_for(Path(folder))
    with running(settings) as app:
        app.state.clock = lambda: NOW
        yield app


def test_of_every_text_that_hangs_on_a_customer_it_is_decided_whether_it_tells_of_them(demo: FastAPI) -> None:
    names, grown = {"customer"}, True
    while grown:
        new = {
            table.name
            for table in SQLModel.metadata.sorted_tables
            for key in table.foreign_keys
            if key.column.table.name in names and len(key.constraint.columns) == 1  # type: ignore[union-attr]
        } - names - {"history", "erased_line"}  # fmt: skip
        names, grown = names | new, bool(new)
    undecided = {
        (name, column.name)
        for name in {*names, "sent_paper"} - set(DELETED)
        for column in SQLModel.metadata.tables[name].columns
        if isinstance(column.type, TEXTS) and not column.foreign_keys and column.name != "id"
        and column.name not in {*CLEARED.get(name, ()), *OF_THE_WORK.get(name, ())}
    }  # fmt: skip
    assert undecided == set()


def test_a_customer_of_the_demo_goes_and_all_others_stay_as_they_were(demo: FastAPI) -> None:
    def kept(session: Session) -> dict[str, Any]:
        return {row.id: row.model_dump() for row in session.exec(select(tables.Customer))}

    def papers(session: Session) -> list[str]:
        return [str(text) for text in session.exec(select(tables.Prepared.document)).all()]

    with transaction(demo.state.database) as session:
        before = kept(session)
        one = next(iter(sorted(before)))
        words = (before[one]["name"], before[one]["phone"])
        for visit in rows_of(session, one)["visit"]:
            session.get_one(tables.Visit, visit["id"]).state = "done"
    answer = signed_in(demo, Role.manager).post(f"/customers/{one}/erase", data={"sure": one}, headers=JSON)
    assert answer.status_code == 200, answer.text
    with transaction(demo.state.database) as session:
        after = kept(session)
        assert {name: row for name, row in after.items() if name != one} == {
            name: row for name, row in before.items() if name != one
        }
        assert (after[one]["name"], after[one]["phone"]) == ("Erased customer", "")
        assert papers(session)
        assert not [text for text in papers(session) if words[0] in text]
