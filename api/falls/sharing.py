"""What posted visits share, held against what there is today: ladders and tools, helpers, shelves, vans, roads.

Where there is not enough for all, as few visits as must are named, one after the other, the least promised first: what
it would have taken is then free for the rest.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Collection, Iterator, Sequence

from msgspec.structs import replace

from api.falls.today import Today
from api.fields.shown import clock, day_name
from scheduler.plan import Stop, loading_for_some
from scheduler.price import Outing, outings
from scheduler.week import Follow, Job, crew_goes_on

Lack = tuple[list[str], str]  # visits of which one must give way, and why
_HOLDS = {"firm": 3, "day": 2, "soft": 1}


def give_way(today: Today, coming: Sequence[str], fallen: Collection[str]) -> Iterator[tuple[str, str]]:
    """Yield visits of `coming` for which there is not enough today, each with the sentence that says of what.

    `fallen` cannot go already. Visits that have begun keep what they have.
    """
    gone = set(fallen)
    movable = set(coming) - gone
    jobs = {job.id: job for job in today.built.week.jobs}
    for lacking in _LACKS:
        while (lack := lacking(today, _outings(today, gone))) is not None:
            among, words = lack
            chosen = min((name for name in among if name in movable), key=lambda n: _rank(jobs[n]), default=None)
            if chosen is None:
                break
            gone.add(chosen)
            movable.discard(chosen)
            yield chosen, words


def _rank(job: Job) -> tuple[int, int, str]:
    """Return who gives way first: nothing promised, then a soft promise, a day, a firm hour; of these the cheapest."""
    return 0 if job.booked is None else _HOLDS[job.booked.hold], job.skip_cents, job.id


def _outings(today: Today, gone: Collection[str]) -> tuple[Outing, ...]:
    """Return the posted routes in today's week, without the visits that are gone."""
    left = []
    for route in today.posted.plan.routes:
        stops = loading_for_some([stop for stop in route.stops if (stop.job or stop.assist) not in gone])
        if stops:
            left.append(replace(route, stops=stops))
    return outings(today.built.week, left)


def _equipment(today: Today, out: Sequence[Outing]) -> Lack | None:
    pool = {(e.id, e.yard): e.count for e in today.built.week.equipment}
    sent: dict[tuple[str, str, int], list[Outing]] = defaultdict(list)
    taken: Counter[tuple[str, str, int]] = Counter()
    for o in out:
        for item, n in o.from_pool.items():
            if n:
                sent[item, o.crew.yard, o.route.day].append(o)
                taken[item, o.crew.yard, o.route.day] += n
    for (item, yard, day), n in sorted(taken.items(), key=lambda entry: (entry[0][2], entry[0])):
        there = pool[item, yard][day] if (item, yard) in pool else 0
        if n > there:
            among = [
                job.id
                for o in sent[item, yard, day]
                for _, job in o.stops
                if job.equipment.get(item, 0) > o.crew.onboard.get(item, 0)
            ]
            have = "none is in order" if not there else f"{there} {'is' if there == 1 else 'are'} in order"
            return among, f"{n} × {item} are wanted from {yard} on {_day(today, day)}, and {have}."
    return None


def _helpers(today: Today, out: Sequence[Outing]) -> Lack | None:
    count = {(h.yard, h.day): h.count for h in today.built.week.helpers}
    sent: dict[tuple[str, int], list[Outing]] = defaultdict(list)
    for o in out:
        if o.route.helpers and any(job.hands > o.crew.hands for _, job in o.stops):
            sent[o.crew.yard, o.route.day].append(o)
    for (yard, day), routes in sorted(sent.items(), key=lambda entry: (entry[0][1], entry[0])):
        wanted, there = sum(o.route.helpers for o in routes), count.get((yard, day), 0)
        if wanted > there:
            among = [job.id for o in routes for _, job in o.stops if job.hands > o.crew.hands]
            return among, f"{wanted} helpers are wanted from {yard} on {_day(today, day)}, and {there} can come."
    return None


def _stock(today: Today, out: Sequence[Outing]) -> Lack | None:
    shelf = {(s.id, s.yard): s for s in today.built.week.stock}
    used: dict[tuple[str, str], list[tuple[int, str, int]]] = defaultdict(list)
    for o in out:
        for _, job in o.stops:
            for part, n in job.parts.items():
                used[part, o.crew.yard].append((o.route.day, job.id, n))
    for (part, yard), takes in sorted(used.items()):
        store = shelf.get((part, yard))
        for day in sorted({day for day, _, _ in takes}):
            total = sum(n for at, _, n in takes if at <= day)
            there = 0 if store is None else store.on_hand + sum(a.qty for a in store.arrivals if a.day <= day)
            if total > there:
                among = [name for at, name, _ in takes if at <= day]
                return (
                    among,
                    f"{total} × {part} are wanted from {yard} by {_day(today, day)}, and {there} will be there.",
                )
    return None


