"""Fitting task times and drives to what crews noted, taking a fit over, and undoing that."""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Sequence
from typing import get_args

import msgspec
import numpy as np
from sqlmodel import Session, col, select

from api import tables
from api.http import versions
from api.http.problems import Problem
from api.learning.done import DoneJob, done_jobs, drives_done
from api.ledger.fingerprint import fingerprint
from api.ledger.history import note
from scheduler.errors import BadInput
from scheduler.times.calibrate import LEAST_JOBS, Calibration, KindFit, calibrate, usual
from scheduler.times.crews import CrewEffects, crew_effects
from scheduler.times.durations import Kind, Times, read_times, row_minutes, times_to_csv
from scheduler.travel.taken import LEAST_DRIVES, DriveFit, fit_drives

BY = "learning"
NOUN = "task times"
LEAST_CHANGE = 0.01


class KindLearned(msgspec.Struct, frozen=True):
    """One kind of visit: minutes as planned and as they were, and what a fit does on jobs that it has not seen.

    `p50` and `p80` are the middle and the fourth fifth of the minutes; `new` are those of the fit. `within_p80_before`
    is the part of the jobs that took no longer than the P80 planned by. `change` is how the middle job's time changes.
    """

    kind: str
    jobs: int
    odd: int
    fitted: bool
    planned_p50: float
    planned_p80: float
    actual_p50: float
    actual_p80: float
    new_p50: float
    new_p80: float
    within_p80_before: float
    within_p80: float | None
    error_before: float | None
    error: float | None
    held_back: int
    change: float


class CrewLearned(msgspec.Struct, frozen=True):
    """How long a crew takes, of what is planned: the middle job, and what suffices four times in five (`p80`).

    `effect` is what its times are multiplied by after the fit (`scheduler.times.crews`), drawn towards 1 for few jobs.
    """

    crew_id: str
    jobs: int
    ratio: float
    p80: float = 0.0
    effect: float = 1.0


class Report(msgspec.Struct, frozen=True):
    """All that a fit has found; `odd` are visits whose minutes cannot be right. `why` it was not taken by itself.

    `crew_error` is the middle relative error on jobs held back with the crews' effects, `crew_error_before` without.
    """

    kinds: tuple[KindLearned, ...]
    crews: tuple[CrewLearned, ...]
    odd: tuple[str, ...]
    drives: DriveFit | None
    drives_seen: int
    mark: str
    why: str = ""
    crew_error: float | None = None
    crew_error_before: float | None = None


def report_of(row: tables.FittedTimes) -> Report:
    """Return the report of a stored fit."""
    return msgspec.convert(row.report, Report)


def newest(session: Session) -> tables.FittedTimes | None:
    """Return the newest fit, None before the first one."""
    row = tables.FittedTimes
    return session.exec(select(row).order_by(col(row.id).desc()).limit(1)).first()


def fit_now(session: Session, now: datetime.datetime, by: str) -> tables.FittedTimes | None:
    """Fit to what crews have noted so far and keep the fit, where there is more than before; take it over if it may be.

    Returns the newest fit; None where nothing is finished yet.
    """
    business = session.get(tables.Business, 1)
    if business is None:
        return None
    jobs, drives = done_jobs(session), drives_done(session)
    if not jobs and not drives:
        return newest(session)
    mark = fingerprint([[(j.visit_id, str(j.day), j.minutes) for j in jobs], [d.took_min for d in drives]])[:24]
    last = newest(session)
    # What was fitted to other times than are in force may not be taken over: it is fitted anew.
    if last is not None and report_of(last).mark == mark and (last.state != "offered" or last.before == business.times):
        return last
    old = read_times(business.times)
    calibration, kinds, odd = _fitted(jobs, old)
    try:
        drive = fit_drives([one.said_min for one in drives], [one.took_min for one in drives])
    except BadInput:
        drive = None
    rule = session.get(tables.LearningRule, 1) or tables.LearningRule()
    usual_jobs = [job for job in jobs if job.visit_id not in set(odd)]
    crews, effects = _crews(usual_jobs, old, calibration.times if calibration else old)
    report = Report(
        kinds, crews, odd, drive, len(drives), mark, _hindrance(rule, kinds, drive), effects.error, effects.error_before
    )
    row = tables.FittedTimes(
        made_at=now, made_by=by, times=times_to_csv(calibration.times if calibration else old),
        drives=msgspec.to_builtins(drive) if drive else {}, report=msgspec.to_builtins(report),
        before=business.times,
    )  # fmt: skip
    session.add(row)
    session.flush()
    note(session, now, by, "fitted", NOUN, str(row.id), {"jobs": len(jobs), "drives": len(drives)})
    if rule.auto and not report.why and teaches(row, rule):
        take_over(session, row, by=BY, now=now)
    return row


