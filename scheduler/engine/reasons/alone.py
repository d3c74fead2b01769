"""Which rules keep a job off each crew day before anything else is planned, and which, undone, would free it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from scheduler.engine.model.arrays import FAR, Model
from scheduler.week import Crew, Follow, Job, Shift, Week

Visits = Mapping[str, tuple[str, int]]  # crew and day of each planned job

# In the order in which they are told; a work window comes last, as it is mostly not ours to change.
RULES = (
    "kit_not_ready",
    "no_skills",
    "no_van",
    "no_hands",
    "ladder_out",
    "stock_out",
    "out_of_reach",
    "other_yard",
    "follows",
    "no_work_window",
)


@dataclass(frozen=True)
class Block:
    """One crew's day and the rules that keep the job off it."""

    crew: Crew
    shift: Shift
    rules: frozenset[str]


def blocks(model: Model, job: Job, visits: Visits) -> Iterator[Block]:
    """Yield every crew's working day with what keeps `job` off it.

    Driving is direct from the yard and back. Of other jobs only those that this one follows count: they have to be
    planned, on a fitting day, and what they take of the shelf, the van and the hours of the same crew is gone.
    """
    week = model.week
    places = {place.id: n for n, place in enumerate(week.places)}
    homes = {yard.id: places[yard.place] for yard in week.yards}
    helpers = {(h.yard, h.day): h.count for h in week.helpers}
    follows = [f for f in week.follows if f.then == job.id]
    before = earlier(week, job)
    there = places[job.place]
    for crew in week.crews:
        always = set(_always(job, crew))
        home = homes[crew.yard]
        out, back = week.travel.minutes[home][there], week.travel.minutes[there][home]
        for shift in crew.shifts:
            day = shift.day
            rules = set(always)
            if job.ready_day is None or job.ready_day > day:
                rules.add("kit_not_ready")
            if job.hands > crew.hands + helpers.get((crew.yard, day), 0):
                rules.add("no_hands")
            if any(n > 0 for n in missing_equipment(week, job, crew, day).values()):
                rules.add("ladder_out")
            if any(n > 0 for n in missing_stock(model, job, crew.yard, day, visits).values()):
                rules.add("stock_out")
            same_day = [other for other in before if visits.get(other.id) == (crew.id, day)]
            rules |= _time(week, job, shift, out, back)
            fit = all(agrees(f, visits.get(f.first), crew.id, day) for f in follows)
            shut = "no_work_window" in rules  # opened at any hour, if this rule is undone
            if not fit or (same_day and not _beside(week, job, crew, shift, same_day, any_hour=shut)):
                rules.add("follows")
            yield Block(crew, shift, frozenset(rules))


def ways(found: list[Block]) -> list[frozenset[str]]:
    """Return the smallest sets of rules of which one, undone as a whole, frees some crew day; the plainest first."""
    least = min((len(b.rules) for b in found), default=0)
    sets = {b.rules for b in found if len(b.rules) == least}
    told = sorted(sets, key=lambda rules: sorted(RULES.index(r) for r in rules))
    without_window = [rules for rules in told if "no_work_window" not in rules]
    return without_window or told


def agrees(follow: Follow, first: tuple[str, int] | None, crew: str, day: int) -> bool:
    """Whether a crew's day suits a job that follows one with the given crew and day (None: not planned)."""
    if first is None:
        return False
    days = day - first[1]
    if days < follow.min_days or (follow.max_days is not None and days > follow.max_days):
        return False
    return first[0] == crew or (days > 0 and not follow.same_crew)


def missing_equipment(week: Week, job: Job, crew: Crew, day: int) -> dict[str, int]:
    """Return by item how many more than the yard's whole pool of that day the crew would have to take."""
    pool = {e.id: e.count[day] for e in week.equipment if e.yard == crew.yard}
    return {
        i: n - crew.onboard.get(i, 0) - pool.get(i, 0) for i, n in job.equipment.items() if n > crew.onboard.get(i, 0)
    }


def missing_stock(model: Model, job: Job, yard: str, day: int, visits: Visits) -> dict[str, int]:
    """Return by part how many more are needed than the shelf has had by that day, only what it follows served."""
    week = model.week
    row = next(n for n, y in enumerate(week.yards) if y.id == yard)
    yards = {crew.id: crew.yard for crew in week.crews}
    served = [o for o in earlier(week, job) if o.id in visits and yards[visits[o.id][0]] == yard]
    return {
        part: n
        + sum(o.parts.get(part, 0) for o in served)
        - int(model.stock_cap[row, model.stock_items.index(part), day])
        for part, n in job.parts.items()
        if n
    }


