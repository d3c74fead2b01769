"""The demo folder: from files to a planned week, and nothing done twice."""

from __future__ import annotations

import functools
import shutil
import time
from pathlib import Path

import pytest

from api.business import demo
from api.business.load import load_business
from api.business.seed import read_business
from api.database import open_database
from api.settings import sqlite_address
from scheduler import plan_week
from scheduler.audit import audit
from scheduler.documents import decode
from scheduler.errors import BadInput
from scheduler.layout.documents import Layout
from scheduler.plan import read_plan
from scheduler.week import read_week
from tests.conftest import DEMO, BuiltDemo
from tests.one_a_day import one_a_day


def test_the_folder_holds_a_valid_week_and_an_audited_plan(built: BuiltDemo) -> None:
    out = built.out
    week, plan = read_week((out / "week.json").read_bytes()), read_plan((out / "plan.json").read_bytes())
    verdict = audit(week, plan)
    assert verdict.ok, verdict.broken_rules
    assert verdict.cost == plan.cost
    assert built.made.planned
    assert any("drew 34 walls; kits: 20 verified, 5 short, 6 uncounted" in line for line in built.told)


def test_every_install_has_its_layout_and_drawing(built: BuiltDemo) -> None:
    layouts = {
        path.stem: decode(path.read_bytes(), Layout, "layout file") for path in (built.out / "layouts").glob("*.json")
    }
    assert len(layouts) == 34
    assert {path.stem for path in (built.out / "drawings").glob("*.svg")} == set(layouts)
    stopped = [job for job, layout in layouts.items() if any(f.level == "stop" for f in layout.findings)]
    assert sorted(stopped) == ["J-1049", "J-1071", "J-1073"]


def test_the_plan_says_what_stops_a_job_in_the_words_of_its_papers(built: BuiltDemo) -> None:
    plan = read_plan((built.out / "plan.json").read_bytes())
    why = {skipped.job: skipped.because[0].code for skipped in plan.skipped}
    assert {"J-1049": "drawing", "J-1060": "uncounted", "J-1054": "crate", "J-1063": "short"}.items() <= why.items()


def test_a_second_run_does_nothing_again(built: BuiltDemo, tmp_path: Path) -> None:
    def never(*_: object, **__: object) -> None:
        raise AssertionError("planned again")

    out = shutil.copytree(built.out, tmp_path / "out")
    before = (out / "plan.json").read_bytes()
    again = demo.build(out, lambda _: None, planner=never)  # type: ignore[arg-type]
    assert (again.loaded, again.drawn, again.planned) == (False, 0, False)
    assert (out / "plan.json").read_bytes() == before


def test_a_changed_count_plans_anew_and_draws_nothing_anew(built: BuiltDemo, demo_files: Path, tmp_path: Path) -> None:
    out = shutil.copytree(built.out, tmp_path / "out")
    counts = demo_files / "bench_counts.csv"
    text = counts.read_text()
    assert "J-1042,bracket,4,0" in text
    counts.write_text(text.replace("J-1042,bracket,4,0", "J-1042,bracket,3,0"))
    again = demo.build(out, lambda _: None, files=demo_files, planner=one_a_day)
    assert (again.loaded, again.drawn, again.planned) == (True, 0, True)
    (skipped,) = [s for s in read_plan((out / "plan.json").read_bytes()).skipped if s.job == "J-1042"]
    assert skipped.because[0].detail == "1 × bracket missing and not ordered: order it."


def test_another_business_is_never_overwritten(built: BuiltDemo, demo_files: Path, tmp_path: Path) -> None:
    head = demo_files / "business.yaml"
    head.write_text(head.read_text().replace("Tallow Bend Awning Works", "Another Awning Works"))
    engine = open_database(sqlite_address(shutil.copytree(built.out, tmp_path / "out")))
    with pytest.raises(BadInput, match="choose another folder"):
        load_business(engine, read_business(demo_files), "other", read_business(DEMO).first_week.forecast_issued)
    engine.dispose()


@pytest.mark.slow
def test_the_engine_plans_the_demo_week_better_than_one_job_a_day(
    built: BuiltDemo, compiled: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # By the processor's time: so little of the clock's may be nothing on a busy machine.
    monkeypatch.setattr(demo, "_engine", lambda: functools.partial(plan_week, clock=time.process_time))
    out = shutil.copytree(built.out, tmp_path / "out")
    made = demo.build(out, lambda _: None, seconds=1.5)
    assert made.planned
    week, plan = read_week((out / "week.json").read_bytes()), read_plan((out / "plan.json").read_bytes())
    assert audit(week, plan).ok
    assert plan.cost.total < read_plan((built.out / "plan.json").read_bytes()).cost.total
    assert plan.bound is None or plan.bound <= plan.cost.total
    assert {"J-1049": "drawing", "J-1060": "uncounted"}.items() <= {
        s.job: s.because[0].code for s in plan.skipped
    }.items()
