"""Time on site from the table of task times, and the table fitted to finished jobs."""

from __future__ import annotations

import csv
import io
import math
import random
from statistics import NormalDist

import msgspec
import pytest

from scheduler.errors import BadInput
from scheduler.layout.compute import lay_out
from scheduler.layout.site.lifting import hands_and_lift
from scheduler.times.calibrate import COLUMNS, LEAST_JOBS, Finished, calibrate, describe, read_history
from scheduler.times.defaults import DEFAULT_TIMES_CSV
from scheduler.times.durations import (
    Estimate,
    Kind,
    Quantile,
    Times,
    Work,
    estimate,
    read_times,
    row_minutes,
    times_to_csv,
    work_of_install,
)
from tests.surveys import plain_survey

DEFAULT_TIMES = read_times(DEFAULT_TIMES_CSV)
PLAIN = Work(
    kind="install", width_mm=4000, brackets=4, holes=16, wall="wood-studs", height_mm=2900, hood=True, motor=True,
    hands=2, material_lift=True,
)  # fmt: skip


def changed(**changes: object) -> Work:
    return msgspec.structs.replace(PLAIN, **changes)


def test_the_plain_install_by_hand() -> None:
    found = estimate(PLAIN, DEFAULT_TIMES)
    assert found.by_task == pytest.approx({
        "open and set out": 30 + 4 * 2,
        "drill": 16 * 3,
        "brackets": 4 * 6,
        "hood": 20 + 4 * 3,
        "lift": 20 + 20 + 0.4 * 10,
        "wire and test": 15 + 30,
        "clean up": 20,
    })  # fmt: skip
    assert found.p50_min == 251
    assert found.p80_min == math.ceil(251 * 1.25)


def test_an_install_is_read_from_its_survey_and_layout() -> None:
    survey = plain_survey()
    layout = lay_out(survey)
    lift = hands_and_lift(survey.awning.weight_kg, survey.place.height, survey.awning.width)
    assert work_of_install(survey, layout, lift.hands, lift.material_lift) == PLAIN


@pytest.mark.parametrize(
    ("more", "task"),
    [
        ({"width_mm": 5000}, "open and set out"), ({"brackets": 5}, "brackets"), ({"holes": 20}, "drill"),
        ({"wall": "concrete"}, "drill"), ({"height_mm": 4000}, "lift"),
    ],
)  # fmt: skip
def test_more_work_takes_longer(more: dict[str, object], task: str) -> None:
    plain, found = estimate(PLAIN, DEFAULT_TIMES), estimate(changed(**more), DEFAULT_TIMES)
    assert found.by_task[task] > plain.by_task[task]
    assert found.p80_min > plain.p80_min


@pytest.mark.parametrize(("less", "task"), [({"hood": False}, "hood")])
def test_a_task_that_is_not_needed_is_left_out(less: dict[str, object], task: str) -> None:
    assert task not in estimate(changed(**less), DEFAULT_TIMES).by_task


def test_more_hands_shorten_only_what_can_be_shared() -> None:
    two, four, one = (estimate(changed(hands=n), DEFAULT_TIMES).by_task for n in (2, 4, 1))
    assert four["wire and test"] == two["wire and test"]
    assert four["clean up"] == pytest.approx(two["clean up"] * 0.75)  # half of it shared, halved
    assert one["clean up"] == pytest.approx(two["clean up"] * 1.5)


@pytest.mark.parametrize("kind", ["survey", "repair"])
def test_surveys_and_repairs_have_their_own_times(kind: Kind) -> None:
    found = estimate(changed(kind=kind, brackets=0, holes=0, hands=1), DEFAULT_TIMES)
    assert 45 <= found.p50_min <= found.p80_min <= 180


@pytest.mark.parametrize(("quantile", "share"), [("p50", 0.5), ("p65", 0.65), ("p80", 0.8)])
def test_planned_minutes_suffice_in_so_many_visits_of_a_hundred(quantile: Quantile, share: float) -> None:
    spread = NormalDist(math.log(10_000), math.log(1.45) / NormalDist().inv_cdf(0.8))
    minutes = Estimate({}, 10_000, 14_500).planned_min(quantile)
    assert spread.cdf(math.log(minutes)) == pytest.approx(share, abs=0.001)


def test_the_table_survives_writing_and_reading() -> None:
    assert read_times(times_to_csv(DEFAULT_TIMES)) == DEFAULT_TIMES


