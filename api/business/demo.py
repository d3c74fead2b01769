"""The demo: a folder with the demo business in a database, every job drawn, every kit counted, and its week planned."""

from __future__ import annotations

import datetime
import functools
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import sqlalchemy as sa

from api.business.load import load_business
from api.business.seed import read_business
from api.database import transaction
from api.ledger.fingerprint import fingerprint
from api.ledger.plans.documents import because_as_data
from api.opened import opened_beside
from api.settings import sqlite_address
from api.week.horizon.document import horizon_of
from api.week.horizon.keeping import newest_id, store
from api.week.run.planning import Planner, PreparedWeek, plan_week, prepare_week
from scheduler import Progress
from scheduler import plan_week as solve
from scheduler.documents import encode
from scheduler.week import week_document

_PACKED = Path(__file__).parents[1] / "seeds" / "demo"  # where a wheel has them
FILES = _PACKED if _PACKED.is_dir() else Path(__file__).parents[2] / "seeds" / "demo"
SECONDS = 45.0
AHEAD_SECONDS = 15.0  # for the weeks after the first, which are shown by half days


@dataclass(frozen=True)
class Demo:
    """Where the parts of the demo lie, and what was made now (False: it was there already)."""

    week: Path
    plan: Path
    start_date: datetime.date
    loaded: bool
    drawn: int
    planned: bool


def build(
    out: Path,
    report: Callable[[str], None],
    *,
    files: Path = FILES,
    address: str = "",
    planner: Planner | None = None,
    seconds: float = SECONDS,
) -> Demo:
    """Make `out` with the database, layouts/*.json, drawings/*.svg, week.json and plan.json of the business in `files`.

    `report` is told each step in a line. `address`: the database (empty: SQLite in `out`). `planner` is the engine
    (None: the project's own, which plans the weeks ahead too), given `seconds`. What is there already and was made of
    the same inputs is used again.
    Everything is dated by the moment at which the business's forecast was issued, so that the demo is the same on any
    day. Raises `BadFiles` with every fault of the files.
    """
    out.mkdir(parents=True, exist_ok=True)
    business = read_business(files)
    report(f"read {len(business.rows)} rows of {business.name} from {files}")
    with opened_beside(out, address or sqlite_address(out)) as database:
        now = business.first_week.forecast_issued
        loaded = load_business(database, business, files_fingerprint(files), now)
        report("loaded them into the database" if loaded else "the database holds them already")
        made = prepare_week(database, business.first_week.start_date, now)
        report(_prepared_words(made))
        _write_papers(out, made)
        (out / "week.json").write_bytes(week_document(made.built.week))
        if planner is None:
            report(f"planning, for at most {seconds:.0f} s")
        row, planned = plan_week(
            database, made, planner or _engine(), seconds=seconds, now=now, by="demo", report=_progress(report)
        )
        (out / "plan.json").write_text(row.plan, encoding="utf-8")
        report("planned the week" if planned else "the week is planned already: nothing has changed since")
        if planner is None and (planned or loaded):
            report(f"planning the weeks ahead, for at most {AHEAD_SECONDS:.0f} s")
            _plan_ahead(database, _engine(), min(seconds, AHEAD_SECONDS), now)
    return Demo(out / "week.json", out / "plan.json", business.first_week.start_date, loaded, made.tally.made, planned)


def _plan_ahead(database: sa.Engine, planner: Planner, seconds: float, now: datetime.datetime) -> None:
    """Keep a plan of the weeks ahead, made of the rows and of what is planned of them already."""
    with transaction(database) as session:
        horizon, made_from = horizon_of(session, now), newest_id(session)
    plan = planner(horizon.document, seconds=seconds)
    with transaction(database) as session:
        store(
            session, horizon.document, plan, weeks=horizon.weeks, because=because_as_data(horizon.because),
            how="planned", made_from=made_from, now=now, by="demo",
        )  # fmt: skip


def _engine() -> Planner:
    """Return the project's engine."""
    return functools.partial(solve, clock=time.monotonic)


def _progress(report: Callable[[str], None]) -> Callable[[Progress], None]:
    """Return what tells the planner's progress in a line: seconds, what it does, the best cost and the bound."""

    def tell(progress: Progress) -> None:
        words = [f"{progress.seconds:3.0f} s, {progress.phase}"]
        if progress.cost is not None:
            words.append(f"cost {progress.cost / 100:,.0f}")
            if progress.bound is not None:
                words.append(f"at least {progress.bound / 100:,.0f}")
        report(": ".join((words[0], ", ".join(words[1:]))) if words[1:] else words[0])

    return tell


def _prepared_words(made: PreparedWeek) -> str:
    jobs = made.papers.values()
    drawn = sum(job.layout is not None for job in jobs)
    conditions = [job.kit_state.condition for job in jobs if job.kit_state is not None]
    kits = ", ".join(f"{conditions.count(c)} {c}" for c in ("verified", "short", "uncounted") if c in conditions)
    return f"drew {drawn} walls; kits: {kits}; {made.tally.made} papers made, {made.tally.kept} kept"


def _write_papers(out: Path, made: PreparedWeek) -> None:
    for folder in ("layouts", "drawings"):
        (out / folder).mkdir(exist_ok=True)
    for visit_id, job in made.papers.items():
        if job.layout is not None and job.drawing is not None:
            (out / "layouts" / f"{visit_id}.json").write_bytes(encode(job.layout))
            (out / "drawings" / f"{visit_id}.svg").write_text(job.drawing, encoding="utf-8")


def files_fingerprint(folder: Path) -> str:
    """Return what changes when any of a business's files does."""
    paths = sorted(path for path in folder.rglob("*") if path.suffix in (".csv", ".yaml"))
    return fingerprint([str(path.relative_to(folder)) for path in paths], *(path.read_bytes() for path in paths))
