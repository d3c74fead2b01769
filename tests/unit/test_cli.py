"""The command line as its users meet it: what it prints, what it writes, and its exit codes."""

from __future__ import annotations

import json
import os
import random
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import msgspec
import pytest
import typer

from api.cli import app, main
from scheduler import Fair
from scheduler.documents import encode
from scheduler.plan import Plan, read_plan
from scheduler.week import Week
from tests.plans import good_plan
from tests.weeks import small_week


@dataclass(frozen=True)
class FakeProgress:
    seconds: float
    cost: int | None
    bound: int | None
    phase: str


@dataclass(frozen=True)
class Ran:
    code: int
    out: str
    err: str


Run = Callable[..., Ran]


@pytest.fixture
def run(capfd: pytest.CaptureFixture[str]) -> Run:
    def run(*args: str | Path) -> Ran:
        capfd.readouterr()
        with pytest.raises(SystemExit) as ended:
            main([str(arg) for arg in args])
        sys.stdout.flush()
        out, err = capfd.readouterr()
        return Ran(int(ended.value.code or 0), out, err)

    return run


@pytest.fixture(scope="module")
def example() -> tuple[Week, Plan]:
    """A week and a plan in which two crews go out, with a rest, and some jobs wait."""
    for seed in range(1000):
        week = small_week(random.Random(seed), jobs=6, crews=3, days=2)
        plan = good_plan(week)
        if len(plan.routes) > 2 and plan.skipped and any(r.rest is not None for r in plan.routes):
            return week, plan
    raise AssertionError("no such week among the first thousand")


@pytest.fixture
def files(tmp_path: Path, example: tuple[Week, Plan]) -> tuple[Path, Path]:
    week, plan = example
    (tmp_path / "week.json").write_bytes(encode(week))
    (tmp_path / "plan.json").write_bytes(encode(plan))
    return tmp_path / "week.json", tmp_path / "plan.json"


def broken(plan: Plan) -> Plan:
    first = plan.routes[0]
    late = msgspec.structs.replace(first, depart=first.depart + 1)
    return msgspec.structs.replace(plan, routes=(late, *plan.routes[1:]))


# --- help, completion, start


def commands() -> Iterator[tuple[str, Any]]:
    group: Any = typer.main.get_command(app)
    for name, command in group.commands.items():
        if hasattr(command, "commands"):
            yield from ((f"{name} {sub}", inner) for sub, inner in command.commands.items())
        else:
            yield name, command


def test_every_command_and_every_option_is_explained() -> None:
    found = dict(commands())
    assert {"plan", "audit", "show", "demo", "serve"} <= set(found)
    for name, command in found.items():
        assert command.help, name
        for param in command.params:
            assert getattr(param, "help", None), f"{name}: {param.name}"


@pytest.mark.parametrize("args", [["--help"], ["-h"], *([*name.split(), "--help"] for name, _ in commands())])
def test_help_is_printed(run: Run, args: list[str]) -> None:
    ran = run(*args)
    assert ran.code == 0
    assert ran.out.startswith("Usage: eaveboard")


def test_help_and_completion_load_nothing_heavy() -> None:
    heavy = {"numpy", "numba", "scipy", "pandas", "ortools", "highspy", "rich", "msgspec", "fastapi", "sqlalchemy"}
    code = f"import api.cli, sys; print(sorted({heavy!r} & set(sys.modules)))"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True).stdout.strip() == "[]"


def test_completion_offers_the_commands() -> None:
    settings = {"_EAVEBOARD_COMPLETE": "complete_bash", "COMP_WORDS": "eaveboard ", "COMP_CWORD": "1"}
    code = "from api.cli import main; main([])"
    done = subprocess.run([sys.executable, "-c", code], env=os.environ | settings, capture_output=True, text=True)
    assert {"plan", "audit", "show"} <= set(done.stdout.split())


# --- audit