@pytest.mark.parametrize(
    ("old", "new", "where", "problem"),
    [
        ("kind,task,per", "kind,task,each", "first line", "must be kind,task,per,value,shared,source"),
        ("install,hood,hood,20", "install,hood,hood,-1", "line 12, value", "from 0 to 1000"),
        ("install,hood,hood,20", "install,hood,hood,nan", "line 12, value", "must be a number"),
        ("install,hood,hood,20", "install,hood,gutter,20", "line 12, per", "must be one of visit"),
        ("install,hood,hood,20,0.2", "install,hood,hood,20,2", "line 12, shared", "from 0 to 1"),
        ("install,hood,hood,20", "instal,hood,hood,20", "line 12, kind", "must be one of install"),
        ("install,hood,hood,20,0.2,assumption", "install,hood,hood,20,0.2,", "line 12, source", "must not be empty"),
        ("install,hood,hood,20,0.2,assumption", "install,hood,hood,20", "line 12", "more or fewer cells"),
        ("install,hood,metre of hood", "install,hood,hood", "line 13", "stands already"),
        ("install,uncertainty,p80 factor,1.25", "install,uncertainty,p80 factor,0.9", "line 20, value", "from 1 to 5"),
        ("install,uncertainty,p80 factor,1.25,0,assumption\n", "", "table", "install,uncertainty,p80 factor"),
    ],
)
def test_a_faulty_table_is_refused_with_line_and_column(old: str, new: str, where: str, problem: str) -> None:
    assert old in DEFAULT_TIMES_CSV
    with pytest.raises(BadInput) as fault:
        read_times(DEFAULT_TIMES_CSV.replace(old, new, 1))
    assert fault.value.where == where
    assert problem in fault.value.problem


def random_work(rng: random.Random) -> Work:
    width, bolts = rng.uniform(2500, 6500), rng.choice([2, 4])
    brackets = 4 + (width > 4877) + (width > 6096)
    return Work(
        kind="install", width_mm=width, brackets=brackets, holes=brackets * bolts,
        wall=rng.choice(["wood-studs", "stucco-on-studs", "concrete"]), height_mm=rng.uniform(2500, 5000),
        hood=rng.random() < 0.5, motor=rng.random() < 0.7, hands=rng.choice([2, 2, 3]),
        material_lift=rng.random() < 0.6,
    )  # fmt: skip


def finished(rng: random.Random, times: Times, count: int, scatter: float) -> list[Finished]:
    """Jobs that take what `times` says, times log-normal scatter."""
    works = [random_work(rng) for _ in range(count)]
    return [Finished(w, sum(row_minutes(w, times)) * math.exp(rng.gauss(0, scatter))) for w in works]


# A business that is slower in concrete and at the lift, and quicker at the motor, than the default table assumes.
TRUE_TIMES = read_times(
    DEFAULT_TIMES_CSV.replace("hole in concrete,6", "hole in concrete,12")
    .replace("install,lift,visit,20", "install,lift,visit,50")
    .replace("wire and test,motor,30", "wire and test,motor,10")
)


