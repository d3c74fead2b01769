"""The whole business out as one archive, and into an empty base: every row and every file, but for what signs in."""

from __future__ import annotations

import hashlib
import json
import re
import shutil
import sqlite3
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from click.testing import Result
from fastapi.testclient import TestClient
from sqlmodel import select
from typer.testing import CliRunner

from api import tables
from api.access.accounts import Role
from api.app import create_app
from api.chain.links import broken, seal
from api.cli import app as commands
from api.database import open_database, transaction
from api.exchange.exporting import LEFT_OUT, SECRETS
from api.exchange.whole import KIND, MANIFEST
from tests.conftest import BuiltDemo
from tests.service.cast import PAGE, settings_for, sign_in, signed_in
from tests.service.day.day_cast import AT, HOME, MORNING, on_the_morning, phone, post_day
from tests.service.day.test_photos import picture

pytestmark = pytest.mark.slow

NEW = "nine green kites fly"
NOT_ROWS = {*LEFT_OUT, "alembic_version"}


@pytest.fixture(scope="module")
def lived(built: BuiltDemo, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of a business in which something of everything has happened: posted, signed, photographed."""
    folder = tmp_path_factory.mktemp("lived") / "data"
    jobs = post_day(built.out, folder)
    with on_the_morning(folder) as app:
        crew = phone(app)
        lines = [[[10, 20], [300, 210]]]
        crew.post(f"{HOME}/signatures", json={"at": AT, "visit": jobs.install, "name": "Ana", "strokes": lines})
        sent = crew.post(
            f"/jobs/{jobs.install}/photos", data={"shows": "work", "caption": "=1+1, “quoted”\nwith a line"},
            files={"file": ("a.jpg", picture(), "image/jpeg")},
        )  # fmt: skip
        assert sent.status_code in (200, 201), sent.text
        office = signed_in(app, Role.office)
        with transaction(app.state.database) as session:
            gate = tables.Gate(visit_id=jobs.install, what="permit", state="closed")
            session.add(gate)
            session.flush()
            number = gate.id
        letter = office.post(f"/gates/{number}/papers", files={"file": ("permit.pdf", b"%PDF-1.7\n%%EOF\n", "")})
        assert letter.status_code in (200, 201, 303), letter.text
        with transaction(app.state.database) as session:
            awning = session.exec(select(tables.Awning.id)).first() or ""
            calendar = tables.BusyCalendar(
                whose="van van-1", address="https://x.example/a.ics", made_at=MORNING, made_by="x", next_at=MORNING
            )
            session.add(calendar)
            session.flush()
            van, person = session.exec(select(tables.Van.id)).first(), session.exec(select(tables.Person.id)).first()
            off = {"first": MORNING.date(), "last": MORNING.date(), "why": "brakes", "calendar_id": calendar.id}
            session.add(tables.VanOut(van_id=van, **off))
            session.add(tables.DayOff(person_id=person, **off))
            session.add(tables.MakerOrder(awning_id=awning, what="cloth", note="two\nlines, “quoted”"))
            seal(session, MORNING)
    return folder


@pytest.fixture(scope="module")
def archive(lived: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("archive") / "all.zip"
    done = run(lived, "export", "--out", str(out))
    assert done.exit_code == 0, done.output
    return out


def run(folder: Path, *words: str) -> Result:
    env = {"EAVEBOARD_DATA": str(folder), "EAVEBOARD_DATABASE": "", "EAVEBOARD_PASSWORD_COST": "quick"}
    return CliRunner().invoke(commands, list(words), env=env)


def rows(folder: Path) -> dict[str, list[tuple[object, ...]]]:
    """Return every row of every table, as it is stored, but for what signs people in."""
    connection = sqlite3.connect(folder / "eaveboard.sqlite")
    names = [n for (n,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
    found = {}
    for name in sorted(set(names) - NOT_ROWS):
        columns = [c[1] for c in connection.execute(f"PRAGMA table_info({name})")]
        gone = {(name, f[3]) for f in connection.execute(f"PRAGMA foreign_key_list({name})") if f[2] in LEFT_OUT}
        kept = ", ".join(f'"{c}"' for c in columns if (name, c) not in SECRETS | gone)
        found[name] = sorted(connection.execute(f'SELECT {kept} FROM "{name}"').fetchall(), key=repr)
    connection.close()
    return found


def files(folder: Path) -> dict[str, str]:
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and not path.name.startswith("eaveboard.sqlite")
        and path.name != "secret" and path.suffix not in (".lock", ".copy")
    }  # fmt: skip


def test_an_empty_base_takes_in_every_row_and_every_file(lived: Path, archive: Path, tmp_path: Path) -> None:
    fresh = tmp_path / "fresh"
    done = run(fresh, "import", str(archive))
    assert done.exit_code == 0, done.output
    before, after = rows(lived), rows(fresh)
    assert set(before) == set(after)
    for name, were in before.items():
        assert after[name] == were, name
    assert sum(map(len, before.values())) > 1000
    for name in (
        "signature",
        "photo",
        "gate_paper",
        "maker_order",
        "posted_week",
        "history",
        "prepared",
        "stored_plan",
    ):
        assert before[name], name
    assert files(fresh) == files(lived)
    assert {name.partition("/")[0] for name in files(fresh)} >= {"photos", "papers"}
    engine = open_database(f"sqlite:///{fresh / 'eaveboard.sqlite'}")
    with transaction(engine) as session:
        assert list(broken(session)) == []
    engine.dispose()


def test_nothing_that_signs_people_in_is_in_it_and_that_is_said(lived: Path, archive: Path, tmp_path: Path) -> None:
    connection = sqlite3.connect(lived / "eaveboard.sqlite")
    hashes = [h for (h,) in connection.execute("SELECT password FROM account")]
    connection.close()
    secret = (lived / "secret").read_text().strip()
    with zipfile.ZipFile(archive) as packed:
        manifest = json.loads(packed.read(MANIFEST))
        for name in packed.namelist():
            data = packed.read(name)
            assert secret.encode() not in data, name
            assert not any(one.encode() in data for one in hashes), name
            assert not any(name == f"rows/{table}.jsonl" for table in LEFT_OUT)
    assert {*LEFT_OUT, "account.password", "secret"} == set(manifest["left_out"])
    fresh = tmp_path / "fresh"
    run(fresh, "import", str(archive))
    with served(fresh) as client:
        csrf = client.get("/sign-in", headers={"accept": "application/json"}).json()["csrf"]
        for password in ("", "seven brown kites"):
            form = {"name": "maud", "password": password, "csrf": csrf}
            assert client.post("/sign-in", data=form, headers={"accept": "application/json"}).status_code == 401
    done = run(fresh, "reset-password", "maud")
    assert "one-time password" in done.output


@contextmanager
def served(folder: Path) -> Iterator[TestClient]:
    """Give a client of the service on a folder, with nobody signed in."""
    with TestClient(create_app(settings_for(folder)), follow_redirects=False) as client:
        yield client


@contextmanager
def signed_in_at(folder: Path) -> Iterator[TestClient]:
    """Give a client that the manager has signed in with, after a new password."""
    password = str(run(folder, "reset-password", "maud").output).rsplit(" ", 1)[1].strip()
    with served(folder) as client:
        sign_in(client, "maud", password)
        changed = client.post("/password", data={"old": password, "new": NEW, "again": NEW})
        assert changed.status_code == 303, changed.text
        yield sign_in(TestClient(client.app, follow_redirects=False), "maud", NEW)


def test_a_second_base_shows_the_same_pages(lived: Path, archive: Path, tmp_path: Path) -> None:
    fresh = tmp_path / "fresh"
    run(fresh, "import", str(archive))
    shown = []
    for folder in (shutil.copytree(lived, tmp_path / "copy"), fresh):
        with signed_in_at(folder) as client:
            pages = [client.get(where, headers=PAGE).text for where in ("/jobs", "/maker-orders", "/weeks/2027-04-12")]
            shown.append([page.partition("<main")[2].partition("</main>")[0] for page in pages])
    assert "J-1042" in shown[0][0]
    for one, other in zip(*shown, strict=True):
        assert without_tokens(one) == without_tokens(other)


def without_tokens(page: str) -> str:
    return re.sub(r'(name="csrf" value|data-key|name="form" value)="[^"]*"', "", page)


def test_it_holds_what_people_and_programs_can_read_as_it_is(archive: Path) -> None:
    with zipfile.ZipFile(archive) as packed:
        names = set(packed.namelist())
        assert {"README.txt", "edit/edit.xlsx", "tables/visit.csv", MANIFEST} <= names
        drawing = next(name for name in names if name.startswith("drawings/"))
        assert packed.read(drawing).startswith(b"<svg")
        survey = next(name for name in names if name.startswith("documents/surveys/"))
        assert json.loads(packed.read(survey))["format"].startswith("survey/")
        plan = next(name for name in names if name.endswith(".plan.json"))
        assert json.loads(packed.read(plan))["format"].startswith("plan/")


def rewritten(archive: Path, out: Path, change: dict[str, bytes]) -> Path:
    """Write the archive anew with some of its files changed, by their names."""
    with zipfile.ZipFile(archive) as packed, zipfile.ZipFile(out, "w") as to:
        for name in packed.namelist():
            to.writestr(name, change.get(name, packed.read(name)))
    return out


def test_what_is_damaged_or_does_not_fit_changes_nothing(lived: Path, archive: Path, tmp_path: Path) -> None:
    with zipfile.ZipFile(archive) as packed:
        manifest = json.loads(packed.read(MANIFEST))
        rows_of_visits = packed.read("rows/visit.jsonl")
    newer = json.dumps({**manifest, "form": "9999_later"}).encode()
    outside = json.dumps({**manifest, "files": {**manifest["files"], "files/../../x": {"sha256": "", "bytes": 0}}})
    other = json.dumps({**manifest, "kind": "eaveboard archive/9"}).encode()
    cases = {
        "rows/visit.jsonl": (rows_of_visits[:-5], "is damaged: rows/visit.jsonl in it is not what was put in"),
        MANIFEST: (newer, "is of a newer program"),
    }
    for number, (name, (data, words)) in enumerate([
        *cases.items(), (MANIFEST, (outside.encode(), "would lie outside of the data folder")),
        (MANIFEST, (other, "is an archive of a newer program")), (MANIFEST, (b"{}", "is no archive")),
    ]):  # fmt: skip
        bad = rewritten(archive, tmp_path / f"bad-{number}.zip", change={name: data})
        fresh = tmp_path / f"fresh-{number}"
        done = run(fresh, "import", str(bad))
        assert done.exit_code != 0
        assert words in str(done.exception) + done.output, words
        assert not (fresh / "eaveboard.sqlite").exists()
    held = shutil.copytree(lived, tmp_path / "held")
    before = rows(held)
    done = run(held, "import", str(archive))
    assert "holds something already" in str(done.exception) + done.output
    assert rows(held) == before
    assert KIND == "eaveboard archive/1"


def test_the_manager_takes_it_out_on_the_page_too(lived: Path, tmp_path: Path) -> None:
    folder = shutil.copytree(lived, tmp_path / "copy")
    with signed_in_at(folder) as client:
        answer = client.get("/exchange/export.zip")
    assert answer.headers["content-disposition"] == 'attachment; filename="eaveboard-export.zip"'
    out = tmp_path / "page.zip"
    out.write_bytes(answer.content)
    fresh = tmp_path / "fresh"
    assert run(fresh, "import", str(out)).exit_code == 0
    assert rows(fresh)["visit"] == rows(lived)["visit"]
    assert files(fresh) == files(lived)
