"""`eaveboard weather` on the command line, with forecasts from files: nothing here asks the network."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner

from api.cli.weather import app
from scheduler.weather.limits import DEFAULT_LIMITS_CSV

SITE = ["--lat", "40.2", "--lon", "-75.1"]
HEAD = "start_utc,wind_mps,gust_mps,rain_mm,rain_chance,thunder_chance,temp_c,humidity\n"


@pytest.fixture
def file(tmp_path: Path) -> Path:
    """Calm hours of 2027-03-15, with gusts of 31 mph from 17 to 20 UTC (13 to 16 local)."""
    lines = [f"2027-03-15T{h:02}:00Z,3,{13.86 if 17 <= h < 20 else 5},0,0,0,12,0.5\n" for h in range(24)]
    path = tmp_path / "site.csv"
    path.write_text(HEAD + "".join(lines))
    return path


def test_windows_and_what_is_lost_are_told_in_lines(file: Path) -> None:
    options = ["--start", "2027-03-15", "--days", "1", "--minutes", "120", "--from", "file", "--address", str(file)]
    result = CliRunner().invoke(app, ["windows", *SITE, *options])
    assert result.exit_code == 0, result.output
    assert "Mon 13:00–16:00 lost: gusts 31 mph (limit 25)" in result.output
    assert "Mon 8:00–13:00 open, risk $" in result.output
    assert "Mon 16:00–17:00 lost: 60 min left, the work takes 120" in result.output
    assert "the lead's judgement on the spot" in result.output


def test_fetch_from_a_file_prints_the_hours_and_the_age(file: Path, tmp_path: Path) -> None:
    out = tmp_path / "out.csv"
    result = CliRunner().invoke(app, ["fetch", *SITE, "--from", "file", "--address", str(file), "--out", str(out)])
    assert result.exit_code == 0, result.output
    assert "file site.csv, 0 min old: 24 hours" in result.output
    assert out.read_text().startswith(HEAD)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["fetch", *SITE, "--from", "nws"], "contact: must be an e-mail or web address"),
        (["fetch", *SITE, "--from", "file", "--address", "/no/such.csv"], "cannot be read"),
        (["fetch", *SITE, "--from", "file"], "name the CSV file"),
        (["fetch", "--lat", "95", "--lon", "0"], "or equal to 90"),
        (["limits", "--limits", "/no/such.csv"], "cannot be read"),
    ],
)
def test_what_cannot_be_done_is_said_in_a_line(arguments: list[str], words: str) -> None:
    result = CliRunner().invoke(app, arguments)
    assert result.exit_code == 2
    assert words in result.output
    assert "Traceback" not in result.output


@pytest.mark.parametrize("hours", ["8-9-10", "morning", "17:00-08:00"])
def test_hours_that_cannot_be_are_refused(file: Path, hours: str) -> None:
    options = ["--start", "2027-03-15", "--from", "file", "--address", str(file), "--hours", hours]
    result = CliRunner().invoke(app, ["windows", *SITE, *options])
    assert result.exit_code == 2
    assert "hours" in result.output


def test_limits_are_shown_with_reason_and_source_and_can_be_edited(tmp_path: Path) -> None:
    shown = CliRunner().invoke(app, ["limits"])
    assert "A gust comes without warning while hands are full" in shown.output
    printed = CliRunner().invoke(app, ["limits", "--csv"])
    assert printed.output == DEFAULT_LIMITS_CSV
    own = tmp_path / "limits.csv"
    own.write_text(printed.output.replace("install,gust_mph,25", "install,gust_mph,45"))
    refused = CliRunner().invoke(app, ["limits", "--limits", str(own)])
    assert refused.exit_code == 2
    assert "high wind for handling material" in refused.output
    assert "line 3, value" in refused.output