def test_a_fit_finds_the_times_that_made_the_jobs() -> None:
    rng = random.Random(7)
    fitted = calibrate(finished(rng, TRUE_TIMES, 300, 0.12), DEFAULT_TIMES)
    (fit,) = [f for f in fitted.fits if f.fitted]
    assert (fit.kind, fit.jobs, fit.held_back) == ("install", 300, 60)
    assert fit.error is not None
    assert fit.error_before is not None
    assert fit.within_p80 is not None
    assert fit.error < 0.8 * fit.error_before
    assert 0.65 <= fit.within_p80 <= 0.92
    assert f"on 60 held back the middle error was {fit.error:.0%} (before: {fit.error_before:.0%})" in describe(fit)
    # On jobs that neither the fit nor its report has seen.
    fresh = finished(rng, TRUE_TIMES, 400, 0.12)
    said = [estimate(job.work, fitted.times) for job in fresh]
    under_p50 = sum(job.minutes <= s.p50_min for job, s in zip(fresh, said, strict=True)) / len(fresh)
    under_p80 = sum(job.minutes <= s.p80_min for job, s in zip(fresh, said, strict=True)) / len(fresh)
    assert 0.42 <= under_p50 <= 0.60
    assert 0.74 <= under_p80 <= 0.88
    truth = [sum(row_minutes(job.work, TRUE_TIMES)) for job in fresh]
    off = [abs(sum(row_minutes(job.work, fitted.times)) / true - 1) for job, true in zip(fresh, truth, strict=True)]
    assert sorted(off)[len(off) // 2] < 0.04


def test_the_estimate_is_the_middle_job_even_where_many_run_late() -> None:
    # Four in ten jobs take half as long again: an average would say too much for most, least squares too little.
    rng = random.Random(5)
    works = [random_work(rng) for _ in range(200)]
    late = [1.5 if n % 5 in (1, 3) else 1.0 for n in range(200)]
    jobs = [
        Finished(w, sum(row_minutes(w, DEFAULT_TIMES)) * share * math.exp(rng.gauss(0, 0.05)))
        for w, share in zip(works, late, strict=True)
    ]
    times = calibrate(jobs, DEFAULT_TIMES).times
    under = sum(job.minutes <= sum(row_minutes(job.work, times)) for job in jobs) / len(jobs)
    assert under == pytest.approx(0.5, abs=0.02)


def test_kinds_with_too_few_jobs_keep_their_rows() -> None:
    fitted = calibrate(finished(random.Random(1), TRUE_TIMES, LEAST_JOBS, 0.1), DEFAULT_TIMES)
    assert [(f.kind, f.jobs, f.fitted) for f in fitted.fits] == [
        ("install", LEAST_JOBS, True), ("survey", 0, False), ("repair", 0, False),
    ]  # fmt: skip
    for kind in ("survey", "repair"):
        assert fitted.times.tasks(kind) == DEFAULT_TIMES.tasks(kind)
    assert describe(fitted.fits[1]) == "survey: 0 finished jobs, fewer than 20: its rows are left as they were."
    by_row = {(row.task, row.per): row for row in fitted.times.tasks("install")}
    assert by_row["brackets", "bracket"].source == f"fitted to {LEAST_JOBS} finished jobs"
    assert "none of which had this" in by_row["drill", "hole in hollow-block"].source
    assert read_times(times_to_csv(fitted.times)).p80_factor("install") == pytest.approx(
        fitted.times.p80_factor("install"), rel=1e-4
    )


def test_a_fit_to_jobs_that_the_table_describes_changes_nothing() -> None:
    fitted = calibrate(finished(random.Random(2), DEFAULT_TIMES, 60, 0.0), DEFAULT_TIMES)
    for row, old in zip(fitted.times.tasks("install"), DEFAULT_TIMES.tasks("install"), strict=True):
        assert row.value == pytest.approx(old.value, rel=1e-3)
    assert fitted.times.p80_factor("install") == pytest.approx(1.0, abs=1e-3)


def test_too_little_history_is_refused_in_one_sentence() -> None:
    few = finished(random.Random(3), TRUE_TIMES, LEAST_JOBS - 1, 0.1)
    with pytest.raises(BadInput) as fault:
        calibrate(few, DEFAULT_TIMES)
    assert (
        str(fault.value)
        == "history: needs at least 20 finished jobs of one kind, has 19 installs, 0 surveys, 0 repairs"
    )


def history_csv(rows: list[dict[str, str]]) -> str:
    out = io.StringIO()
    writer = csv.DictWriter(out, ["visit", *COLUMNS])
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()


ROW = {
    "visit": "J-1", "kind": "install", "width_mm": "4000", "brackets": "4", "holes": "16", "wall": "wood-studs",
    "height_mm": "2900", "hood": "yes", "motor": "Yes", "hands": "2", "material_lift": "yes", "minutes": "245",
}  # fmt: skip


def test_a_history_is_read_and_other_columns_are_passed_over() -> None:
    assert read_history("\ufeff" + history_csv([ROW, ROW])) == (Finished(PLAIN, 245.0),) * 2


@pytest.mark.parametrize(
    ("column", "cell", "problem"),
    [
        ("minutes", "four hours", "must be a number"), ("minutes", "0", "must be more than 0"),
        ("minutes", "nan", "must be a finite number"), ("holes", "2.5", "must be a whole number"),
        ("hood", "1", "must be yes or no"),
        ("wall", "wood", 'is "wood"'), ("kind", "visit", 'is "visit"'),
        ("hands", "0", "must be at least 1"),
    ],
)  # fmt: skip
def test_a_faulty_history_is_refused_with_line_and_column(column: str, cell: str, problem: str) -> None:
    with pytest.raises(BadInput) as fault:
        read_history(history_csv([ROW, {**ROW, column: cell}]))
    assert fault.value.where == f"line 3, {column}"
    assert problem in fault.value.problem


def test_a_history_without_a_column_is_refused() -> None:
    with pytest.raises(BadInput, match='first line: has no column "minutes"'):
        read_history(history_csv([ROW]).replace("minutes", "time"))