def _fitted(jobs: Sequence[DoneJob], old: Times) -> tuple[Calibration | None, tuple[KindLearned, ...], tuple[str, ...]]:
    history = [job.finished for job in jobs]
    keeps = usual(history, old)
    odd = tuple(job.visit_id for job, keep in zip(jobs, keeps, strict=True) if not keep)
    kept = [one for one, keep in zip(history, keeps, strict=True) if keep]
    try:
        calibration = calibrate(kept, old)
    except BadInput:
        calibration = None
    fits = {fit.kind: fit for fit in calibration.fits} if calibration else {}
    kinds = []
    for kind in get_args(Kind):
        of_kind = [one for one in kept if one.work.kind == kind]
        if of_kind:
            odd_n = sum(one.work.kind == kind for one in history) - len(of_kind)
            said = np.array([sum(row_minutes(one.work, old)) for one in of_kind])
            took = np.array([one.minutes for one in of_kind])
            new_times = calibration.times if calibration else old
            new = np.array([sum(row_minutes(one.work, new_times)) for one in of_kind])
            kinds.append(_kind(kind, odd_n, fits.get(kind), (said, took, new), (old, new_times)))
    return calibration, tuple(kinds), odd


def _kind(
    kind: Kind, odd: int, fit: KindFit | None, minutes: tuple[np.ndarray, np.ndarray, np.ndarray],
    times: tuple[Times, Times],
) -> KindLearned:  # fmt: skip
    said, took, new = minutes
    old_p80, new_p80 = (one.p80_factor(kind) for one in times)
    is_fitted = fit is not None and fit.fitted
    return KindLearned(
        kind=kind, jobs=len(took), odd=odd, fitted=is_fitted,
        planned_p50=float(np.median(said)), planned_p80=float(np.median(said * old_p80)),
        actual_p50=float(np.median(took)), actual_p80=float(np.quantile(took, 0.8)),
        new_p50=float(np.median(new)), new_p80=float(np.median(new * new_p80)),
        within_p80_before=float(np.mean(took <= said * old_p80)),
        within_p80=fit.within_p80 if fit and is_fitted else None,
        error_before=fit.error_before if fit and is_fitted else None, error=fit.error if fit and is_fitted else None,
        held_back=(fit.held_back or 0) if fit else 0,
        change=float(np.median(new / said) - 1),
    )  # fmt: skip


def _crews(jobs: Sequence[DoneJob], old: Times, new: Times) -> tuple[tuple[CrewLearned, ...], CrewEffects]:
    """Return each crew beside the planned times (`old`), and its effect beside those of the fit (`new`)."""
    ratios: dict[str, list[float]] = defaultdict(list)
    for job in jobs:
        ratios[job.crew_id].append(job.minutes / max(sum(row_minutes(job.work, old)), 1.0))
    effects = crew_effects(
        [job.crew_id for job in jobs], [max(sum(row_minutes(job.work, new)), 1.0) for job in jobs],
        [job.minutes for job in jobs],
    )  # fmt: skip
    crews = tuple(
        CrewLearned(crew, len(of), float(np.median(of)), float(np.quantile(of, 0.8)), effects.factor[crew])
        for crew, of in sorted(ratios.items())
    )
    return crews, effects


