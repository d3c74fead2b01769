"""A week of the second format with some of its rules thought away for jobs that wait, to see where these could go.

Only rules that no visit of a standing plan rests on are loosened, so that the plan keeps the loosened week too.
"""

from __future__ import annotations

from collections.abc import Callable, Collection

from msgspec.structs import replace

from scheduler.engine.reasons.opened import EARLIER_MIN, LATER_MIN, helper_cents, van_takes
from scheduler.engine.reasons.remedies import with_skills
from scheduler.plan import Plan
from scheduler.week import Crew, Equipment, Helpers, Job, Reload, Shift, Stock, Vehicle, Week, Week2, Window

LOADING_MIN = 30  # that taking on a second load is thought to take, where the week knows no reloads: ours
MUCH = 100_000  # pieces, kilograms, millimetres: more than anything takes
_END = 1_600  # minutes after midnight: the last of a window on an open day

(KIT, SKILLS, YARD, VAN, HELPERS, TOOLS, PARTS, FOLLOWS, SECOND_LOAD, REST_WITHIN, WEEKLY, WINDOWS, LATER, EARLIER,
 SECOND_CREW, NO_REST) = KINDS = (
    "kit", "skills", "yard", "van", "helpers", "tools", "parts", "follows", "second load", "rest within", "weekly",
    "windows", "later", "earlier", "second crew", "no rest",
)  # fmt: skip
TO_BE_HAD = frozenset({KIT, SKILLS, YARD, VAN, HELPERS, TOOLS, PARTS, FOLLOWS, SECOND_LOAD, WEEKLY})


def kinds_for(week: Week, plan: Plan, job: Job) -> list[str]:
    """Return the kinds of rules that can stand in the way of `job`, those whose undoing is plainest first.

    The rest is none of them where a visit of the standing plan stops for it.
    """
    within = any(r.rest is not None and any(s.start < r.rest < s.end for s in r.stops) for r in plan.routes)
    job_skills = {*job.skills, *(job.assist.skills if job.assist else ())}
    hands = max(job.hands, job.assist.hands if job.assist else 0)
    vans = [c.vehicle for c in week.crews]
    binds = {
        KIT: job.ready_day != 0,
        SKILLS: any(not job_skills <= set(c.skills_on(s.day)) for c in week.crews for s in c.shifts),
        YARD: job.yard is not None and any(c.yard != job.yard for c in week.crews),
        VAN: job.weight_kg > 0 or not all(van_takes(job, v.rack_mm, v.boxes, v.payload_kg) for v in vans),
        HELPERS: any(c.hands < hands for c in week.crews),
        TOOLS: any(n > c.onboard.get(item, 0) for item, n in job.equipment.items() for c in week.crews),
        PARTS: any(job.parts.values()),
        FOLLOWS: any(job.id in (f.first, f.then) for f in week.follows),
        SECOND_LOAD: week.reload is None and (job.weight_kg > 0 or job.boxes > 0),
        REST_WITHIN: week.rest is not None and not (week.rest.within and job.pausable) and job.minutes > 1,
        WEEKLY: any(c.weekly is not None and c.weekly.cents for c in week.crews),
        SECOND_CREW: job.assist is not None,
        NO_REST: week.rest is not None and not within,
    }
    return [kind for kind in KINDS if binds.get(kind, True)]


def loosened(week: Week, kinds: Collection[str], jobs: frozenset[str]) -> Week:
    """Return `week` with the rules of `kinds` thought away, those on jobs for `jobs` alone."""
    for kind in KINDS:
        if kind in kinds:
            week = _LOOSER[kind](week, jobs)
    return week


def _of_jobs(change: Callable[[Week, Job], Job]) -> Callable[[Week, frozenset[str]], Week]:
    def looser(week: Week, jobs: frozenset[str]) -> Week:
        return replace(week, jobs=tuple(change(week, j) if j.id in jobs else j for j in week.jobs))

    return looser


