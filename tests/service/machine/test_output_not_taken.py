"""Every command where nobody takes what it says (a full disk, a closed stream, a reader that has gone): no traceback,
one sentence or none, and an exit code by which a script knows."""

from __future__ import annotations

import csv
import io
import json
import os
import shlex
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Iterable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import pytest
from typer.main import get_command

from api.cli import app, main
from api.cli.saying.manual import each_command
from api.secret import read_secret
from api.settings import Settings
from scheduler.documents import encode
from scheduler.times.calibrate import COLUMNS
from tests.conftest import BuiltDemo
from tests.migrated import put_migrated
from tests.surveys import plain_survey

ROOT = Path(__file__).parents[3]
COMMAND = [sys.executable, "-c", "from api.cli import main; main()"]
FULL = "Standard output cannot be written: No space left on device."
CLOSED = "-: cannot be written: standard output is closed."
LEADS = ["full", "closed", "gone", "errors full"]
IN_SUITE = {"audit", "draw", "backup", "weather limits", "weather fetch", "demo", "serve"}
PLACE = "--lat 41 --lon=-98 --from file --address seeds/demo/forecast.csv"
# Each command with words by which it says something on standard output.
WELL = {
    "plan": "plan {here}/week.json --seconds 0.2 --out -",
    "audit": "audit {here}/week.json {here}/plan.json",
    "show": "show {here}/plan.json --week {here}/week.json",
    "worth": "worth {here}/week.json --seconds 0.2",
    "crews": "crews {here}/roster.json --week {here}/no-crews.json --out -",
    "replan": "replan {here}/week.json --from {here}/plan.json --seconds 0.2 --out -",
    "offer": "offer {here}/week.json --from {here}/plan.json --job job-0001",
    "draw": "draw {here}/survey.json --out -",
    "calibrate": "calibrate {here}/history.csv --out -",
    "export": "export --out -",
    "import": "import seeds/demo/customers.csv --dry-run",
    "packet": "packet {job} --out -",
    "daysheet": "daysheet {crew} 2027-04-12 --out -",
    "backup": "backup --out -",
    "restore": "restore {here}/backup.tar --check",
    "new-secret": "new-secret",
    "doctor": "doctor",
    "ready": "ready",
    "reset-password": "reset-password maud --manager",
    "man-page": "man-page",
    "roads table": "roads table {here}/places.csv --no-cache --out -",
    "weather fetch": f"weather fetch {PLACE}",
    "weather windows": f"weather windows {PLACE} --start 2027-04-12",
    "weather limits": "weather limits",
}
# Those that would take long, with words that they refuse before they say anything there.
REFUSED = {
    "demo": "demo --out {here}/survey.json",
    "serve": "serve --workers 2",
    "roads get": "roads get nowhere --from {here}/none.osm.pbf",
    "roads build": "roads build {here}/none.osm.pbf --tiles {here}/tiles",
    "roads fit": "roads fit {here}/none",
    "weather backtest": "weather backtest --out {here}/survey.json",
}


def each(names: Iterable[str]) -> list[Any]:
    """Return every command with every way; a process takes seconds, so that the suite tries some and ops/long all."""
    return [
        pytest.param(name, lead, marks=() if lead == "full" and name in IN_SUITE else pytest.mark.long)
        for name in names
        for lead in LEADS
    ]


@pytest.fixture(scope="module")
def here(built: BuiltDemo, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with what the commands read: `demo` is the demo's data folder, `data` one without anything."""
    folder = tmp_path_factory.mktemp("not-taken")
    shutil.copytree(built.out, folder / "demo")
    (folder / "data").mkdir()
    put_migrated(folder / "data" / "eaveboard.sqlite")
    read_secret(Settings(data=folder / "data", database="", port=8410), lambda: "s" * 43)
    week = json.loads((ROOT / "tests/data/weeks/v2-tiny-1.week.json").read_text())
    crew = week["crews"][0]
    own = {"yard": "yard-1", "skills": crew["skills"], "days_off": [], "usual_with": []}
    own |= {"day_cents": 3_000, "minute_cents": 50, "overtime_minute_cents": 30}
    van = {"id": "van", "yard": "yard-1", "lead": "ana", "vehicle": crew["vehicle"], "onboard": {}, "km_cents": 60}
    roster = {
        "format": "roster/1", "split_cents": 5_000, "shifts": crew["shifts"], "vans": [van],
        "people": [own | {"id": name, "name": name, "lead": name == "ana"} for name in ("ana", "tor")],
    }  # fmt: skip
    unbooked = [job | {"booked": None} for job in week["jobs"]]
    files = {"week": week, "no-crews": week | {"crews": [], "jobs": unbooked}, "roster": roster}
    for name, document in files.items():
        (folder / f"{name}.json").write_text(json.dumps(document))
    (folder / "survey.json").write_bytes(encode(plain_survey()))
    (folder / "places.csv").write_text("id,lat,lon\nyard,40,-75\nmill,40.1,-75.1\n")
    (folder / "history.csv").write_text(history(40))
    for words in ("plan {here}/week.json --seconds 0.2 --out {here}/plan.json", "backup --out {here}/backup.tar"):
        assert said(words, folder, "")[0] == 0
    return folder


def history(rows: int) -> str:
    """Return finished repairs, as `eaveboard calibrate` reads them."""
    job = {"kind": "repair", "width_mm": 4000, "height_mm": 2900, "wall": "wood-studs", "brackets": 4, "holes": 16}
    job |= {"hood": "no", "motor": "no", "hands": 2, "material_lift": "no"}
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS)
    writer.writeheader()
    writer.writerows(job | {"minutes": 60 + n % 7} for n in range(rows))
    return out.getvalue()


