"""`eaveboard replan` and `eaveboard offer` as their users meet them."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from api.cli import main
from scheduler.documents import encode
from tests.unit.engine.again.test_replan import MORNING, job, plan_of, week_of

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(capfd: pytest.CaptureFixture[str]) -> Run:
    def run(*args: str | Path) -> tuple[int, str, str]:
        capfd.readouterr()
        with pytest.raises(SystemExit) as ended:
            main([str(arg) for arg in args])
        sys.stdout.flush()
        out, err = capfd.readouterr()
        return int(ended.value.code or 0), out, err

    return run


@pytest.fixture
def posted(tmp_path: Path) -> list[Path | str]:
    """Week and plan: A in the first morning, B waiting for its place, C on either day."""
    week = week_of(
        job("A", (0, (480, 600))), job("B", (0, (480, 600)), skip=20_000), job("C", (0, (600, 720)), (1, MORNING))
    )
    (tmp_path / "week.json").write_bytes(encode(week))
    (tmp_path / "plan.json").write_bytes(encode(plan_of(week)))
    return [tmp_path / "week.json", "--from", tmp_path / "plan.json"]


def test_replan_writes_a_plan_that_audits_and_says_who_moves_and_why(
    run: Run, posted: list[Any], tmp_path: Path
) -> None:
    new, week = tmp_path / "new.json", tmp_path / "now.json"
    code, out, _ = run("replan", *posted, "--out", new, "--week-out", week, "--lost", "A")
    assert code == 0
    assert "A: dropped, Mon Apr 5 8:10 with Ash; lost this week" in out
    assert "B: newly planned, Mon Apr 5" in out
    assert "fills the hole that A left" in out
    assert "2 jobs change, 1 stay as they are." in out
    assert run("audit", week, new)[0] == 0


def test_replan_as_json(run: Run, posted: list[Any], tmp_path: Path) -> None:
    code, out, _ = run("replan", *posted, "--out", tmp_path / "new.json", "--lost", "A:tue", "--json")
    assert code == 0
    told = json.loads(out)
    moves = {m["job"]: m for m in told["moves"]}
    assert moves["A"]["what"] == "dropped"
    assert moves["A"]["before"] == {"crew": "Ash", "day": 0, "start": 490}  # done at 9:50, in time for C at 10:00
    assert moves["A"]["after"] is None
    assert told["cost"]["total"] == told["bound"]


@pytest.mark.parametrize("day", ["0", "mon", "Monday", "2027-04-05", "mon:00:00"])
def test_days_go_by_number_name_and_date(run: Run, posted: list[Any], tmp_path: Path, day: str) -> None:
    code, out, _ = run("replan", *posted, "--out", tmp_path / "new.json", "--freeze-until", day)
    assert (code, out.splitlines()[0]) == (0, "0 jobs change, 2 stay as they are.")


def test_a_crew_away_loses_its_day(run: Run, posted: list[Any], tmp_path: Path) -> None:
    code, out, _ = run("replan", *posted, "--out", tmp_path / "new.json", "--away", "Ash:mon")
    assert code == 0
    assert "crew Ash is away on Mon Apr 5" in out
    assert "C: other day, Mon Apr 5" in out


@pytest.mark.parametrize(
    ("option", "value", "words"),
    [
        ("--away", "Ash", "--away: Ash names no day; write CREW:DAY, such as Ash:tue."),
        ("--away", "Oak:mon", 'away: no crew has the id "Oak".'),
        ("--away", "Ash:sun", "--away: sun is no day of this week, 0 to 1, 2027-04-05 to 2027-04-06."),
        ("--lost", "X", 'lost: no job has the id "X".'),
        ("--freeze-until", "mon:1030", "--freeze-until: 1030 is no time; write DAY or DAY:HH:MM, such as tue:10:30."),
        ("--freeze-until", "9", "--freeze-until: 9 is no day of this week, 0 to 1, 2027-04-05 to 2027-04-06."),
    ],
)
def test_what_is_not_in_the_week_is_refused(
    run: Run, posted: list[Any], tmp_path: Path, option: str, value: str, words: str
) -> None:
    code, out, err = run("replan", *posted, "--out", tmp_path / "new.json", option, value)
    assert (code, out, err.strip()) == (2, "", words)
    assert not (tmp_path / "new.json").exists()


@pytest.mark.parametrize("others", ["stay", "move"])
def test_offer_names_times_and_costs(run: Run, posted: list[Any], others: str) -> None:
    code, out, _ = run("offer", *posted, "--job", "C", "--others", others, "--best", "2")
    assert code == 0
    first, second = out.splitlines()
    assert first.startswith("1. Mon Apr 5, start ")
    assert "Ash: $0.00 more; work window 10:00 to 12:00" in first
    assert "as planned now" in first
    assert second.startswith("2. Tue Apr 6")


def test_offer_as_json(run: Run, posted: list[Any]) -> None:
    code, out, _ = run("offer", *posted, "--job", "C", "--others", "move", "--json")
    assert code == 0
    told = json.loads(out)
    assert [o["day"] for o in told["offers"]] == [0, 1]
    assert all(o["proven"] for o in told["offers"])


def test_offer_when_there_is_no_time(run: Run, posted: list[Any]) -> None:
    code, out, _ = run("offer", *posted, "--job", "B")
    assert (code, out.strip()) == (0, "B can be given no time with the others where they are.")


def test_offer_asks_for_a_job_of_the_week(run: Run, posted: list[Any]) -> None:
    code, out, err = run("offer", *posted, "--job", "X")
    assert (code, out, err.strip()) == (2, "", "--job: no job has the id X.")
