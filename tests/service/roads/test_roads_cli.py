"""`eaveboard roads`: what it writes, what it says, and its exit codes."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from api.cli.roads import app
from scheduler.travel import matrices
from tests.road_extracts import helsinki, needs_engine

PLACES = "id,lat,lon\nyard,60.165,24.935\nmill,60.172,24.945\nquay,60.17,24.94\n"


def run(*words: object) -> Result:
    return CliRunner().invoke(app, [str(w) for w in words])


@pytest.fixture
def places(tmp_path: Path) -> Path:
    path = tmp_path / "places.csv"
    path.write_text(PLACES, encoding="utf-8")
    return path


def test_a_table_of_estimates(places: Path, tmp_path: Path) -> None:
    result = run("table", places, "--out", tmp_path / "t.json")
    assert result.exit_code == 0
    written = json.loads((tmp_path / "t.json").read_text())
    expected = matrices([(60.165, 24.935), (60.172, 24.945), (60.17, 24.94)])
    assert written["travel"] == {"minutes": expected.minutes.tolist(), "metres": expected.metres.tolist()}
    assert [p["id"] for p in written["places"]] == ["yard", "mill", "quay"]
    assert written["sources"] == ["estimate"]
    assert written["notes"] == []
    assert "3 places" in result.output


def test_slow_hours_are_taken_in_and_said(places: Path, tmp_path: Path) -> None:
    slow = tmp_path / "slow.json"
    slow.write_text('{"factor_by_hour": {"7": 2.0}}')
    words = ["table", places, "--out", tmp_path / "t.json", "--slowdowns", slow, "--day-start", "07:00"]
    result = run(*words, "--day-end", "09:00", "--rule", "worst")
    assert result.exit_code == 0
    assert "Note: All minutes are multiplied by 2 for slow hours." in result.output
    slowed = json.loads((tmp_path / "t.json").read_text())["travel"]["minutes"]
    run(*words, "--day-end", "08:00", "--rule", "mean")
    assert json.loads((tmp_path / "t.json").read_text())["travel"]["minutes"] == slowed
    assert slowed[0][1] > matrices([(60.165, 24.935), (60.172, 24.945)]).minutes[0, 1]


def test_a_dead_service_gives_estimates_and_says_so(places: Path, tmp_path: Path) -> None:
    words = ["--source", "osrm", "--address", "http://127.0.0.1:9", "--no-cache"]
    result = run("table", places, *words, "--out", tmp_path / "t.json")
    assert result.exit_code == 0
    assert "Note: Asking for travel times ended early: the osrm service at 127.0.0.1 cannot be reached" in result.output
    assert "Note: All travel times are estimated" in result.output
    assert len(json.loads((tmp_path / "t.json").read_text())["notes"]) == 2


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "holds no places"),
        ("id,lat,lon\n", "holds no places"),
        ("id,lat\na,1\n", 'line 2: has no "lon"'),
        ("id,lat,lon\na,1,2\na,3,4\n", 'line 3: the id "a" stands there already'),
        ("id,lat,lon\na,north,2\n", 'line 2: "lat" must be from -90 to 90 degrees, is north'),
        ("id,lat,lon\na,1,181\n", 'line 2: "lon" must be from -180 to 180 degrees, is 181'),
        ("id,lat,lon\na,nan,2\n", 'line 2: "lat" must be'),
    ],
)
def test_a_wrong_list_of_places_is_refused_in_one_sentence(tmp_path: Path, text: str, said: str) -> None:
    path = tmp_path / "places.csv"
    path.write_text(text, encoding="utf-8")
    result = run("table", path, "--out", tmp_path / "t.json")
    assert result.exit_code == 2
    assert said in result.output
    assert result.output.count("\n") == 1
    assert not (tmp_path / "t.json").exists()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--source", "tiles"], "--tiles: is needed"),
        (["--source", "osrm"], "--address: is needed"),
        (["--source", "valhalla", "--address", "roads.example"], "must begin with http"),
        (["--slowdowns", "none.json"], "none.json: cannot be read"),
        (["--constants", "none.json"], "none.json: cannot be read"),
        (["--source", "crow"], "crow"),
    ],
)
def test_wrong_options_are_refused(places: Path, tmp_path: Path, words: list[str], said: str) -> None:
    result = run("table", places, "--out", tmp_path / "t.json", *words)
    assert result.exit_code == 2
    assert said in result.output


def test_wrong_contents_of_files_are_named(places: Path, tmp_path: Path) -> None:
    bad = tmp_path / "bad.json"
    for text, option, said in (
        ('{"factor_by_hour": {"25": 1.2}}', "--slowdowns", "factor_by_hour.25"),
        ('{"factor_by_hour": {"7": 99}}', "--slowdowns", "factor_by_hour.7"),
        ('{"road_factor": 0.5, "classes": []}', "--constants", "road_factor"),
        ('{"road_factor": 1.5, "classes": [{"from_km": 2, "kmh": 30}]}', "--constants", "classes[0].from_km"),
    ):
        bad.write_text(text)
        result = run("table", places, "--out", tmp_path / "t.json", option, bad)
        assert result.exit_code == 2
        assert said in result.output
    slow = tmp_path / "slow.json"
    slow.write_text('{"factor_by_hour": {}}')
    result = run("table", places, "--out", tmp_path / "t.json", "--slowdowns", slow, "--day-start", "7 am")
    assert result.exit_code == 2
    assert "--day-start: must be a time such as 07:30" in result.output


@pytest.mark.slow
@needs_engine
def test_build_table_and_fit_on_a_real_extract(places: Path, tmp_path: Path) -> None:
    tiles, out, cache = tmp_path / "tiles", tmp_path / "t.json", tmp_path / "cache"
    result = run("build", helsinki(), "--tiles", tiles)
    assert result.exit_code == 0
    assert "ready" in result.output
    words = ["table", places, "--source", "tiles", "--tiles", tiles, "--cache", cache, "--out", out]
    assert run(*words).exit_code == 0
    written = json.loads(out.read_text())
    assert written["sources"] == ["estimate", "road extract Helsinki.osm.pbf"]
    assert written["travel"]["metres"][0][1] != written["travel"]["metres"][1][0]  # one-way streets
    assert (cache / "roads.sqlite").exists()
    result = run("fit", tiles, "--count", "60", "--out", tmp_path / "constants.json")
    assert result.exit_code == 0
    assert "assumed" in result.output
    assert "too short" in result.output
    assert run("table", places, "--constants", tmp_path / "constants.json", "--out", out).exit_code == 0


@needs_engine
def test_exit_codes_of_build_and_fit(tmp_path: Path, places: Path) -> None:
    result = run("build", places, "--tiles", tmp_path / "tiles")
    assert result.exit_code == 2
    assert "no OpenStreetMap extract" in result.output
    result = run("fit", tmp_path)
    assert result.exit_code == 1
    assert "no folder of routing tiles" in result.output


def test_help_needs_no_heavy_library() -> None:
    """A command line must answer at once: numbers, routing and HTTP are imported by the commands that use them."""
    program = (
        "import sys; from typer.testing import CliRunner; from api.cli.roads import app;"
        "assert CliRunner().invoke(app, ['--help']).exit_code == 0;"
        "print([m for m in ('numpy', 'httpx', 'valhalla', 'sqlite3', 'pandas') if m in sys.modules])"
    )
    ran = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert ran.stdout.strip() == "[]"