def _load(today: Today, out: Sequence[Outing]) -> Lack | None:
    for o in out:
        van, name = o.crew.vehicle, today.crew_name(o.crew.id)
        for load in o.loads:
            kg, boxes = sum(job.weight_kg for job in load), sum(job.boxes for job in load)
            if kg > van.payload_kg:
                among = [job.id for job in load if job.weight_kg]
                return among, f"The day's load is {kg} kg, and the van of {name} carries {van.payload_kg}."
            if boxes > van.boxes:
                among = [job.id for job in load if job.boxes]
                return among, f"The day has {boxes} long boxes, and the van of {name} takes {van.boxes}."
    return None


def _road(today: Today, out: Sequence[Outing]) -> Lack | None:
    """Drives that take longer than when the week was posted, or work that does: a stop is then reached too late."""
    for o in out:
        free, before = o.route.depart, "the yard"
        for (stop, job), drive in zip(o.calls, o.drives_min, strict=False):
            if job is None:
                free, before = max(free + drive, stop.start) + stop.end - stop.start, "the yard"
                continue
            if free + drive > stop.start:
                late = free + drive - stop.start
                at = clock(free + drive)
                words = f"The drive from {before} takes {drive} min: work can begin at {at}, {late} min late."
                if stop.assist:
                    crew = crew_goes_on(today.crew_name(o.crew.id))
                    lift = f"The lift there can begin at {at} alone, when {crew} comes."
                    words = f"The drive from {before} takes {drive} min. {lift}"
                return [job.id], words
            takes, rest = stop.end - stop.start, today.posted.rests.get(job.id, 0)
            free, before = stop.start + (takes if stop.assist else max(job.minutes + rest, takes)), job.id
        last = o.shift.end + o.shift.overtime
        if free + o.drives_min[-1] > max(last, o.route.back):
            last_job = [job.id for _, job in o.calls if job is not None][-1:]
            return last_job, f"{today.crew_name(o.crew.id)} would be back after {clock(last)}."
    return None


def _follows(today: Today, out: Sequence[Outing]) -> Lack | None:
    """Visits that go before another one and do not any more, or never did: somebody has asked for it since."""
    planned = {job.id: (o, stop) for o in out for stop, job in o.stops}
    for follow in today.built.week.follows:
        if follow.then not in planned:
            continue
        if follow.first not in planned:
            if follow.first in today.posted.spots:
                return [follow.then], f"{follow.first} goes first, and cannot go as posted."
            return [follow.then], f"{follow.first} goes first, and is on no posted day yet."
        if words := _out_of_order(today, follow, planned[follow.first], planned[follow.then]):
            return [follow.then], words
    return None


def _out_of_order(today: Today, follow: Follow, first: tuple[Outing, Stop], then: tuple[Outing, Stop]) -> str:
    """Return what is wrong with when or by whom a visit that follows another is posted; empty: nothing."""
    (one, before), (other, after) = first, then
    later, name, on = other.route.day - one.route.day, follow.first, _day(today, one.route.day)
    at = clock(before.start)
    if later < follow.min_days:
        least = follow.min_days
        return f"{name} goes first, and is posted for {on}, {at}: {follow.then} comes at least {least} d later."
    if later == 0 and after.start < before.end:
        return f"{name} goes first, and is posted for {on}, {at}."
    if follow.max_days is not None and later > follow.max_days:
        most = follow.max_days
        return f"{name} goes first, and is posted for {on}, {at}: {follow.then} comes at most {most} d later."
    if one.route.crew != other.route.crew and (follow.same_crew or later == 0):
        crew = today.crew_name(one.route.crew)
        return f"{name} goes first, and is posted for {on}, {at} with {crew}: the same crew is to do both."
    return ""


_LACKS: tuple[Callable[[Today, Sequence[Outing]], Lack | None], ...] = (
    _equipment, _helpers, _stock, _load, _road, _follows,
)  # fmt: skip


def _day(today: Today, day: int) -> str:
    return day_name(today.posted.date(day))
