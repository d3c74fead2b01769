"""What a planned week came to: its cost by kind, and how its crews, hours, ladders and promises fared."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from scheduler.plan import Cost, Plan
from scheduler.price import Outing, Visit, change_cents, outings, price_outings, risks, visits, weekly_cents
from scheduler.reports.promises import broken_promises, promised
from scheduler.week import Crew, Job, Week

COST_KINDS = ("crews", "travel", "overtime", "weekly", "helpers", "risk", "late", "changes", "skipped")


@dataclass(frozen=True, slots=True)
class CrewUse:
    """One crew's week in minutes. `shift_min` is what it could have worked, on `days` days; it went out on `days_out`.

    `out_min` = `drive_min` + `work_min` + `other_min` (waiting and rest); `jobs` in the order in which they are done.
    """

    crew: str
    days: int
    days_out: int
    shift_min: int
    out_min: int
    drive_min: int
    work_min: int
    overtime_min: int
    jobs: tuple[str, ...]

    @property
    def other_min(self) -> int:
        return self.out_min - self.drive_min - self.work_min


@dataclass(frozen=True, slots=True)
class PoolUse:
    """How many of a yard's shared ladders or tools of one kind go out each day, of how many; `jobs` need it."""

    item: str
    yard: str
    used: tuple[int, ...]
    there: tuple[int, ...]
    jobs: tuple[str, ...]

    @property
    def share(self) -> float:
        return sum(self.used) / sum(self.there) if sum(self.there) else 0.0


@dataclass(frozen=True, slots=True)
class Back:
    """A week looked back on. `causes` gives, by kind of cost, the jobs or crew days that cost it, dearest first.

    Each cause is (job id or crew id, day or None, cents). `promised` are the jobs with a firm time or day.
    """

    cost: Cost
    causes: dict[str, tuple[tuple[str, int | None, int], ...]]
    crews: tuple[CrewUse, ...]
    pools: tuple[PoolUse, ...]
    done: tuple[str, ...]
    waiting: tuple[str, ...]
    promised: tuple[str, ...]
    kept: tuple[str, ...]
    late: tuple[str, ...]
    metres: int

    @property
    def drive_share(self) -> float:
        """The share of the time out that was spent driving, 0 where nobody went out."""
        out = sum(crew.out_min for crew in self.crews)
        return sum(crew.drive_min for crew in self.crews) / out if out else 0.0


def look_back(week: Week, plan: Plan) -> Back:
    """Return what `plan` came to in `week`, reckoned from its routes alone."""
    out = outings(week, plan.routes)
    done = visits(out)
    told = [job.id for job in promised(week)]
    broken = set(broken_promises(week, done))
    return Back(
        cost=price_outings(week, out),
        causes=_causes(week, out, done),
        crews=tuple(_crew(crew, [o for o in out if o.crew.id == crew.id]) for crew in week.crews),
        pools=tuple(_pools(week, out)),
        done=tuple(job.id for job in week.jobs if job.id in done),
        waiting=tuple(job.id for job in week.jobs if job.id not in done),
        promised=tuple(told),
        kept=tuple(job for job in told if job not in broken),
        late=tuple(job.id for job in week.jobs if _late_days(job, done.get(job.id)) > 0),
        metres=sum(o.metres for o in out),
    )


def _crew(crew: Crew, out: Sequence[Outing]) -> CrewUse:
    return CrewUse(
        crew=crew.id,
        days=len(crew.shifts),
        days_out=len(out),
        shift_min=sum(shift.end - shift.start for shift in crew.shifts),
        out_min=sum(o.route.back - o.route.depart for o in out),
        drive_min=sum(sum(o.drives_min) for o in out),
        work_min=sum(stop.end - stop.start for o in out for stop, _ in o.stops),
        overtime_min=sum(o.overtime_min for o in out),
        jobs=tuple(job.id for o in sorted(out, key=lambda o: o.route.day) for _, job in o.stops),
    )


def _pools(week: Week, out: Sequence[Outing]) -> list[PoolUse]:
    found = []
    for pool in week.equipment:
        used, jobs = [0] * week.days, []
        for o in out:
            if o.crew.yard == pool.yard and (n := o.from_pool.get(pool.id, 0)):
                used[o.route.day] += n
                jobs += [job.id for _, job in o.stops if job.equipment.get(pool.id, 0)]
        found.append(PoolUse(pool.id, pool.yard, tuple(used), tuple(pool.count), tuple(jobs)))
    return found


def _late_days(job: Job, visit: Visit | None) -> int:
    return 0 if visit is None or job.due_day is None else max(0, visit.day - job.due_day)


def _causes(
    week: Week, out: Sequence[Outing], done: dict[str, Visit]
) -> dict[str, tuple[tuple[str, int | None, int], ...]]:
    """Return what each kind of cost is made of: crew days for those of the road, jobs for the others."""
    parts: dict[str, list[tuple[str, int | None, int]]] = defaultdict(list)
    for o in out:
        alone = price_outings(week, (o,))
        for kind in ("crews", "travel", "overtime", "helpers"):
            parts[kind].append((o.crew.id, o.route.day, getattr(alone, kind)))
        for stop, job in o.stops:
            parts["risk"].append((job.id, o.route.day, min(risks(job, o.route.day, stop.start, stop.end), default=0)))
    for crew in week.crews:
        mine = [o for o in out if o.crew.id == crew.id]
        for first in range(0, week.days, 7):
            days = [o for o in mine if first <= o.route.day < first + 7]
            parts["weekly"].append((crew.id, None, weekly_cents(days)))
    for job in week.jobs:
        visit = done.get(job.id)
        day = None if visit is None else visit.day
        parts["late"].append((job.id, day, job.late_cents * _late_days(job, visit)))
        changed = 0 if job.booked is None else change_cents(job.booked, visit, week.broken_cents)
        parts["changes"].append((job.id, day, changed))
        if visit is None:
            parts["skipped"].append((job.id, None, job.skip_cents))
    return {
        kind: tuple(sorted((part for part in parts[kind] if part[2]), key=lambda part: (-part[2], part[0])))
        for kind in COST_KINDS
    }
