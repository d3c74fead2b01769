"""Fitting the task times to a business's own finished jobs, with the error that the fit makes on jobs it has not seen.

For each kind of visit: every row of the table gets a factor (never negative) so that the estimate meets the minutes
that the jobs took, by least squares of the relative error, drawn towards one common factor so that few jobs cannot turn
the table upside down (a ridge whose strength is chosen by five-fold cross-validation). Then the whole is scaled to the
middle job (P50), and the factor to P80 is read from the errors on jobs left out. What the report says of error comes
from every fifth job, which the fit reported on has not seen; the table returned is fitted to all. A row of 0 minutes
stays at 0: give a new task a first guess.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from typing import Annotated, Any, get_args

import msgspec
import numpy as np
import numpy.typing as npt
from msgspec import Meta

from scheduler.documents import convert
from scheduler.errors import BadInput
from scheduler.times.durations import P80, UNCERTAINTY, Kind, TaskTime, Times, Work, row_minutes

Numbers = npt.NDArray[np.float64]

LEAST_JOBS = 20
_FOLDS = 5
_RIDGES = (0.01, 0.1, 1.0, 10.0, 100.0)


class Finished(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A finished visit and the minutes that it took on site."""

    work: Work
    minutes: Annotated[float, Meta(gt=0, le=2_000)]