def test_audit_of_a_good_plan(run: Run, files: tuple[Path, Path]) -> None:
    ran = run("audit", *files)
    assert (ran.code, ran.err) == (0, "")
    assert ran.out.startswith("The plan keeps every rule and costs $")
    assert "no plan of this week is cheaper (proven)" in ran.out


def test_audit_of_a_broken_plan_says_what_is_broken_and_ends_with_1(
    run: Run, files: tuple[Path, Path], example: tuple[Week, Plan]
) -> None:
    files[1].write_bytes(encode(broken(example[1])))
    ran = run("audit", *files)
    assert ran.code == 1
    assert "The plan is broken in" in ran.out.splitlines()[-1]
    as_json = run("audit", *files, "--json")
    assert as_json.code == 1
    verdict = json.loads(as_json.out)
    assert verdict["ok"] is False
    assert len(verdict["broken_rules"]) == len(ran.out.splitlines()) - 1
    assert {"rule", "sentence", "crew", "day", "job"} == set(verdict["broken_rules"][0])


@pytest.mark.parametrize(
    ("week", "plan", "says"),
    [
        ("none.json", "plan.json", "none.json: cannot be read: there is no such file."),
        ("week.json", ".", ".: cannot be read: it is a folder."),
        ("plan.json", "plan.json", 'plan.json: format: must be "week/1" or "week/2", is "plan/1".'),
        ("week.json", "week.json", 'week.json: format: must be "plan/1" or "plan/2", is "week/1".'),
        ("-", "-", "-: can stand for one of the files only; name the others."),
    ],
)
def test_bad_input_is_one_sentence_and_2(
    run: Run, files: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch, week: str, plan: str, says: str
) -> None:
    monkeypatch.chdir(files[0].parent)
    ran = run("audit", week, plan)
    assert (ran.code, ran.out, ran.err) == (2, "", says + "\n")


def test_wrong_use_ends_with_2(run: Run) -> None:
    for args in (["audit"], ["paint"], ["plan", "w.json"], ["plan", "w.json", "--out", "p", "--seconds", "soon"]):
        ran = run(*args)
        assert (ran.code, ran.out, ran.err.count("\n")) == (2, "", 1)
        assert "--help says what there is." in ran.err


def test_the_week_can_come_from_standard_input(files: tuple[Path, Path]) -> None:
    code = f"from api.cli import main; main(['audit', '-', {str(files[1])!r}])"
    done = subprocess.run([sys.executable, "-c", code], input=files[0].read_bytes(), capture_output=True)
    assert done.returncode == 0, done.stderr


# --- show


@pytest.mark.parametrize("by", ["crew", "day"])
def test_show_prints_every_stop_the_pile_and_the_cost(
    run: Run, files: tuple[Path, Path], example: tuple[Week, Plan], by: str
) -> None:
    _, plan = example
    ran = run("show", files[1], "--week", files[0], "--by", by)
    assert ran.code == 0
    for route in plan.routes:
        assert route.crew in ran.out
        for stop in route.stops:
            assert f"{stop.start // 60}:{stop.start % 60:02}" in ran.out
            assert stop.job in ran.out
    for skipped in plan.skipped:
        assert skipped.job in ran.out
    assert "rest" in ran.out
    assert f"Waiting pile: {len(plan.skipped)} job" in ran.out
    assert f"${plan.cost.total // 100:,}.{plan.cost.total % 100:02}" in ran.out
    assert max(map(len, ran.out.splitlines())) <= 120


def test_show_as_json_is_the_whole_sheet(run: Run, files: tuple[Path, Path], example: tuple[Week, Plan]) -> None:
    sheet = json.loads(run("show", files[1], "--week", files[0], "--json").out)
    stops = [entry["job"] for cell in sheet["cells"] for entry in cell["entries"]]
    waiting = [waiting["job"] for waiting in sheet["waiting"]]
    assert sorted(stops + waiting) == sorted(job.id for job in example[0].jobs)


