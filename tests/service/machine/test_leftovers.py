"""What killed uploads, exports and restores left behind is swept at start, and what is in use stays."""

from __future__ import annotations

import datetime
import os
import tempfile
import time
from pathlib import Path

import pytest

from api import tables
from api.condition.leftovers import KEPT_S, NIGHTLY_S
from api.database import open_database, transaction
from api.settings import sqlite_address
from tests.service.cast import anonymous, running, settings_for
from tests.waiting import until

OLD_S = KEPT_S + 3600


def left(path: Path, age_s: float) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(b"half")
    os.utime(path, (time.time() - age_s, time.time() - age_s))
    return path


def photo(folder: Path, digest: str) -> None:
    database = open_database(sqlite_address(folder))
    with transaction(database) as session:
        session.add(tables.Customer(id="C-1", name="x", phone="", email=""))
        session.flush()
        session.add(tables.Site(id="S-1", customer_id="C-1", town="T", address="a", lat=41, lon=-98))
        session.flush()
        session.add(tables.Visit(id="J-1", kind="survey", site_id="S-1"))  # type: ignore[call-arg]
        session.flush()
        now = datetime.datetime.now(datetime.UTC)
        session.add(
            tables.Photo(visit_id="J-1", shows="wall", media_type="image/png", bytes=4, sha256=digest, taken_at=now,
                         taken_by="x")
        )  # fmt: skip
        session.add(tables.Gate(id=1, visit_id="J-1", what="permit"))
        session.flush()
        for name, days in ((digest, None), ("d" * 64, 31), ("e" * 64, 29)):
            away = now - datetime.timedelta(days=days) if days else None
            session.add(
                tables.GatePaper(gate_id=1, name="a.pdf", media_type="application/pdf", bytes=4, sha256=name,
                                 kept_at=now, kept_by="x", taken_away_at=away)
            )  # fmt: skip
    database.dispose()


def test_what_was_left_is_swept_at_the_start_and_what_is_named_or_young_stays(
    sqlite_folder: Path, tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch
) -> None:
    passing = tmp_path_factory.mktemp("passing")
    monkeypatch.setattr(tempfile, "tempdir", str(passing))
    photos = sqlite_folder / "photos"
    gone = [
        left(photos / "part-abc", OLD_S),
        left(photos / ("a" * 64), OLD_S),  # its row was never kept
        left(sqlite_folder / "papers" / ("a" * 64), OLD_S),
        left(sqlite_folder / "papers" / ("d" * 64), OLD_S),  # taken away long ago
        left(sqlite_folder / ".restoring-x" / "eaveboard.sqlite", OLD_S).parent,
        left(passing / "eave-export-x.zip", OLD_S),
    ]
    os.utime(gone[4], (time.time() - OLD_S, time.time() - OLD_S))
    stays = [
        left(photos / "part-new", 60),
        left(photos / ("b" * 64), 60),
        left(photos / ("c" * 64), OLD_S),
        left(sqlite_folder / "papers" / ("c" * 64), OLD_S),
        left(sqlite_folder / "papers" / ("e" * 64), OLD_S),  # taken away of late
        left(passing / "somebody-elses.zip", OLD_S),
        left(sqlite_folder / "notes.txt", OLD_S),
    ]
    photo(sqlite_folder, "c" * 64)
    with running(settings_for(sqlite_folder)) as app:
        until(lambda: not any(path.exists() for path in gone))
        assert [path for path in stays if not path.exists()] == []
        assert anonymous(app).get("/health").status_code == 200
    assert NIGHTLY_S <= 24 * 3600
