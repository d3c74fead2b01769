"""Backups: taken while people write, put back elsewhere with nothing lost, and refused where anything is wrong."""

from __future__ import annotations

import datetime
import io
import os
import stat
import subprocess
import sys
import threading
import time
import zipfile
from pathlib import Path

import pytest
import sqlalchemy as sa
from fastapi import FastAPI
from fastapi.testclient import TestClient
from PIL import Image
from sqlmodel import select

from api import tables
from api.backup import archive, copying
from api.backup.keeper import BackupKeeper, made_at, name_of, newest_of, sweep
from api.backup.restoring import restore
from api.cli import main
from api.database import forms, hold, open_database, transaction, upgrade
from api.ledger.history import note
from api.settings import Settings, sqlite_address
from scheduler.errors import BadInput
from tests.old_rows import fill, still_there
from tests.service.cast import add_yard, anonymous, application, running, settings_for, sign_in

ROOT = Path(__file__).parents[3]
NOW = datetime.datetime(2027, 4, 12, 12, tzinfo=datetime.UTC)


def picture(shade: int) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (16, 16), (shade, shade, shade)).save(out, "PNG")
    return out.getvalue()


class Writers:
    """People who write into a service until they are told to end; `done` are the notes that were acknowledged."""

    def __init__(self, app: FastAPI) -> None:
        self._app, self._end, self.done = app, threading.Event(), list[str]()
        self._threads = [threading.Thread(target=self._write, args=(n,)) for n in range(3)]

    def _write(self, which: int) -> None:
        k = 0
        while not self._end.is_set():
            k += 1
            name = f"{which}-{k}"
            with transaction(self._app.state.database) as session:
                session.add(tables.Customer(id=name, name=f"Customer {name}", phone="1", email=""))
                note(session, NOW, "office", "made", "customer", name, {})
            self.done.append(name)
            self._end.wait(0.002)  # people, not a flood: all of it is sealed afterwards

    def __enter__(self) -> Writers:
        for thread in self._threads:
            thread.start()
        while len(self.done) < 20:
            assert any(thread.is_alive() for thread in self._threads)
            time.sleep(0.002)
        return self

    def __exit__(self, *_: object) -> None:
        self._end.set()
        for thread in self._threads:
            thread.join()


def whole(database: sa.Engine) -> set[str]:
    """Return the customers of a database, after a look that each has its line in the history and no line is without."""
    with transaction(database) as session:
        customers = set(session.exec(select(tables.Customer.id)).all())
        noted = set(session.exec(select(tables.History.noun_id).where(tables.History.noun == "customer")).all())
    assert customers == noted
    return customers


def test_a_backup_taken_under_load_gives_a_service_with_everything_acknowledged_before_it(
    either_settings: Settings, tmp_path: Path, migrated_file: Path
) -> None:
    out, elsewhere = tmp_path / "backups" / "it.backup", tmp_path / "elsewhere"
    with running(either_settings) as app:
        add_yard(app.state.database)
        photo = picture(7)
        (either_settings.data / "photos").mkdir()
        (either_settings.data / "photos" / "7f00").write_bytes(photo)
        with Writers(app) as writers:
            before = set(writers.done)
            manifest = archive.make_backup(app.state.database, either_settings.data, out, NOW)
            while len(writers.done) < len(before) + 20:
                time.sleep(0.002)
        after = set(writers.done)
    assert out.stat().st_mode & 0o077 == 0
    assert [path.name for path in out.parent.iterdir()] == [out.name]
    assert archive.verify(out) == manifest
    restore(out, elsewhere, sqlite_address(elsewhere), replace=False, now=NOW)
    with application(settings_for(elsewhere)) as app, TestClient(app):
        kept = whole(app.state.database)
        assert before <= kept <= after
        assert len(kept) < len(after)
        assert sign_in(anonymous(app), "maud").get("/session").json()["name"] == "maud"
    assert (elsewhere / "photos" / "7f00").read_bytes() == photo
    assert (elsewhere / "secret").read_text() == (either_settings.data / "secret").read_text()