def _of_crews(change: Callable[[Crew], Crew]) -> Callable[[Week, frozenset[str]], Week]:
    def looser(week: Week, jobs: frozenset[str]) -> Week:
        return replace(week, crews=tuple(map(change, week.crews)))

    return looser


def _of_shifts(change: Callable[[Shift], Shift]) -> Callable[[Week, frozenset[str]], Week]:
    return _of_crews(lambda crew: replace(crew, shifts=tuple(map(change, crew.shifts))))


def _open(week: Week, job: Job) -> Job:
    return replace(job, windows=tuple(Window(day, 0, _END, 0) for day in range(week.days)))


def _skilled(week: Week, jobs: frozenset[str]) -> Week:
    every = tuple(
        dict.fromkeys(s for j in week.jobs if j.id in jobs for s in (*j.skills, *(j.assist.skills if j.assist else ())))
    )
    return _of_crews(lambda crew: with_skills(crew, every))(week, jobs)


def _helped(week: Week, jobs: frozenset[str]) -> Week:
    there = {(h.yard, h.day): h for h in week.helpers}
    rows = [
        replace(there[key], count=there[key].count + MUCH) if (key := (y.id, day)) in there
        else Helpers(y.id, day, MUCH, helper_cents(week, y.id))
        for y in week.yards for day in range(week.days)
    ]  # fmt: skip
    return replace(week, helpers=tuple(rows))


def _tooled(week: Week, jobs: frozenset[str]) -> Week:
    there = {(e.id, e.yard): e for e in week.equipment}
    items = sorted({item for j in week.jobs for item in j.equipment})
    rows = {
        (item, y.id): Equipment(item, y.id, tuple(MUCH for _ in range(week.days))) for item in items for y in week.yards
    }
    return replace(week, equipment=tuple((there | rows).values()))


def _stocked(week: Week, jobs: frozenset[str]) -> Week:
    there = {(s.id, s.yard): s for s in week.stock}
    parts = sorted({part for j in week.jobs for part in j.parts})
    rows = {(part, y.id): Stock(part, y.id, MUCH, ()) for part in parts for y in week.yards}
    return replace(week, stock=tuple((there | rows).values()))


def _unordered(week: Week, jobs: frozenset[str]) -> Week:
    return replace(week, follows=tuple(f for f in week.follows if f.first not in jobs and f.then not in jobs))


def _reloading(week: Week, jobs: frozenset[str]) -> Week:
    assert isinstance(week, Week2)
    return week if week.reload is not None else replace(week, reload=Reload(LOADING_MIN))


def _resting(week: Week, jobs: frozenset[str]) -> Week:
    week = _of_jobs(lambda _, j: replace(j, pausable=True))(week, jobs)
    return week if week.rest is None else replace(week, rest=replace(week.rest, within=True))


_LOOSER: dict[str, Callable[[Week, frozenset[str]], Week]] = {
    KIT: _of_jobs(lambda _, j: replace(j, ready_day=0)),
    SKILLS: _skilled,
    YARD: _of_jobs(lambda _, j: replace(j, yard=None)),
    VAN: _of_crews(lambda c: replace(c, vehicle=Vehicle(MUCH, MUCH, MUCH))),
    HELPERS: _helped,
    TOOLS: _tooled,
    PARTS: _stocked,
    FOLLOWS: _unordered,
    SECOND_LOAD: _reloading,
    REST_WITHIN: _resting,
    WEEKLY: _of_crews(lambda c: replace(c, weekly=None)),
    WINDOWS: _of_jobs(_open),
    LATER: _of_shifts(lambda s: replace(s, overtime=s.overtime + LATER_MIN)),
    EARLIER: _of_shifts(lambda s: replace(s, start=max(0, s.start - EARLIER_MIN))),
    SECOND_CREW: _of_jobs(lambda _, j: replace(j, assist=None)),
    NO_REST: lambda week, _: replace(week, rest=None),
}