def asked(line: str, here: Path) -> tuple[list[str], dict[str, str]]:
    """Return the words of a command, and its settings."""
    folder = here / ("demo" if line.startswith(("packet", "daysheet", "import", "export")) else "data")
    with closing(sqlite3.connect(here / "demo" / "eaveboard.sqlite")) as database:
        [(job,)] = database.execute("SELECT min(id) FROM visit")
        [(crew,)] = database.execute("SELECT min(id) FROM crew")
    own = {"EAVEBOARD_DATA": str(folder), "EAVEBOARD_CLOCK": "forecast"}
    return shlex.split(line.format(here=here, job=job, crew=crew)), own


def said(line: str, here: Path, lead: str) -> tuple[int, str]:
    """Run a command with its output led so; return its exit code and what it said of errors."""
    words, settings = asked(line, here)
    words = COMMAND + words
    own = {k: v for k, v in os.environ.items() if not k.startswith("EAVEBOARD_")} | settings
    to = {"full": "> /dev/full", "closed": ">&-", "errors full": "> /dev/null 2> /dev/full"}.get(lead, "")
    with gone() as end:
        done = subprocess.run(
            ["bash", "-c", f'exec "$@" {to}', "bash", *words], cwd=ROOT, env=own, text=True, timeout=300,
            stdout=end if lead == "gone" else subprocess.DEVNULL, stderr=subprocess.PIPE,
        )  # fmt: skip
    return done.returncode, done.stderr


@contextmanager
def gone() -> Iterator[int]:
    """Give the end of a pipe that nobody reads."""
    reader, writer = os.pipe()
    os.close(reader)
    yield writer
    os.close(writer)


def test_every_command_is_tried() -> None:
    names = {name.removeprefix("eaveboard ") for name, _ in each_command("eaveboard", get_command(app))}
    assert WELL.keys() | REFUSED.keys() == names


@pytest.mark.slow
@pytest.mark.parametrize("name", [name for name in WELL if name != "ready"])  # it has minutes of work in a source tree
def test_the_outcome_as_json_is_one_value_and_quiet_says_no_more_than_was_asked_for(
    name: str, here: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    words, settings = asked(WELL[name].replace("--out -", "--out {here}/out"), here)
    for key, value in settings.items():
        monkeypatch.setenv(key, value)
    monkeypatch.chdir(ROOT)
    heard = []
    for option in ("--json", "--quiet"):
        capfd.readouterr()
        with pytest.raises(SystemExit) as ended:
            main([*words, option])
        assert ended.value.code == 0
        heard.append(capfd.readouterr())
    json.loads(heard[0].out)
    assert heard[1].err == ""
    if "--out" in words and name != "replan":  # which was asked who moves, and why
        assert heard[1].out == ""


@pytest.mark.slow
@pytest.mark.parametrize(("name", "lead"), each(WELL))
def test_what_cannot_be_said_is_no_traceback(name: str, lead: str, here: Path) -> None:
    line = WELL[name]
    code, words = said(line, here, lead)
    assert "Traceback" not in words
    assert "Exception ignored" not in words
    if lead == "full":
        assert (code, words.splitlines()[-1:]) == (2, [FULL])
    elif lead == "gone":
        assert (code, FULL in words) == (2, False), words
    elif lead == "closed" and "--out -" in line:
        assert (code, words) == (2, CLOSED + "\n")
    else:
        assert code == 0, words


@pytest.mark.slow
@pytest.mark.parametrize(("name", "lead"), each(REFUSED))
def test_what_is_refused_is_one_sentence_wherever_output_goes(name: str, lead: str, here: Path) -> None:
    code, words = said(REFUSED[name], here, lead)
    assert (code, words.count("\n"), "Traceback" in words) == (2, int(lead != "errors full"), False), words
