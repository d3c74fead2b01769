"""The sentences of the reasons: numbers, names and days, so that a manager knows what to change."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import groupby

from scheduler.engine.model.arrays import FAR, Model
from scheduler.engine.reasons.alone import Block, agrees, home_at, missing_equipment, missing_stock
from scheduler.engine.reasons.room import FOLLOW, HELPER, LADDER, LOAD, STOCK, Opening
from scheduler.plan import Because
from scheduler.week import Crew, Job, Shift, Window, clock_time, crew_name, day_name

# The codes of what routes share, by the bit that says that it stands in the way.
SHARED = {LADDER: "ladder_out", STOCK: "stock_out", HELPER: "no_helper", FOLLOW: "follows", LOAD: "van_full"}


_GIVEN = {LADDER: "equipment", STOCK: "parts", HELPER: "helpers"}


def amount(cents: int) -> str:
    """Return cents as 1,240.50."""
    return f"{'-' if cents < 0 else ''}{abs(cents) // 100:,}.{abs(cents) % 100:02}"


def count(number: int, thing: str) -> str:
    """Return "1 helper", "2 helpers"."""
    return f"{number} {thing}{'' if number == 1 else 's'}"


def people(number: int) -> str:
    """Return "1 person", "2 people"."""
    return "1 person" if number == 1 else f"{number} people"


def listed(names: Iterable[str], most: int = 4) -> str:
    """Return "a, b and c"; past `most` names "a, b and 3 more"."""
    told = list(dict.fromkeys(names))
    if len(told) > most:
        told = [*told[: most - 1], f"{len(told) - most + 1} more"]
    return " and ".join([", ".join(told[:-1]), told[-1]] if len(told) > 1 else told)


class ToldReason:
    """A plan with the names that sentences use."""

    def __init__(self, model: Model, routes: Mapping[int, Sequence[int]]) -> None:
        self.model, self.week = model, model.week
        self.routes = {k: list(jobs) for k, jobs in sorted(routes.items()) if jobs}
        self.crew_of = [self.week.crews[k.crew] for k in model.crew_days]
        self.visits = {
            self.week.jobs[j].id: (self.crew_of[k].id, model.crew_days[k].day)
            for k, jobs in self.routes.items()
            for j in jobs
        }

    def day(self, day: int) -> str:
        return day_name(self.week, day)

    def days(self, days: Iterable[int]) -> str:
        """Return the days by name, three or more in a row as "Mon Mar 15 to Thu Mar 18"."""
        told = []
        for _, run in groupby(enumerate(sorted(set(days))), key=lambda x: x[1] - x[0]):
            row = [self.day(d) for _, d in run]
            told += [f"{row[0]} to {row[-1]}"] if len(row) > 2 else row
        return listed(told)

    def where(self, k: int) -> str:
        return f"{self.crew_of[k].called} on {self.day(self.model.crew_days[k].day)}"

    def given(self, place: Opening) -> str:
        """Return what the job of another route would have to leave to this one."""
        return listed(word for bit, word in _GIVEN.items() if place.gives & bit)

    def day_with(self, j: int) -> int:
        """Return the crew day on which job j is planned."""
        return next(k for k, jobs in self.routes.items() if j in jobs)

    def day_of(self, k: int) -> str:
        return self.day(self.model.crew_days[k].day)

    def span(self, window: Window) -> str:
        return f"{self.day(window.day)} {clock_time(window.start)}–{clock_time(window.end)}"

    def jobs_at(self, place: Opening) -> str:
        out = self.routes[place.k][place.first : place.first + place.length] if place.length else []
        return listed(self.week.jobs[j].id for j in (*out, *([place.other] if place.other >= 0 else [])))

    def how(self, place: Opening) -> str:
        jobs = self.jobs_at(place)
        return f"with {self.crew_of[place.k].called}" + (f" in place of {jobs}" if jobs and place.extra < 0 else "")

    def kept(self, place: Opening) -> list[Job]:
        """Return the jobs that would share the route with the new one."""
        jobs = self.routes.get(place.k, [])
        return [self.week.jobs[j] for j in (*jobs[: place.first], *jobs[place.first + place.length :])]

    def no_hours(self, j: int) -> str:
        days = {int(self.model.day_of[k]) for k in range(len(self.crew_of)) if self.model.local[k, j] >= 0}
        return f"No crew that could do it has the hours left on {self.days(days)}, whichever one job is taken out."

    def shared(self, code: str, j: int, place: Opening) -> str:
        """Return the sentence on what routes share and job j would take too much of at `place`."""
        job, crew, day = self.week.jobs[j], self.crew_of[place.k], self.model.crew_days[place.k].day
        match code:
            case "ladder_out":
                return self._ladder(job, crew, day, place)
            case "stock_out":
                return self._stock(job, crew, day, place)
            case "no_helper":
                return self._helper(job, crew, day, place)
            case "van_full":
                return self._van(job, crew, day, place)
            case _:
                return follow_words(self, job, crew, day)

    def _others(self, yard: str, days: Iterable[int], but: int) -> Iterable[tuple[int, list[Job]]]:
        for k, jobs in self.routes.items():
            if k != but and self.crew_of[k].yard == yard and self.model.crew_days[k].day in days:
                yield k, [self.week.jobs[j] for j in jobs]

    def _ladder(self, job: Job, crew: Crew, day: int, place: Opening) -> str:
        pool = {e.id: e.count[day] for e in self.week.equipment if e.yard == crew.yard}
        for item in job.equipment:
            aboard = crew.onboard.get(item, 0)
            takes = max(0, max(o.equipment.get(item, 0) for o in (job, *self.kept(place))) - aboard)
            held = {}
            for k, jobs in self._others(crew.yard, (day,), place.k):
                other = self.crew_of[k]
                if (n := max(o.equipment.get(item, 0) for o in jobs) - other.onboard.get(item, 0)) > 0:
                    held[other.called] = n
            there = pool.get(item, 0)
            if (short := sum(held.values()) + takes - there) > 0:
                out = listed(f"{name} has {n}" for name, n in held.items())
                return (
                    f"{item} is out on {self.day(day)}: yard {crew.yard} has {there}, {out}; "
                    f"with {short} more it could go {self.how(place)}."
                )
        raise ValueError(f"no equipment of {job.id} is short")

    def _stock(self, job: Job, crew: Crew, day: int, place: Opening) -> str:
        kept = self.kept(place)
        shelf = self.model.stock_cap[next(n for n, y in enumerate(self.week.yards) if y.id == crew.yard)]
        for part, n in job.parts.items():
            worst, by, takers = 0, day, list[str]()
            for d in range(day, self.week.days):
                others = [
                    o for _, jobs in self._others(crew.yard, range(d + 1), place.k) for o in jobs if o.parts.get(part)
                ]
                others += [o for o in kept if o.parts.get(part)]
                there = int(shelf[self.model.stock_items.index(part), d])
                if n and (short := sum(o.parts[part] for o in others) + n - there) > worst:
                    worst, by = short, d
                    takers = [f"{o.id} takes {o.parts[part]}" for o in sorted(others, key=lambda o: -o.parts[part])]
            if worst:
                there = int(shelf[self.model.stock_items.index(part), by])
                left = n - worst
                return (
                    f"It needs {n} of {part}, and {max(0, left)} are left at yard {crew.yard} by {self.day(by)} "
                    f"({there} in all; {listed(takers)}); with {worst} more it could go {self.how(place)}."
                )
        raise ValueError(f"no part of {job.id} is short")

    def _helper(self, job: Job, crew: Crew, day: int, place: Opening) -> str:
        there = sum(h.count for h in self.week.helpers if (h.yard, h.day) == (crew.yard, day))
        needs = max(o.hands for o in (job, *self.kept(place))) - crew.hands
        out = {}
        for k, jobs in self._others(crew.yard, (day,), place.k):
            if (n := max(o.hands for o in jobs) - self.crew_of[k].hands) > 0:
                out[self.crew_of[k].called] = n
        held = listed(f"{name} has {n}" for name, n in out.items())
        short = sum(out.values()) + needs - there
        all_of_them = f"of {count(there, 'helper')} at yard {crew.yard} on {self.day(day)}"
        return (
            f"It needs {people(job.hands)}, {crew.called} has {crew.hands}, and {all_of_them} {held}; with "
            f"{short} more it could go {self.how(place)}."
        )

    def _van(self, job: Job, crew: Crew, day: int, place: Opening) -> str:
        jobs, van = (job, *self.kept(place)), crew.vehicle
        kg, boxes = sum(o.weight_kg for o in jobs), sum(o.boxes for o in jobs)
        over = [f"{kg} kg where it may carry {van.payload_kg}"] if kg > van.payload_kg else []
        over += [f"{boxes} long boxes where it takes {van.boxes}"] if boxes > van.boxes else []
        return f"The van of {crew.called} is full on {self.day(day)}: with this job it would load {' and '.join(over)}."


def follow_words(told: ToldReason, job: Job, crew: Crew, day: int) -> str:
    """Return why the job cannot go with this crew on this day after a job that it follows (or before its follower)."""
    for f in told.week.follows:
        if f.then != job.id or agrees(f, at := told.visits.get(f.first), crew.id, day):
            continue
        if at is None:
            return f"It follows {f.first}, which is not planned."
        least = f"at least {f.min_days}" if f.min_days else ""
        most = f"at most {f.max_days}" if f.max_days is not None else ""
        asked = " and ".join(x for x in (least, most) if x)
        asked = f"{asked} {'day' if 1 in (f.min_days, f.max_days) else 'days'} later" if asked else "not earlier"
        asked += " with the same crew" if f.same_crew else ", on the same day with the same crew"
        return (
            f"It follows {f.first} ({asked}), which {crew_name(told.week, at[0])} does on {told.day(at[1])}; there is "
            f"room for it with {crew.called} on {told.day(day)}."
        )
    firsts = listed(f.first for f in told.week.follows if f.then == job.id)
    return f"It follows {firsts}, and the route of {crew.called} on {told.day(day)} has room for it only before that."


def words(told: ToldReason, j: int, found: list[Block], rules: frozenset[str]) -> tuple[Because, ...]:
    """Return the sentences on `rules`, of which one crew day or more would be free but for them."""
    job, held = told.week.jobs[j], [b for b in found if b.rules == rules]
    sentence = {
        "kit_not_ready": _kit,
        "no_work_window": _window,
        "no_skills": _skills,
        "no_van": _no_van,
        "no_hands": _hands,
        "ladder_out": _no_ladder,
        "stock_out": _no_stock,
        "out_of_reach": _reach,
        "other_yard": _yard,
        "follows": _follows,
    }
    return tuple(Because(code, sentence[code](told, job, held)) for code in sentence if code in rules)


def _days(told: ToldReason, held: list[Block]) -> str:
    return told.days(b.shift.day for b in held)


def _kit(told: ToldReason, job: Job, held: list[Block]) -> str:
    if job.ready_day is None:
        return "Its kit will not be complete this week."
    return (
        f"Its kit is complete only on {told.day(job.ready_day)}, too late: a crew could do it on {_days(told, held)}, "
        f"none later."
    )


def _window(told: ToldReason, job: Job, held: list[Block]) -> str:
    if not job.windows:
        return "Customer, daylight and weather leave it no work window this week."
    longest = max(job.windows, key=lambda w: w.end - w.start)
    if longest.end - longest.start < job.minutes:
        return (
            f"No work window is as long as the work, {job.minutes} minutes: the longest, {told.span(longest)}, has "
            f"{longest.end - longest.start}."
        )
    spans = listed(told.span(w) for w in sorted(job.windows, key=lambda w: (w.day, w.start)))
    return (
        f"It has work windows only {spans}, when no crew can take its {job.minutes} minutes; one on "
        f"{_days(told, held)} would do."
    )


def _skills(told: ToldReason, job: Job, held: list[Block]) -> str:
    asked = list(dict.fromkeys(job.skills))
    nearest = max(held, key=lambda b: len(set(asked) & set(b.crew.skills))).crew
    lacking = [s for s in asked if not any(s in b.crew.skills for b in held)]
    who = f"crew that could go on {_days(told, held)}"
    if lacking:
        owners = [c.called for c in told.week.crews if set(lacking) <= set(c.skills)]
        have = f" (but for {listed(owners)}, which cannot go then)" if owners else ""
        return f"No {who} has {listed(lacking)}{have}."
    missing = listed(s for s in asked if s not in nearest.skills)
    return f"No {who} has all of {listed(asked)}; {nearest.called} lacks {missing}."


def over(job: Job, crew: Crew) -> list[str]:
    van, over = crew.vehicle, []
    if job.boxes and job.box_mm > van.rack_mm:
        over.append(f"a rack for {van.rack_mm:,} mm and the longest box is {job.box_mm:,} mm")
    if job.boxes > van.boxes:
        over.append(f"room for {van.boxes} long boxes and it has {job.boxes}")
    if job.weight_kg > van.payload_kg:
        over.append(f"a payload of {van.payload_kg:,} kg and it weighs {job.weight_kg:,} kg")
    return over


def _no_van(told: ToldReason, job: Job, held: list[Block]) -> str:
    def shortfall(crew: Crew) -> tuple[int, float]:
        van = crew.vehicle
        parts = [(job.box_mm if job.boxes else 0, van.rack_mm), (job.boxes, van.boxes), (job.weight_kg, van.payload_kg)]
        return len(over(job, crew)), sum(max(0, need - there) / max(1, need) for need, there in parts)

    crew = min((b.crew for b in held), key=shortfall)
    return f"No van that could go takes it: that of {crew.called}, the nearest to it, has {', '.join(over(job, crew))}."


def _hands(told: ToldReason, job: Job, held: list[Block]) -> str:
    there = {(h.yard, h.day): h.count for h in told.week.helpers}
    best = max(held, key=lambda b: b.crew.hands + there.get((b.crew.yard, b.shift.day), 0))
    helpers = there.get((best.crew.yard, best.shift.day), 0)
    return (
        f"It needs {people(job.hands)}; the most there can be is {best.crew.hands + helpers}, "
        f"{best.crew.called} with {count(helpers, 'helper')} on {told.day(best.shift.day)}."
    )


def _no_ladder(told: ToldReason, job: Job, held: list[Block]) -> str:
    def short(b: Block) -> dict[str, int]:
        return {i: n for i, n in missing_equipment(told.week, job, b.crew, b.shift.day).items() if n > 0}

    best = min(held, key=lambda b: (sum(short(b).values()), b.shift.day))
    items = listed(f"{n} more of {item}" for item, n in short(best).items())
    return (
        f"The whole pool is too small: with {items} in yard {best.crew.yard} on {told.day(best.shift.day)} it could go "
        f"with {best.crew.called}."
    )


def _no_stock(told: ToldReason, job: Job, held: list[Block]) -> str:
    def short(b: Block) -> dict[str, int]:
        return {p: n for p, n in missing_stock(told.model, job, b.crew.yard, b.shift.day, told.visits).items() if n > 0}

    best = min(held, key=lambda b: (sum(short(b).values()), b.shift.day))
    parts = listed(f"{n} more of {part} (it needs {job.parts[part]})" for part, n in short(best).items())
    day = told.day(best.shift.day)
    return f"The shelf of yard {best.crew.yard} is short by {day}, arrivals counted: {parts} would do."


def _reach(told: ToldReason, job: Job, held: list[Block]) -> str:
    return min((lateness(told, job, b.crew, b.shift) for b in held), key=lambda late: late[0])[1]


def lateness(told: ToldReason, job: Job, crew: Crew, shift: Shift, due: str = "its work window") -> tuple[int, str]:
    """Return by how many minutes the job alone does not fit into the crew's day, and the sentence on it."""
    places = {place.id: n for n, place in enumerate(told.week.places)}
    home_yard, there = places[next(y.place for y in told.week.yards if y.id == crew.yard)], places[job.place]
    out, back = told.week.travel.minutes[home_yard][there], told.week.travel.minutes[there][home_yard]
    first, last = shift.start, shift.end + shift.overtime
    spans = [(w.start, w.end - job.minutes) for w in job.windows if w.day == shift.day]
    homes = [home_at(told.week, job, max(lo, first), hi, first, out, back) for lo, hi in spans]
    who = f"{crew.called} on {told.day(shift.day)}"
    drives = f"{out} minutes there, {job.minutes} of work and {back} back"
    if (home := min(homes, default=FAR)) < FAR:
        text = (
            f"{who} would be home at {clock_time(home)} at the earliest ({drives}); its day ends at {clock_time(last)}."
        )
        return home - last, text
    text = f"{who} cannot start it in a work window and keep its rest: {drives}, from {clock_time(first)} on."
    late = min((first + out - hi for _, hi in spans), default=FAR)
    if late > 0:
        text = f"{who} is there at {clock_time(first + out)} at the earliest, {late} minutes too late for {due}."
    return abs(late), text


def _yard(told: ToldReason, job: Job, held: list[Block]) -> str:
    crews, yards = listed(b.crew.called for b in held), listed(b.crew.yard for b in held)
    return f"Its kit lies at yard {job.yard}, whose crews cannot do it; {crews} of {yards} could."


def _follows(told: ToldReason, job: Job, held: list[Block]) -> str:
    return follow_words(told, job, held[0].crew, held[0].shift.day)
