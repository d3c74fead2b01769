"""What happened in a week beside what was posted for it: visits, promises, hours and wages, from what crews noted.

Each figure stands beside the planned figure of the same visits or crew days, those of which it is noted, so that both
say the same thing.
"""

from __future__ import annotations

import datetime
import zoneinfo
from dataclasses import dataclass

from sqlmodel import Session, col, select

from api import tables
from api.looking_back.weeks import WeekBack
from scheduler.price import RETIME_FROM_MIN, Outing, outings
from scheduler.reports.promises import promised
from scheduler.week import Job


@dataclass(frozen=True)
class SideBySide:
    """One figure as it was planned and as it happened, of `of` visits or crew days."""

    planned: int = 0
    happened: int = 0
    of: int = 0

    def plus(self, planned: int, happened: int) -> SideBySide:
        return SideBySide(self.planned + planned, self.happened + happened, self.of + 1)


@dataclass(frozen=True)
class Happened:
    """A week as it went: visits by what became of them, promises, and times planned beside those noted.

    `untold` are visits whose day is over and of which nobody has said what became; `to_come` those still ahead.
    `begun` is the time of day of the visits' beginnings, `late` those begun more than RETIME_FROM_MIN after the plan.
    `crews` is each crew's minutes out, `wages_cents` what crews and overtime came to.
    """

    done: tuple[str, ...]
    partly: tuple[str, ...]
    not_done: tuple[str, ...]
    untold: tuple[str, ...]
    to_come: tuple[str, ...]
    begun: int
    late: tuple[str, ...]
    site_min: SideBySide
    out_min: SideBySide
    overtime_min: SideBySide
    wages_cents: SideBySide
    crew_days: int
    crews: tuple[tuple[str, SideBySide], ...]
    kept: tuple[str, ...]
    broken: tuple[str, ...]
    open: tuple[str, ...]

    @property
    def told(self) -> int:
        return len(self.done) + len(self.partly) + len(self.not_done)


@dataclass(frozen=True)
class _Noted:
    results: dict[str, tables.DayResult]
    here: dict[str, int]
    out: dict[tuple[str, int], tuple[int, int]]


def happened(session: Session, one: WeekBack, today: datetime.date) -> Happened:
    """Return how the week `one` went, as far as it is noted by `today`."""
    noted = _noted(session, one)
    out = outings(one.week, one.plan.routes)
    stops = [(o.route.day, stop, job.id) for o in out for stop, job in o.stops]
    over = (today - one.start_date).days
    by_outcome: dict[str, list[str]] = {"done": [], "partly": [], "not_done": [], "untold": [], "to_come": []}
    site, late, begun = SideBySide(), [], 0
    for day, stop, job in stops:
        result = noted.results.get(job)
        by_outcome[result.outcome if result else "untold" if day < over else "to_come"].append(job)
        here = noted.here.get(job)
        if here is None:
            continue
        begun += 1
        if here > stop.start + RETIME_FROM_MIN:
            late.append(job)
        if result is not None and result.end is not None and result.end > here and result.outcome == "done":
            site = site.plus(stop.end - stop.start, result.end - here)
    out_min, overtime_min, wages_cents, crews = _hours(out, noted)
    kept, broken, still = _promises(one, noted, over)
    return Happened(
        done=tuple(by_outcome["done"]),
        partly=tuple(by_outcome["partly"]),
        not_done=tuple(by_outcome["not_done"]),
        untold=tuple(by_outcome["untold"]),
        to_come=tuple(by_outcome["to_come"]),
        begun=begun,
        late=tuple(late),
        site_min=site,
        out_min=out_min,
        overtime_min=overtime_min,
        wages_cents=wages_cents,
        crew_days=len(out),
        crews=crews,
        kept=kept,
        broken=broken,
        open=still,
    )


def _hours(
    out: tuple[Outing, ...], noted: _Noted
) -> tuple[SideBySide, SideBySide, SideBySide, tuple[tuple[str, SideBySide], ...]]:
    """Return minutes out, overtime, wages, and minutes out by crew, of the days noted from leaving to coming back."""
    total, overtime, wages, crews = SideBySide(), SideBySide(), SideBySide(), dict[str, SideBySide]()
    for o in out:
        crews.setdefault(o.crew.id, SideBySide())
        span = noted.out.get((o.crew.id, o.route.day))
        if span is None:
            continue
        minutes, over_min = span[1] - span[0], max(0, span[1] - o.shift.end)
        total = total.plus(o.out_min, minutes)
        overtime = overtime.plus(o.overtime_min, over_min)
        crews[o.crew.id] = crews[o.crew.id].plus(o.out_min, minutes)
        planned, real = (
            o.crew.day_cents + o.crew.minute_cents * time + o.crew.overtime_minute_cents * more
            for time, more in ((o.out_min, o.overtime_min), (minutes, over_min))
        )
        wages = wages.plus(planned, real)
    return total, overtime, wages, tuple(crews.items())


def _promises(one: WeekBack, noted: _Noted, over: int) -> tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...]]:
    """Return the promises of the week that were kept, those that were not, and those that may still be either."""
    kept: list[str] = []
    broken: list[str] = []
    still: list[str] = []
    for job in promised(one.week):
        verdict = _kept(job, one, noted)
        if verdict is None and job.booked is not None and job.booked.day < over:
            verdict = False if job.id not in one.back.kept else None
        (still if verdict is None else kept if verdict else broken).append(job.id)
    return tuple(kept), tuple(broken), tuple(still)


def _kept(job: Job, one: WeekBack, noted: _Noted) -> bool | None:
    """Say whether a promise was kept; None where nothing noted tells."""
    result, booked = noted.results.get(job.id), job.booked
    if booked is None or result is None:
        return None
    came_on = (result.day - one.start_date).days
    if came_on != booked.day or result.outcome == "not_done":
        return False
    if booked.hold == "day":
        return True
    came = noted.here.get(job.id)
    return None if came is None else abs(came - booked.start) <= RETIME_FROM_MIN


def _noted(session: Session, one: WeekBack) -> _Noted:
    zone = zoneinfo.ZoneInfo(one.week.timezone)
    last = one.start_date + datetime.timedelta(days=one.week.days)

    def minute(moment: datetime.datetime, day: datetime.date) -> int:
        local = moment.astimezone(zone)
        return (local.date() - day).days * 24 * 60 + local.hour * 60 + local.minute

    results, taps, gone = tables.DayResult, tables.StopTime, tables.RouteOut
    newest: dict[str, tables.DayResult] = {}
    here: dict[str, int] = {}
    rows = select(taps).where(taps.day >= one.start_date, taps.day < last, taps.what == "here")
    for tap in session.exec(rows):
        here[tap.visit_id] = minute(tap.at, tap.day)
    told = select(results).where(results.day >= one.start_date, results.day < last).order_by(col(results.id))
    for row in session.exec(told):
        newest[row.visit_id] = row
        if row.start is not None:
            here[row.visit_id] = row.start
    out = {}
    for route in session.exec(select(gone).where(gone.day >= one.start_date, gone.day < last)):
        if route.back_at is not None:
            day = (route.day - one.start_date).days
            out[route.crew_id, day] = minute(route.out_at, route.day), minute(route.back_at, route.day)
    return _Noted(newest, here, out)