def _hindrance(rule: tables.LearningRule, kinds: Sequence[KindLearned], drive: DriveFit | None) -> str:
    """Return why a fit is not taken over by itself, empty where it may be: nothing learned, or outside its bounds."""
    fitted = [one for one in kinds if one.fitted]
    if not fitted and drive is None:
        return f"too few: a kind is fitted from {LEAST_JOBS} finished jobs on, drives from {LEAST_DRIVES}"
    for one in fitted:
        if abs(one.change) * 100 > rule.most_percent:
            return f"{one.kind}s would change by {one.change:+.0%}, more than {rule.most_percent} %"
        if one.error is not None and one.error_before is not None and one.error > one.error_before:
            return f"{one.kind}s held back are met worse than before"
    if drive is not None and drive.error_min > drive.error_before_min:
        return "drives held back are met worse than before"
    return ""


def take_over(session: Session, row: tables.FittedTimes, *, by: str, now: datetime.datetime) -> None:
    """Plan by a fit from now on; raises `Problem` where it is not the newest one, or was taken over already."""
    if row.state != "offered" or (last := newest(session)) is None or last.id != row.id:
        raise Problem(409, "A newer fit is there, or this one was taken over: look again.", kind="changed-meanwhile")
    business, rule = session.get_one(tables.Business, 1), _rule(session)
    if row.before != business.times:
        raise Problem(
            409, "The task times have been changed since this fit: fit again first.", kind="changed-meanwhile"
        )
    before = {"factor": rule.drive_factor, "constant_min": rule.drive_min}
    _write(session, row, {"state": "taken", "taken_at": now, "taken_by": by,
                          "drives_before": before})  # fmt: skip
    _write(session, business, {"times": row.times})
    if row.drives:
        _write(session, rule, {"drive_factor": row.drives["factor"], "drive_min": row.drives["constant_min"]})
    note(session, now, by, "took over", NOUN, str(row.id), {"kinds": _changes(row)})


def undo(session: Session, row: tables.FittedTimes, *, by: str, now: datetime.datetime) -> None:
    """Plan as before a fit was taken over; raises `Problem` where task times have been changed since."""
    business, rule = session.get_one(tables.Business, 1), _rule(session)
    if row.state != "taken" or business.times != row.times:
        words = "The task times have been changed since: change them back under Settings, Task times."
        raise Problem(409, words, kind="changed-meanwhile")
    _write(session, row, {"state": "undone"})
    _write(session, business, {"times": row.before})
    if row.drives:
        back = row.drives_before
        _write(session, rule, {"drive_factor": back["factor"], "drive_min": back["constant_min"]})
    note(session, now, by, "undid", NOUN, str(row.id), {"kinds": _changes(row)})


def teaches(row: tables.FittedTimes, rule: tables.LearningRule) -> bool:
    """Say whether a fit is something else than is planned by: a percent of a kind's time, or of drives."""
    report = report_of(row)
    drive = report.drives
    moved = drive is not None and (
        abs(drive.factor - rule.drive_factor) >= LEAST_CHANGE or abs(drive.constant_min - rule.drive_min) >= 0.5
    )
    return moved or any(one.fitted and abs(one.change) >= LEAST_CHANGE for one in report.kinds)


def _changes(row: tables.FittedTimes) -> dict[str, str]:
    return {one.kind: f"{one.change:+.0%}" for one in report_of(row).kinds if one.fitted}


def _rule(session: Session) -> tables.LearningRule:
    rule = session.get(tables.LearningRule, 1)
    if rule is None:
        rule = tables.LearningRule()
        session.add(rule)
        session.flush()
    return rule


def _write(session: Session, row: tables.FittedTimes | tables.Business | tables.LearningRule, values: object) -> None:
    if not versions.update(session, row, values):  # type: ignore[arg-type]
        raise Problem(409, "Somebody changed this at the same moment; read it again.", kind="changed-meanwhile")