def test_show_warns_of_a_broken_plan(run: Run, files: tuple[Path, Path], example: tuple[Week, Plan]) -> None:
    files[1].write_bytes(encode(broken(example[1])))
    ran = run("show", files[1], "--week", files[0])
    assert ran.code == 0
    assert "This plan breaks the rules in" in ran.out


def test_names_cannot_steer_the_terminal(run: Run, files: tuple[Path, Path]) -> None:
    nasty = "job\x1b[31m[bold]"
    for file in files:
        file.write_text(file.read_text().replace('"job-1"', json.dumps(nasty)))
    for args in (["show", files[1], "--week", files[0]], ["audit", *files]):
        ran = run(*args)
        assert ran.code == 0
        assert "\x1b" not in ran.out
    assert "job?[31m[bold]" in run("show", files[1], "--week", files[0]).out


# --- plan


@pytest.fixture
def engine(monkeypatch: pytest.MonkeyPatch, example: tuple[Week, Plan]) -> Callable[[Callable[..., Plan]], None]:
    def use(solve: Callable[..., Plan]) -> None:
        monkeypatch.setattr("scheduler.plan_week", solve, raising=False)

    def solve(week: Week, *, report: Callable[[Any], None], **options: Any) -> Plan:
        for n in range(20):
            report(FakeProgress(float(n), None if n == 0 else example[1].cost.total + 1, example[1].bound, "looking"))
        return example[1]

    use(solve)
    return use


def test_plan_writes_the_plan_and_says_what_is_proven(
    run: Run, files: tuple[Path, Path], example: tuple[Week, Plan], engine: Any, tmp_path: Path
) -> None:
    ran = run("plan", files[0], "--out", tmp_path / "new.json", "--seconds", "5")
    assert ran.code == 0
    assert read_plan((tmp_path / "new.json").read_bytes()) == example[1]
    assert ran.out.startswith("Planned ")
    assert "no plan of this week is cheaper (proven)" in ran.out
    told = ran.err.splitlines()
    assert len(told) == 4  # at 0, 5, 10 and 15 s: no terminal, so a line every 5 s
    assert "looking" in told[0]
    assert "cost $" in told[1]


def test_plan_passes_on_what_was_asked_for(
    run: Run, files: tuple[Path, Path], example: tuple[Week, Plan], engine: Any, tmp_path: Path
) -> None:
    asked: dict[str, Any] = {}

    def solve(week: Week, **options: Any) -> Plan:
        asked.update(options, week=week)
        return example[1]

    engine(solve)
    run("plan", files[0], "-o", tmp_path / "new.json", "--seconds", "7.5", "--seed", "3")
    assert (asked["seconds"], asked["seed"], asked["week"]) == (7.5, 3, example[0])
    run("plan", files[0], "-o", tmp_path / "new.json", "--until-proven")
    assert (asked["seconds"], asked["seed"]) == (None, 0)


def test_plan_to_standard_output(run: Run, files: tuple[Path, Path], example: tuple[Week, Plan], engine: Any) -> None:
    def solve(week: Week, **options: Any) -> Plan:
        os.write(1, b"a compiled library says hello\n")
        return example[1]

    engine(solve)
    ran = run("plan", files[0], "--out", "-")
    assert ran.code == 0
    assert read_plan(ran.out) == example[1]
    assert "Planned" in ran.err
    assert run("plan", files[0], "--out", "-", "--json").code == 2


def test_plan_outcome_as_json(
    run: Run, files: tuple[Path, Path], example: tuple[Week, Plan], engine: Any, tmp_path: Path
) -> None:
    outcome = json.loads(run("plan", files[0], "--out", tmp_path / "new.json", "--json").out)
    assert outcome["cost"]["total"] == example[1].cost.total
    assert outcome["gap_percent"] == 0
    assert outcome["planned"] + outcome["waiting"] == len(example[0].jobs)
    assert outcome["stopped"] is False


