"""What a week lacks for a plan that was made with some of its rules thought away, as data.

Every remedy that is told has been tried so: the week with just what it names, the plan in which the job goes, the
auditor's verdict on it and its price against the plan without.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Collection, Iterator

from scheduler.engine.reasons.opened import helper_cents, van_takes
from scheduler.engine.reasons.remedies import (
    AtYard,
    BetterVan,
    Free,
    KitBy,
    LongerDay,
    NoRest,
    OpenHours,
    Parts,
    People,
    RestWithin,
    SecondCrew,
    SecondLoad,
    Skills,
    Tools,
    Undo,
    WeeklyMinutes,
)
from scheduler.engine.waiting.loosened import (
    EARLIER,
    FOLLOWS,
    HELPERS,
    KIT,
    LATER,
    LOADING_MIN,
    NO_REST,
    PARTS,
    REST_WITHIN,
    SECOND_CREW,
    SECOND_LOAD,
    SKILLS,
    TOOLS,
    VAN,
    WEEKLY,
    WINDOWS,
    YARD,
)
from scheduler.plan import Plan
from scheduler.price import Outing, outings, visits
from scheduler.week import Crew, Job, Week


def needed(week: Week, made: Plan, name: str, kinds: Collection[str]) -> tuple[Undo, ...]:
    """Return what `week` lacks so that `made`, in which job `name` goes, keeps its rules.

    kinds: the rules thought away; minutes past a crew's weekly ones break none, and are needed where those were.
    """
    out = outings(week, made.routes)
    found = [undo for part in (_of_job, _of_routes, _of_yards) for undo in part(week, out, name)]
    if NO_REST in kinds:
        found += _of_rests(week, out)
    return (*found, *(_of_weeks(week, out, name) if WEEKLY in kinds else ()))


def _of_job(week: Week, out: tuple[Outing, ...], name: str) -> Iterator[Undo]:
    """Yield what keeps the job off its place by itself."""
    done = visits(out)
    o = next(o for o in out for _, job in o.stops if job.id == name)
    stop, job = next((s, j) for s, j in o.stops if j.id == name)
    day, visit = o.route.day, done[name]
    if job.ready_day is None or job.ready_day > day:
        yield KitBy(day)
    if missing := tuple(s for s in dict.fromkeys(job.skills) if s not in o.crew.skills_on(day)):
        yield Skills(o.crew.id, missing)
    if job.yard not in (None, o.crew.yard):
        yield AtYard(o.crew.yard)
    if not any(w.day == day and w.start <= stop.start and stop.end <= w.end for w in job.windows):
        yield OpenHours(day, stop.start, stop.end)
    rest = week.rest
    if stop.end - stop.start > job.minutes and not (rest is not None and rest.within and job.pausable):
        yield RestWithin()
    broken = []
    for f in week.follows:
        if name not in (f.first, f.then) or (then := done.get(f.then)) is None:
            continue
        first = done.get(f.first)
        kept = (
            first is not None
            and f.min_days <= then.day - first.day
            and ((most := f.most(first.day)) is None or then.day - first.day <= most)
            and (first.crew == then.crew or not (f.same_crew or first.day == then.day))
            and (first.day < then.day or then.start >= first.end)
        )
        if not kept:
            broken.append((f.first, f.then))
    if broken:
        yield Free(tuple(broken))
    if (wanted := job.assist) is not None:
        second = next((other for other in out for _, helped in other.assists if helped.id == name), None)
        if second is None:
            begin = visit.start + wanted.from_min
            yield SecondCrew(day, begin, begin + wanted.minutes, wanted.hands, wanted.skills)
        elif missing := tuple(s for s in dict.fromkeys(wanted.skills) if s not in second.crew.skills_on(day)):
            yield Skills(second.crew.id, missing)


def _of_routes(week: Week, out: tuple[Outing, ...], name: str) -> Iterator[Undo]:
    """Yield what crews, their days and vans lack."""
    for o in out:
        van = o.crew.vehicle
        kg, boxes = (max(sum(of(j) for j in load) for load in o.loads) for of in (_kg, _boxes))
        rack = max((j.box_mm for _, j in o.stops if j.boxes), default=0)
        if kg > van.payload_kg or boxes > van.boxes or rack > van.rack_mm:
            yield BetterVan(o.crew.id, max(kg, van.payload_kg), max(rack, van.rack_mm), max(boxes, van.boxes))
    for o in out:
        earlier = max(0, o.shift.start - o.route.depart)
        later = max(0, o.route.back - o.shift.end - o.shift.overtime)
        if earlier or later:
            yield LongerDay(o.crew.id, o.route.day, earlier, later)
    if week.reload is None and any(stop.reload for o in out for stop in o.route.stops):
        yield SecondLoad(LOADING_MIN)


def _kg(job: Job) -> int:
    return job.weight_kg


def _boxes(job: Job) -> int:
    return job.boxes


def _of_yards(week: Week, out: tuple[Outing, ...], name: str) -> Iterator[Undo]:
    """Yield the people, tools and parts of which yards have too few."""
    hired: Counter[tuple[str, int]] = Counter()
    taken: Counter[tuple[str, str, int]] = Counter()
    used: defaultdict[tuple[str, str], Counter[int]] = defaultdict(Counter)
    for o in out:
        hired[o.crew.yard, o.route.day] += o.route.helpers
        for item, n in o.from_pool.items():
            taken[item, o.crew.yard, o.route.day] += n
        for _, job in o.stops:
            for part, n in job.parts.items():
                used[part, o.crew.yard][o.route.day] += n
    people = {(h.yard, h.day): h.count for h in week.helpers}
    for (yard, day), n in sorted(hired.items()):
        if n > (there := people.get((yard, day), 0)):
            yield People(yard, day, n - there, helper_cents(week, yard))
    pool = {(e.id, e.yard): e for e in week.equipment}
    for (item, yard, day), n in sorted(taken.items()):
        there = pool[item, yard].count[day] if (item, yard) in pool else 0
        if n > there:
            yield Tools(item, yard, day, n - there)
    at = next(o for o in out for _, job in o.stops if job.id == name)
    shelf = {(s.id, s.yard): s for s in week.stock}
    for (part, yard), by_day in sorted(used.items()):
        store, total, worst = shelf.get((part, yard)), 0, 0
        for day in range(week.days):
            total += by_day[day]
            there = store.on_hand + sum(a.qty for a in store.arrivals if a.day <= day) if store else 0
            worst = max(worst, total - there)
        if worst > 0:
            yield Parts(part, yard, at.route.day, worst)


def _of_rests(week: Week, out: tuple[Outing, ...]) -> Iterator[Undo]:
    """Yield the day on which a rest is due that the plan does not have."""
    rule = week.rest
    missing = (o for o in out if rule is not None and o.out_min > rule.after and o.route.rest is None)
    if (o := next(missing, None)) is not None:
        yield NoRest(o.crew.id, o.route.day)


def _of_weeks(week: Week, out: tuple[Outing, ...], name: str) -> Iterator[Undo]:
    """Yield the minutes past what the crews of the job may be out in its seven days free of charge."""
    at = next(o for o in out for _, job in o.stops if job.id == name)
    crews = {at.crew.id} | {o.crew.id for o in out for _, job in o.assists if job.id == name}
    for crew in (c for c in week.crews if c.id in crews and c.weekly is not None and c.weekly.cents):
        minutes = sum(o.out_min for o in out if o.crew.id == crew.id and o.route.day // 7 == at.route.day // 7)
        assert crew.weekly is not None
        if minutes > crew.weekly.minutes:
            yield WeeklyMinutes(crew.id, minutes - crew.weekly.minutes)


_KINDS: dict[type, frozenset[str]] = {
    KitBy: frozenset({KIT}),
    Skills: frozenset({SKILLS}),
    AtYard: frozenset({YARD}),
    BetterVan: frozenset({VAN}),
    People: frozenset({HELPERS}),
    Tools: frozenset({TOOLS}),
    Parts: frozenset({PARTS}),
    Free: frozenset({FOLLOWS}),
    SecondLoad: frozenset({SECOND_LOAD}),
    RestWithin: frozenset({REST_WITHIN}),
    WeeklyMinutes: frozenset({WEEKLY}),
    OpenHours: frozenset({WINDOWS}),
    LongerDay: frozenset({LATER, EARLIER}),
    SecondCrew: frozenset({SECOND_CREW}),
    NoRest: frozenset({NO_REST}),
}


def kinds_of(undo: Undo) -> frozenset[str]:
    """Return the kinds of rules that are thought away to find this undone."""
    return _KINDS[type(undo)]


def kept_off(job: Job, crew: Crew) -> bool:
    """Whether the crew's van, empty, does not take the job's kit."""
    van = crew.vehicle
    return not van_takes(job, van.rack_mm, van.boxes, van.payload_kg)