def earlier(week: Week, job: Job) -> list[Job]:
    """Return the jobs that `job` follows, directly or over others, in an order that keeps the follows."""
    if not any(f.then == job.id for f in week.follows):
        return []
    by_id = {j.id: j for j in week.jobs}
    found: dict[str, None] = {}

    def collect(name: str) -> None:
        for f in week.follows:
            if f.then == name and f.first not in found:
                collect(f.first)
                found[f.first] = None

    collect(job.id)
    return [by_id[name] for name in found]


def _beside(week: Week, job: Job, crew: Crew, shift: Shift, before: list[Job], *, any_hour: bool) -> bool:
    """Whether the crew can do `job` (at `any_hour`) after the jobs `before`, in their order and without a rest.

    Careful: another order, or a day with a rest, might do where this says no.
    """
    jobs, van = [*before, job], crew.vehicle
    if sum(j.weight_kg for j in jobs) > van.payload_kg or sum(j.boxes for j in jobs) > van.boxes:
        return False
    places = {place.id: n for n, place in enumerate(week.places)}
    here = home = places[next(y.place for y in week.yards if y.id == crew.yard)]
    clock = shift.start
    for j in jobs:
        clock, here = clock + week.travel.minutes[here][places[j.place]], places[j.place]
        windows = [w for w in j.windows if w.day == shift.day]
        ends = [end for w in windows if (end := max(clock, w.start) + j.minutes) <= w.end]
        if j is job and any_hour:
            ends = [clock + j.minutes]
        if not ends:
            return False
        clock = min(ends)
    clock += week.travel.minutes[here][home]
    return clock <= shift.end + shift.overtime and (week.rest is None or clock - shift.start <= week.rest.after)


def _always(job: Job, crew: Crew) -> Iterator[str]:
    if job.yard not in (None, crew.yard):
        yield "other_yard"
    if not set(job.skills) <= set(crew.skills):
        yield "no_skills"
    van = crew.vehicle
    if (job.boxes and job.box_mm > van.rack_mm) or job.boxes > van.boxes or job.weight_kg > van.payload_kg:
        yield "no_van"


def _time(week: Week, job: Job, shift: Shift, out: int, back: int) -> set[str]:
    """Return no_work_window, out_of_reach or both: what has to give before the visit fits into the day."""
    first, last = shift.start, shift.end + shift.overtime
    spans = [(w.start, w.end - job.minutes) for w in job.windows if w.day == shift.day]
    in_shift = [(max(lo, first), min(hi, last - job.minutes)) for lo, hi in spans]
    if fits(week, job, in_shift, first, last, out, back):
        return set()
    at_any_hour = fits(week, job, [(first, last - job.minutes)], first, last, out, back)
    in_any_shift = any(max(out, lo) <= hi for lo, hi in spans)
    if any(lo <= hi for lo, hi in in_shift):
        return (
            {"out_of_reach"}
            if in_any_shift
            else {"no_work_window"}
            if at_any_hour
            else {"no_work_window", "out_of_reach"}
        )
    return (
        {"no_work_window"} if at_any_hour else {"out_of_reach"} if in_any_shift else {"no_work_window", "out_of_reach"}
    )


def fits(week: Week, job: Job, spans: list[tuple[int, int]], first: int, last: int, out: int, back: int) -> bool:
    """Whether the job alone, started within one of `spans`, can be reached from `first` on and be left by `last`."""
    return any(home_at(week, job, lo, hi, first, out, back) <= last for lo, hi in spans)


def home_at(week: Week, job: Job, lo: int, hi: int, first: int, out: int, back: int) -> int:
    """Return the earliest minute of being home from the job alone, started from lo to hi; FAR where it cannot be."""
    begin = max(first + out, lo)
    if begin > hi:
        return FAR
    rest = week.rest
    if rest is None or out + job.minutes + back <= rest.after:
        return begin + job.minutes + back
    found = FAR
    if first + out <= rest.latest and (later := max(max(first + out, rest.earliest) + rest.length, lo)) <= hi:
        found = later + job.minutes + back
    if begin + job.minutes <= rest.latest:
        found = min(found, max(begin + job.minutes, rest.earliest) + rest.length + back)
    return found