def test_the_first_ctrl_c_keeps_the_best_plan_so_far(
    run: Run, files: tuple[Path, Path], example: tuple[Week, Plan], engine: Any, tmp_path: Path
) -> None:
    def solve(week: Week, *, stop: Callable[[], bool], **options: Any) -> Plan:
        assert not stop()
        os.kill(os.getpid(), signal.SIGINT)
        assert stop()
        return example[1]

    engine(solve)
    before = signal.getsignal(signal.SIGINT)
    ran = run("plan", files[0], "--out", tmp_path / "new.json")
    assert ran.code == 0
    assert "Stopped on your word; the plan is the best found so far." in ran.err
    assert read_plan((tmp_path / "new.json").read_bytes()) == example[1]
    assert signal.getsignal(signal.SIGINT) is before


def test_ctrl_c_while_overtime_is_spread_keeps_the_plan_as_it_was(
    run: Run, files: tuple[Path, Path], example: tuple[Week, Plan], engine: Any, tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    def fair(week: Week, plan: Plan, most: int, *, stop: Callable[[], bool], **options: Any) -> Fair:
        os.kill(os.getpid(), signal.SIGINT)
        assert stop()
        return Fair(plan, (), False)

    engine(lambda week, **options: example[1])
    monkeypatch.setattr("scheduler.fair", fair)
    ran = run("plan", files[0], "--out", tmp_path / "new.json", "--fair-up-to", "500")
    assert ran.code == 0
    assert "Stopped on your word" in ran.err
    assert read_plan((tmp_path / "new.json").read_bytes()) == example[1]


def test_the_second_ctrl_c_gives_up_and_leaves_the_old_file(
    run: Run, files: tuple[Path, Path], engine: Any, tmp_path: Path
) -> None:
    def solve(week: Week, **options: Any) -> Plan:
        os.kill(os.getpid(), signal.SIGINT)
        os.kill(os.getpid(), signal.SIGINT)
        raise AssertionError("still here after the second Ctrl-C")

    engine(solve)
    (tmp_path / "new.json").write_text("the old plan")
    ran = run("plan", files[0], "--out", tmp_path / "new.json")
    assert ran.code == 130
    assert "nothing was written" in ran.err
    assert (tmp_path / "new.json").read_text() == "the old plan"


def test_a_plan_that_breaks_a_rule_is_not_written(
    run: Run, files: tuple[Path, Path], example: tuple[Week, Plan], engine: Any, tmp_path: Path
) -> None:
    engine(lambda week, **options: broken(example[1]))
    ran = run("plan", files[0], "--out", tmp_path / "new.json")
    assert ran.code == 1
    assert "was not written" in ran.err
    assert not (tmp_path / "new.json").exists()


def test_where_the_plan_goes_is_checked_before_the_work(
    run: Run, files: tuple[Path, Path], engine: Any, tmp_path: Path
) -> None:
    def solve(week: Week, **options: Any) -> Plan:
        raise AssertionError("the search should not have begun")

    engine(solve)
    ran = run("plan", files[0], "--out", tmp_path / "nowhere" / "plan.json")
    assert ran.code == 2
    assert "cannot be written: there is no folder" in ran.err
    assert run("plan", files[0], "--out", tmp_path).err.endswith("is a folder; name a file in it.\n")


# --- demo


def test_demo_says_where_everything_is(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def build(out: Path, report: Callable[[str], None]) -> Any:
        report("drew 3 walls")
        return SimpleNamespace(week=out / "week.json", plan=out / "plan.json")

    monkeypatch.setattr("api.business.demo.build", build)
    ran = run("demo", "--out", tmp_path)
    assert ran.code == 0
    assert f"eaveboard show {tmp_path}/plan.json --week {tmp_path}/week.json" in ran.out


def test_serve_refuses_settings_that_cannot_be(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("EAVEBOARD_PORT", "x")
    ran = run("serve")
    assert ran.code == 2
    assert ran.err.startswith("EAVEBOARD_PORT: must be a whole number from 1 to 65535")
