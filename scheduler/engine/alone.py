"""Which rules keep a job off each crew day before anything else is planned, and which, undone, would free it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from scheduler.engine.model import FAR, Model
from scheduler.week import Crew, Follow, Job, Shift, Week

# In the order in which they are told; a work window comes last, as it is mostly not ours to change.
RULES = (
    "kit_not_ready", "no_skills", "no_van", "no_hands", "ladder_out", "stock_out", "out_of_reach", "other_yard",
    "follows", "no_work_window",
)  # fmt: skip


@dataclass(frozen=True)
class Block:
    """One crew's day and the rules that keep the job off it."""

    crew: Crew
    shift: Shift
    rules: frozenset[str]


def blocks(model: Model, job: Job, visits: Mapping[str, tuple[str, int]]) -> Iterator[Block]:
    """Yield every crew's working day with what keeps `job` off it; `visits`: crew and day of each planned job.

    Driving is direct from the yard and back. Nothing that other jobs take is counted, but a job that this one follows
    has to be planned, and on a fitting day.
    """
    week = model.week
    places = {place.id: n for n, place in enumerate(week.places)}
    homes = {yard.id: places[yard.place] for yard in week.yards}
    helpers = {(h.yard, h.day): h.count for h in week.helpers}
    follows = [f for f in week.follows if f.then == job.id]
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
            if any(n > 0 for n in missing_stock(model, job, crew.yard, day).values()):
                rules.add("stock_out")
            if any(not agrees(f, visits.get(f.first), crew.id, day) for f in follows):
                rules.add("follows")
            yield Block(crew, shift, frozenset(rules | _time(week, job, shift, out, back)))


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


def missing_stock(model: Model, job: Job, yard: str, day: int) -> dict[str, int]:
    """Return by part how many more are needed than the yard's shelf has had by that day, nobody else served."""
    row = next(n for n, y in enumerate(model.week.yards) if y.id == yard)
    return {p: n - int(model.stock_cap[row, model.stock_items.index(p), day]) for p, n in job.parts.items() if n}


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