def test_a_sqlite_backup_goes_into_postgresql_where_work_goes_on(tmp_path: Path, postgresql_database: str) -> None:
    home, out = tmp_path / "home", tmp_path / "it.backup"
    with running(settings_for(home)) as app:
        with Writers(app):
            pass
        mine = whole(app.state.database)
        archive.make_backup(app.state.database, home, out, NOW)
    moved = settings_for(tmp_path / "moved", postgresql_database)
    restore(out, moved.data, moved.database, replace=False, now=NOW)
    database = open_database(moved.database)
    try:
        assert whole(database) == mine
        with transaction(database) as session:
            note(session, NOW, "office", "made", "customer", "one more", {})  # numbers go on where they were
            session.add(tables.Customer(id="one more", name="One more", phone="1", email=""))
        assert whole(database) == mine | {"one more"}
        again = tmp_path / "again.backup"
        archive.make_backup(database, moved.data, again, NOW)
    finally:
        database.dispose()
    for by_force in (False, True):
        with pytest.raises(BadInput, match=r"^EAVEBOARD_DATABASE: holds something already; make a new, empty database"):
            restore(again, moved.data, moved.database, replace=by_force, now=NOW)
    restore(again, tmp_path / "back", sqlite_address(tmp_path / "back"), replace=False, now=NOW)
    database = open_database(sqlite_address(tmp_path / "back"))
    assert whole(database) == mine | {"one more"}
    database.dispose()


@pytest.fixture
def made(sqlite_folder: Path, tmp_path: Path) -> Path:
    """A backup of an empty business with one photo."""
    (sqlite_folder / "photos").mkdir()
    (sqlite_folder / "photos" / "aa").write_bytes(picture(1))
    (sqlite_folder / "secret").write_text("s" * 40)
    database = open_database(sqlite_address(sqlite_folder))
    archive.make_backup(database, sqlite_folder, tmp_path / "out" / "it.backup", NOW)
    database.dispose()
    return tmp_path / "out" / "it.backup"