class KindFit(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """How the fit of one kind did on `held_back` jobs that it had not seen.

    `error` and `error_before` are the middle relative errors of the fitted and of the old table, `within_p80` the part
    of those jobs that took no longer than the fitted P80 (0.8 is meant). `fitted` False: too few jobs, the rows are
    left as they were, all other figures None.
    """

    kind: Kind
    jobs: int
    fitted: bool
    held_back: int | None
    error: float | None
    error_before: float | None
    within_p80: float | None


class Calibration(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    times: Times
    fits: tuple[KindFit, ...]


COLUMNS = (*Work.__struct_fields__, "minutes")
_FLAGS = ("hood", "motor", "material_lift")
_WHOLE = ("brackets", "holes", "hands")
_REAL = ("width_mm", "height_mm", "minutes")


def read_history(text: str) -> tuple[Finished, ...]:
    """Return the finished jobs in CSV `text`; raises `BadInput` naming line and column.

    Columns are those of `durations.Work` and `minutes`; yes and no for `hood`, `motor`, `material_lift`. Other columns
    are passed over, so a fuller export can be given as it is.
    """
    reader = csv.DictReader(io.StringIO(text.removeprefix("\ufeff")))
    for name in COLUMNS:
        if name not in (reader.fieldnames or ()):
            raise BadInput("first line", f'has no column "{name}"; a history has {", ".join(COLUMNS)}')
    return tuple(_finished(f"line {reader.line_num}", row) for row in reader if any(row.values()))


def calibrate(history: Sequence[Finished], times: Times) -> Calibration:
    """Return `times` fitted to `history`, and how well that did on jobs held back.

    The order of the rows decides which are held back (every fifth of a kind), so the same file gives the same answer.
    Raises `BadInput` where no kind of visit has `LEAST_JOBS` finished jobs.
    """
    by_kind = {kind: [job for job in history if job.work.kind == kind] for kind in get_args(Kind)}
    if all(len(jobs) < LEAST_JOBS for jobs in by_kind.values()):
        have = ", ".join(f"{len(jobs)} {kind}s" for kind, jobs in by_kind.items())
        raise BadInput("history", f"needs at least {LEAST_JOBS} finished jobs of one kind, has {have}")
    rows: dict[tuple[str, str, str], TaskTime] = {(row.kind, row.task, row.per): row for row in times.rows}
    fits: list[KindFit] = []
    for kind, jobs in by_kind.items():
        if len(jobs) < LEAST_JOBS:
            fits.append(KindFit(kind, len(jobs), False, None, None, None, None))
            continue
        taken = np.array([job.minutes for job in jobs])
        parts = np.array([row_minutes(job.work, times) for job in jobs])
        if np.any(parts.sum(axis=1) <= 0):
            raise BadInput("history", f"has {kind}s for which the table gives no minutes: add a row per visit first")
        fits.append(_judge(kind, parts, taken))
        factors, p80 = _fit(parts, taken)
        source = f"fitted to {len(jobs)} finished jobs"
        for row, factor, met in zip(times.tasks(kind), factors, parts.sum(axis=0) > 0, strict=True):
            value = round(min(row.value * float(factor), 1000.0), 4)
            told = source if met else f"scaled with {len(jobs)} finished jobs, none of which had this"
            rows[row.kind, row.task, row.per] = msgspec.structs.replace(row, value=value, source=told)
        rows[kind, UNCERTAINTY, P80] = TaskTime(kind, UNCERTAINTY, P80, round(p80, 4), 0.0, source)
    return Calibration(Times(tuple(rows.values())), tuple(fits))


def usual(history: Sequence[Finished], times: Times) -> tuple[bool, ...]:
    """Say of each finished job whether its minutes can be what it took: a phone forgotten overnight is no long job.

    Judged within its kind by the ratio to the estimate of `times`: odd is what lies more than three robust standard
    deviations (1.4826 times the median absolute deviation, of logarithms) from the middle, and beyond twice or half of
    it. Of fewer than five jobs of a kind none is odd.
    """
    said = [sum(row_minutes(job.work, times)) for job in history]
    logs = [math.log(job.minutes / max(minutes, 1.0)) for job, minutes in zip(history, said, strict=True)]
    bounds: dict[str, tuple[float, float]] = {}
    for kind in get_args(Kind):
        of_kind = np.array([value for job, value in zip(history, logs, strict=True) if job.work.kind == kind])
        if len(of_kind) >= _FOLDS:
            middle = float(np.median(of_kind))
            reach = 3 * 1.4826 * float(np.median(np.abs(of_kind - middle)))
            bounds[kind] = middle, max(reach, math.log(2))
    open_bounds = (0.0, math.inf)
    found = []
    for job, value in zip(history, logs, strict=True):
        middle, reach = bounds.get(job.work.kind, open_bounds)
        found.append(abs(value - middle) <= reach)
    return tuple(found)


def history_to_csv(history: Sequence[Finished]) -> str:
    """Return finished jobs as CSV text that `read_history` reads back."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for job in history:
        cells = msgspec.structs.asdict(job.work)
        written = [_cell(cells[name]) for name in Work.__struct_fields__]
        writer.writerow([*written, f"{job.minutes:g}"])
    return out.getvalue()


def _cell(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:.10g}" if isinstance(value, float) else str(value)


def describe(fit: KindFit) -> str:
    """Return one sentence on how the fit of a kind of visit did."""
    if not fit.fitted or fit.error is None or fit.error_before is None or fit.within_p80 is None:
        return f"{fit.kind}: {fit.jobs} finished jobs, fewer than {LEAST_JOBS}: its rows are left as they were."
    return (
        f"{fit.kind}: fitted to {fit.jobs} finished jobs; on {fit.held_back} held back the middle error was"
        f" {fit.error:.0%} (before: {fit.error_before:.0%}), and {fit.within_p80:.0%} took no longer than the P80."
    )


def _judge(kind: Kind, parts: Numbers, taken: Numbers) -> KindFit:
    held = np.arange(len(taken)) % _FOLDS == _FOLDS - 1
    factors, p80 = _fit(parts[~held], taken[~held])
    said, before = parts[held] @ factors, parts[held].sum(axis=1)
    return KindFit(
        kind=kind,
        jobs=len(taken),
        fitted=True,
        held_back=int(held.sum()),
        error=float(np.median(np.abs(taken[held] / said - 1))),
        error_before=float(np.median(np.abs(taken[held] / before - 1))),
        within_p80=float(np.mean(taken[held] <= said * p80)),
    )


def _fit(parts: Numbers, taken: Numbers) -> tuple[Numbers, float]:
    """Return the factor of each row, scaled to the middle job, and the factor from P50 to P80."""
    folds = np.arange(len(taken)) % _FOLDS
    left_out: dict[float, Numbers] = {}
    for ridge in _RIDGES:
        ratio = np.empty(len(taken))
        for fold in range(_FOLDS):
            inside = folds != fold
            ratio[~inside] = taken[~inside] / (parts[~inside] @ _factors(parts[inside], taken[inside], ridge))
        left_out[ridge] = ratio
    best = min(_RIDGES, key=lambda ridge: float(np.mean(np.abs(np.log(left_out[ridge])))))
    factors = _factors(parts, taken, best)
    middle = float(np.median(taken / (parts @ factors)))
    ratio = left_out[best] / np.median(left_out[best])
    # 1 to 5 is what the table holds; the quantile of jobs left out is honest about the fit's own error.
    return factors * middle, min(max(float(np.quantile(ratio, 0.8)), 1.0), 5.0)


def _factors(parts: Numbers, taken: Numbers, ridge: float) -> Numbers:
    """Return f ≥ 0 with the least Σ ((parts f − taken) / taken)² + ridge Σ (f − common)², by coordinate descent."""
    common = math.exp(float(np.median(np.log(taken / parts.sum(axis=1)))))
    scaled = parts / taken[:, None]
    square = scaled.T @ scaled + ridge * np.eye(parts.shape[1])
    pull = scaled.sum(axis=0) + ridge * common
    factors = np.full(parts.shape[1], common)
    for _ in range(500):
        before = factors.copy()
        for n in range(len(factors)):
            rest = pull[n] - square[n] @ factors + square[n, n] * factors[n]
            factors[n] = max(rest / square[n, n], 0.0)
        if np.max(np.abs(factors - before)) < 1e-9:
            break
    return factors


def _finished(where: str, row: dict[str, Any]) -> Finished:
    if None in row or None in row.values():
        raise BadInput(where, "has more or fewer cells than the first line (put text with commas between quotes)")
    cells = {name: row[name].strip() for name in COLUMNS}
    values: dict[str, Any] = {name: cells[name] for name in ("kind", "wall")}
    for name in _FLAGS:
        if cells[name].lower() not in ("yes", "no"):
            raise BadInput(f"{where}, {name}", f'must be yes or no, is "{cells[name]}"')
        values[name] = cells[name].lower() == "yes"
    for name in (*_WHOLE, *_REAL):
        try:
            values[name] = int(cells[name]) if name in _WHOLE else float(cells[name])
        except ValueError:
            what = "a whole number" if name in _WHOLE else "a number"
            raise BadInput(f"{where}, {name}", f'must be {what}, is "{cells[name]}"') from None
    minutes = values.pop("minutes")
    try:
        return convert({"work": values, "minutes": minutes}, Finished, "history")
    except BadInput as fault:
        raise BadInput(f"{where}, {fault.where.removeprefix('work.')}", fault.problem) from None