def test_a_damaged_backup_is_refused_wherever_the_damage_is_and_nothing_is_made(made: Path, tmp_path: Path) -> None:
    data, target = made.read_bytes(), tmp_path / "target"
    for at in [*range(40, len(data), len(data) // 23), len(data) - 30]:
        made.write_bytes(data[:at] + bytes([data[at] ^ 0x55]) + data[at + 1 :])
        try:
            archive.verify(made)
        except BadInput:
            with pytest.raises(BadInput, match=r"damaged|is no backup|is a backup of a newer"):
                restore(made, target, sqlite_address(target), replace=False, now=NOW)
        else:  # a byte that says nothing: a moment of a file, rights
            restore(made, tmp_path / f"fine-{at}", sqlite_address(tmp_path / f"fine-{at}"), replace=False, now=NOW)
    for end in (0, 10, len(data) // 2, len(data) - 1):
        made.write_bytes(data[:end])
        with pytest.raises(BadInput, match="damaged or no backup"):
            archive.verify(made)
    assert not target.exists()


def rewritten(made: Path, change: dict[str, bytes]) -> None:
    with zipfile.ZipFile(made) as packed:
        held = {name: packed.read(name) for name in packed.namelist()}
    with zipfile.ZipFile(made, "w") as packed:
        for name, data in (held | change).items():
            packed.writestr(name, data)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        (b'"eaveboard backup/1"', b'"eaveboard backup/2"', "is a backup of a newer program"),
        (forms()[-1].encode(), b"9999_later", "is of a newer program .*form 9999_later"),
        (b'"photos/aa"', b'"../photos/aa"', "does not hold the files that it lists"),
    ],
)
def test_a_newer_or_a_false_backup_is_refused(made: Path, tmp_path: Path, old: bytes, new: bytes, words: str) -> None:
    with zipfile.ZipFile(made) as packed:
        manifest = packed.read(archive.MANIFEST)
    assert old in manifest
    rewritten(made, {archive.MANIFEST: manifest.replace(old, new)})
    with pytest.raises(BadInput, match=words):
        restore(made, tmp_path / "target", sqlite_address(tmp_path / "target"), replace=False, now=NOW)
    assert not (tmp_path / "target").exists()


def test_a_path_that_leads_out_of_the_folder_is_refused(made: Path, tmp_path: Path) -> None:
    with zipfile.ZipFile(made) as packed:
        manifest, photo = packed.read(archive.MANIFEST), packed.read("photos/aa")
    with zipfile.ZipFile(made, "a") as packed:
        packed.writestr("../out", photo)
    rewritten(
        made,
        {
            archive.MANIFEST: manifest.replace(
                b'"photos/aa": {', b'"../out": {"sha256": "", "bytes": 0}, "photos/aa": {'
            )
        },
    )
    with pytest.raises(BadInput, match="would lie outside of the data folder"):
        restore(made, tmp_path / "target", sqlite_address(tmp_path / "target"), replace=False, now=NOW)


def test_what_is_there_is_replaced_only_on_request_and_then_kept_aside(made: Path, tmp_path: Path) -> None:
    target = tmp_path / "target"
    with running(settings_for(target)) as app:
        with Writers(app):
            pass
        mine, secret = whole(app.state.database), (target / "secret").read_text()
        with pytest.raises(BadInput, match="is served already"):
            restore(made, target, sqlite_address(target), replace=True, now=NOW)
    with pytest.raises(BadInput, match="holds something already; say --replace"):
        restore(made, target, sqlite_address(target), replace=False, now=NOW)
    restore(made, target, sqlite_address(target), replace=True, now=NOW)
    database, aside = open_database(sqlite_address(target)), target / "before-restore-20270412T120000"
    assert whole(database) == set()
    assert (target / "secret").read_text() == "s" * 40
    database.dispose()
    before = open_database(sqlite_address(aside))
    assert whole(before) == mine
    assert (aside / "secret").read_text() == secret
    before.dispose()


def test_a_backup_of_an_older_program_is_brought_to_this_one_s_form(tmp_path: Path) -> None:
    home, target = tmp_path / "home", tmp_path / "target"
    home.mkdir()
    old = open_database(sqlite_address(home))
    fill(old, "0003")
    archive.make_backup(old, home, tmp_path / "it.backup", NOW)
    old.dispose()
    assert restore(tmp_path / "it.backup", target, sqlite_address(target), replace=False, now=NOW).form == "0003"
    assert copying.form_of(target / "eaveboard.sqlite") == forms()[-1]
    database = open_database(sqlite_address(target))
    still_there(database, "0003")
    database.dispose()


@pytest.mark.usefixtures("migrated_for_real")
@pytest.mark.parametrize("server", [False, True], ids=["sqlite", "postgresql"])
def test_the_copy_from_before_an_upgrade_is_put_back_and_the_secret_stays(
    request: pytest.FixtureRequest, tmp_path: Path, server: bool
) -> None:
    home, target = tmp_path / "home", tmp_path / "target"
    home.mkdir()
    target.mkdir()
    (target / "secret").write_text("s" * 40 + "\n")
    address = request.getfixturevalue("unmigrated_on_server") if server else sqlite_address(home)
    old = open_database(address)
    fill(old, "0003")
    upgrade(old, "0004", copies=home)
    old.dispose()
    [copy] = home.glob("*.form-0003.*.copy")
    whole = copy.read_bytes()
    assert stat.S_IMODE(copy.stat().st_mode) == 0o600
    copy.write_bytes(whole[: len(whole) // 2])
    with pytest.raises(BadInput, match="is damaged"):
        restore(copy, target, sqlite_address(target), replace=False, now=NOW)
    assert not (target / "eaveboard.sqlite").exists()
    copy.write_bytes(whole)
    told = restore(copy, target, sqlite_address(target), replace=False, now=NOW)
    assert (told.form, told.rows["customer"]) == ("0003", 1)
    database = open_database(sqlite_address(target))
    still_there(database, "0003")
    database.dispose()
    assert (target / "secret").read_text() == "s" * 40 + "\n"


def test_the_service_backs_itself_up_when_it_is_time_and_keeps_the_newest(sqlite_folder: Path, tmp_path: Path) -> None:
    folder, moment = tmp_path / "backups", [NOW]
    database = open_database(sqlite_address(sqlite_folder))
    keeper = BackupKeeper(database, sqlite_folder, folder, 24, 2, 90, lambda: moment[0])
    made = []
    for hours in (0, 23, 24, 47, 48, 72):
        moment[0] = NOW + datetime.timedelta(hours=hours)
        made.append(keeper.look() is not None)
    assert made == [True, False, True, False, True, True]
    assert sorted(path.name for path in folder.iterdir()) == [
        name_of(NOW + datetime.timedelta(hours=h)) for h in (48, 72)
    ]
    newest = newest_of(folder, moment[0])
    assert newest is not None
    assert made_at(newest[0]) == NOW + datetime.timedelta(hours=72)
    archive.verify(newest[0])
    (tmp_path / "file").write_text("")
    blocked = BackupKeeper(database, sqlite_folder, tmp_path / "file" / "x", 24, 2, 90, lambda: moment[0])
    assert blocked.look() is None
    assert "cannot be used" in blocked.fault
    database.dispose()


def test_backups_are_deleted_after_so_many_days_but_for_the_newest_three(tmp_path: Path) -> None:
    days = (100, 95, 91, 40, 5)
    for ago in days:
        (tmp_path / name_of(NOW - datetime.timedelta(days=ago))).write_bytes(b"")

    def left() -> list[int]:
        moments = [made_at(path) for path in tmp_path.iterdir()]
        return sorted((NOW - moment).days for moment in moments if moment is not None)

    sweep(tmp_path, 14, 90, NOW)
    assert left() == [5, 40, 91]
    (tmp_path / name_of(NOW)).write_bytes(b"")
    sweep(tmp_path, 14, 90, NOW)
    assert left() == [0, 5, 40]
    sweep(tmp_path, 14, 90, NOW + datetime.timedelta(days=40_000))  # a clock that ran ahead
    assert left() == [0, 5, 40]


@pytest.mark.slow
def test_the_commands_work_through_pipes_and_a_folder(sqlite_folder: Path, tmp_path: Path) -> None:
    def run(*words: str, data: Path, sent: bytes = b"") -> subprocess.CompletedProcess[bytes]:
        own = {k: v for k, v in os.environ.items() if not k.startswith("EAVEBOARD_")} | {"EAVEBOARD_DATA": str(data)}
        code = f"from api.cli import main; main({list(words)!r})"
        return subprocess.run([sys.executable, "-c", code], env=own, cwd=ROOT, input=sent, capture_output=True)

    piped = run("backup", "--out", "-", data=sqlite_folder)
    assert (piped.returncode, piped.stdout[:2]) == (0, b"PK")
    told = run("restore", "-", "--json", data=tmp_path / "new", sent=piped.stdout)
    assert (told.returncode, b'"form"' in told.stdout) == (0, True)
    held = hold(tmp_path / "new", sqlite_address(tmp_path / "new"))
    assert b"is served already" in run("restore", "-", "--replace", data=tmp_path / "new", sent=piped.stdout).stderr
    held.release()


def test_the_commands_check_refuse_and_name_what_is_missing(
    sqlite_folder: Path, made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def run(*words: str, data: Path, sent: bytes = b"") -> tuple[int, str, str]:
        monkeypatch.setenv("EAVEBOARD_DATA", str(data))
        monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(sent)))
        with pytest.raises(SystemExit) as ended:
            main(list(words))
        return int(ended.value.code or 0), *capsys.readouterr()

    for name in [name for name in os.environ if name.startswith("EAVEBOARD_")]:
        monkeypatch.delenv(name)
    whole = made.read_bytes()
    assert run("restore", "-", "--check", "--quiet", data=tmp_path, sent=whole) == (0, "", "")
    code, _, told = run("restore", "-", data=tmp_path / "new", sent=whole[:-9])
    assert (code, told.count("\n")) == (2, 1)
    assert "--out: is missing" in run("backup", data=sqlite_folder)[2]
    assert "there is no database" in run("backup", "--out", "x", data=tmp_path / "nowhere")[2]
    (tmp_path / "folder").mkdir()
    assert run("backup", "--out", str(tmp_path / "folder"), data=sqlite_folder)[0] == 0
    assert newest_of(tmp_path / "folder", NOW) is not None
    monkeypatch.setenv("EAVEBOARD_BACKUPS", str(made))
    told = run("backup", data=sqlite_folder)[2]
    assert told == f"EAVEBOARD_BACKUPS: cannot be used: {made}: File exists.\n"
    monkeypatch.delenv("EAVEBOARD_BACKUPS")
    code, _, told = run("backup", "--out", os.devnull, data=sqlite_folder)
    assert (code, told, Path(os.devnull).is_file()) == (0, "", False)  # a device is written to, never replaced
    (tmp_path / "link.backup").symlink_to("elsewhere.backup")
    assert run("backup", "--out", str(tmp_path / "link.backup"), data=sqlite_folder)[0] == 0
    assert (tmp_path / "link.backup").is_symlink()
    assert run("restore", str(tmp_path / "elsewhere.backup"), "--check", data=tmp_path)[0] == 0
