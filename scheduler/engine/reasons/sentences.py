"""The sentences of the reasons: numbers, names and days, so that a manager knows what to change."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import groupby

from scheduler.engine.reasons.opened import HOURS, VAN
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
    Skills,
    Tools,
    Undo,
)  # fmt: skip
from scheduler.engine.reasons.ways import Way
from scheduler.plan import Because
from scheduler.week import Crew, Job, Week, clock_time, crew_begins, crew_goes_on, crew_name, day_name

AT_ONCE = " All of these stand in the way at once: undoing one is not enough."


def amount(cents: int) -> str:
    """Return cents as $1,240.50: a plain sign, in the place of which whoever shows it puts the business's own."""
    return f"{'-' if cents < 0 else ''}${abs(cents) // 100:,}.{abs(cents) % 100:02}"


def helpers(number: int) -> str:
    """Return "1 helper", "2 helpers"."""
    return "1 helper" if number == 1 else f"{number} helpers"


def people(number: int) -> str:
    """Return "1 person", "2 people"."""
    return "1 person" if number == 1 else f"{number} people"


def listed(names: Iterable[str], most: int = 4) -> str:
    """Return "a, b and c"; past `most` names "a, b and 3 more"."""
    told = list(dict.fromkeys(names))
    if len(told) > most:
        told = [*told[: most - 1], f"{len(told) - most + 1} more"]
    return " and ".join([", ".join(told[:-1]), told[-1]] if len(told) > 1 else told)


def days(week: Week, numbers: Iterable[int]) -> str:
    """Return the days by name, three or more in a row as "Mon Mar 15 to Thu Mar 18"."""
    told = []
    for _, run in groupby(enumerate(sorted(set(numbers))), key=lambda x: x[1] - x[0]):
        row = [day_name(week, d) for _, d in run]
        told += [f"{row[0]} to {row[-1]}"] if len(row) > 2 else row
    return listed(told)


class ToldReason:
    """One job's way to a place, in words; `start`: the time that is promised, where it is only that one."""

    def __init__(self, j: int, way: Way, start: int | None = None) -> None:
        self.opened, self.place, self.remedy, self.start = way.opened, way.place, way.remedy, start
        self.alone, self.order, self.k = way.alone, way.order, way.place.k
        self.week: Week = way.opened.week
        self.job, self.crew = self.week.jobs[j], way.opened.crew_of[way.place.k]
        self.day_number = way.opened.model.crew_days[way.place.k].day
        self.day = day_name(self.week, self.day_number)
        self.others = {
            k: kept for k, jobs in way.opened.routes.items() if (kept := [x for x in jobs if x not in way.place.out])
        }

    def group(self) -> list[Because]:
        """Return a sentence for each kind of thing in the way, what to undo of all of them with the first."""
        facts = self.facts()
        if facts:
            code, fact = facts[0]
            facts[0] = code, f"{fact}; {self.could_go()}"
        group = [Because(code, f"{fact}.") for code, fact in facts]
        if self.place.extra >= 0:
            group.append(self.price())
        elif not group:
            saving = f"Planned with {self._how()} on {self.day} it would save {amount(-self.place.extra)}"
            group.append(Because("not_tried", f"{saving}; the search was stopped before: plan again with more time."))
        if self.alone:
            group[-1] = Because(group[-1].code, group[-1].detail + AT_ONCE)
        return group

    def facts(self) -> list[tuple[str, str]]:
        """Return code and fact, without a full stop, of each kind of thing in the way."""
        by_code: dict[str, list[str]] = {}
        for undo in self.remedy.undo:
            code, fact = self._fact(undo)
            by_code.setdefault(code, []).append(fact)
        return [(code, "; ".join(told)) for code, told in by_code.items()]

    def could_go(self) -> str:
        """Return "with 2 more of anchor it could go with oak on Mon Mar 15"."""
        words = listed((self._undo(undo) for undo in self.remedy.undo), most=99)
        text = f"with {words} it could go with {self._how()} on {self.day}"
        if self.place.extra > 0:
            text = f"with {words} it could go with {self._how()} on {self.day} for {amount(self.place.extra)} more"
        rivals = listed(self.remedy.rivals)
        if rivals and not self.remedy.served:
            more = amount((self.remedy.cents or 0) - max(self.place.extra, 0))
            if len(self.remedy.rivals) > 1:
                return f"{text}, but {rivals}, which wait for it too and save {more} more, would go first"
            return f"{text}, but {rivals}, which waits for it too and saves {more} more, would go first"
        if rivals:
            text += f", {rivals} counted in, which would go first"
        return text

    def could_be_kept(self) -> str:
        """Return what to undo of all that keeps a promise from being kept."""
        words = listed((self._undo(undo) for undo in self.remedy.undo), most=99)
        return f"with {words} it could be kept with {self._how()}"

    def price(self) -> Because:
        """Return what going costs: more than leaving the job out, or the jobs that it would push out."""
        extra, others = self.place.extra, self.out()
        again = self.remedy.again_cents
        least = ""
        if again is not None and again < extra:
            least = f"; with everything planned again, at most {amount(again)}"
        elif again is not None:
            least = "; nothing cheaper was found with everything planned again"
        if not others:
            price = f"{amount(extra)} more than" if extra else "as much as"
            if self.remedy.elsewhere:
                least = ": without it, what is undone saves more on other jobs"
            where = f"The cheapest place for it, {self.crew.called} on {self.day},"
            return Because("dearer", f"{where} costs {price} letting it wait{least}.")
        worth = f"worth more: {amount(extra)} worse" if extra else "worth as much"
        worse = f"{amount(extra)} worse" if extra else "no better"
        if self.place.gives:
            several = len(self.place.out) > 1
            text = f"It could go with {self.crew.called} on {self.day}, but only {self._freed()}"
            return Because("no_room", f"{text}, which {'are' if several else 'is'} {worth}{least}.")
        text = f"No room: it would push out {others} ({self.crew.called} on {self.day})"
        return Because("no_room", f"{text}, {worse}{least}.")

    def _freed(self) -> str:
        """Return "in place of elm and with the parts of birch (with oak on Mon Mar 15)"."""
        by_job = {x: k for k, jobs in self.opened.routes.items() for x in jobs}
        here = listed(self.week.jobs[x].id for x in self.place.out if by_job[x] == self.k)
        away = listed(
            f"{self.week.jobs[x].id} (with {self.opened.crew_of[k].called} on "
            f"{day_name(self.week, self.opened.model.crew_days[k].day)})"
            for x in self.place.out
            if (k := by_job[x]) != self.k
        )
        given = listed(w for bit, w in ((1, "equipment"), (2, "parts"), (4, "helpers")) if self.place.gives & bit)
        return f"in place of {here} and with the {given} of {away}" if here else f"with the {given} of {away}"

    def out(self) -> str:
        """Return the jobs that go for it, by id."""
        return listed(self.week.jobs[x].id for x in self.place.out)

    def _how(self) -> str:
        return f"{self.crew.called} in place of {self.out()}" if self.place.out else self.crew.called

    def _undo(self, undo: Undo) -> str:
        match undo:
            case Parts():
                return f"{undo.number} more of {undo.part}"
            case Tools():
                return f"{undo.number} more of {undo.item}"
            case People():
                return "1 more helper" if undo.number == 1 else f"{undo.number} more helpers"
            case KitBy():
                return f"its kit complete by {day_name(self.week, undo.day)}"
            case Skills():
                return f"{listed(undo.skills)} among the skills of {self.crew.called}"
            case BetterVan():
                return f"a van for {self.crew.called} that takes {self._load(undo)}"
            case AtYard():
                return f"its kit at yard {undo.yard}"
            case LongerDay():
                minutes = [f"{undo.later} minutes more at the end of"] if undo.later else []
                minutes = [f"{undo.earlier} minutes more at the start of", *minutes] if undo.earlier else minutes
                return f"{' and '.join(minutes)} the day of {self.crew.called}"
            case OpenHours():
                return f"a work window {self.day} {clock_time(undo.start)}–{clock_time(undo.end)}"
            case NoRest():
                return "no rest due that day"
            case Free():
                return "that order given up"
            case _:
                raise ValueError(f"{undo} is of the second format")

    def _fact(self, undo: Undo) -> tuple[str, str]:
        match undo:
            case Parts():
                return "stock_out", self._stock(undo.part)
            case Tools():
                return "ladder_out", self._ladder(undo.item)
            case People():
                return self._helper()
            case KitBy():
                ready = self.job.ready_day
                if ready is None:
                    return "kit_not_ready", "Its kit will not be complete this week"
                return "kit_not_ready", f"Its kit is complete only on {day_name(self.week, ready)}"
            case Skills():
                asked = set(undo.skills)
                nobody = not any(asked & set(crew.skills) for crew in self.week.crews)
                skills, called = listed(undo.skills), crew_begins(self.crew.called)
                return "no_skills", f"No crew has {skills}" if nobody else f"{called} lacks {skills}"
            case BetterVan():
                return self._van()
            case AtYard():
                called = crew_goes_on(self.crew.called)
                return "other_yard", f"Its kit lies at yard {self.job.yard}, and {called} is of {undo.yard}"
            case LongerDay():
                return "out_of_reach", self._hours(undo)
            case OpenHours():
                return "no_work_window", self._window()
            case NoRest():
                return "out_of_reach", self._rest()
            case Free():
                return "follows", self._follows()
            case _:
                raise ValueError(f"{undo} is of the second format")

    def _near(self, days: Iterable[int]) -> Iterator[tuple[Crew, list[Job]]]:
        """Yield the other routes of the yard on these days."""
        for k, jobs in self.others.items():
            crew, day = self.opened.crew_of[k], self.opened.model.crew_days[k].day
            if k != self.k and crew.yard == self.crew.yard and day in days:
                yield crew, [self.week.jobs[x] for x in jobs]

    def _kept(self) -> list[Job]:
        return [self.week.jobs[x] for x in self.others.get(self.k, [])]

    def _ladder(self, item: str) -> str:
        there = next(
            (e.count[self.day_number] for e in self.week.equipment if (e.id, e.yard) == (item, self.crew.yard)), 0
        )
        held = []
        for crew, jobs in self._near((self.day_number,)):
            if (n := max(o.equipment.get(item, 0) for o in jobs) - crew.onboard.get(item, 0)) > 0:
                called = crew_goes_on(crew.called)
                held.append(f"{called} has {n} out")
        needs = f"it needs {self.job.equipment.get(item, 0)} of {item}"
        if held:
            return f"{item} is out on {self.day}: yard {self.crew.yard} has {there}, {listed(held)}, and {needs}"
        return f"Yard {self.crew.yard} has {there} of {item} on {self.day}, and {needs}"

    def _stock(self, part: str) -> str:
        model, yard = self.opened.model, int(self.opened.model.yard_of[self.k])
        q, n = model.stock_items.index(part), self.job.parts[part]
        worst: tuple[int, int, list[Job]] | None = None
        for d in range(self.day_number, self.week.days):
            others = [o for _, jobs in self._near(range(d + 1)) for o in jobs] + self._kept()
            there = int(model.stock_cap[yard, q, d])
            left = there - sum(o.parts.get(part, 0) for o in others)
            if worst is None or left < worst[0]:
                worst = left, d, [o for o in others if o.parts.get(part, 0)]
        assert worst is not None
        left, by, others = worst
        there = int(model.stock_cap[yard, q, by])
        takers = [f"{o.id} takes {o.parts[part]}" for o in sorted(others, key=lambda o: -o.parts[part])]
        needs = f"It needs {n} of {part}, and {max(0, left)} are left at yard {self.crew.yard}"
        if takers:
            return f"{needs} by {day_name(self.week, by)} ({there} in all; {listed(takers)})"
        return f"{needs} by {day_name(self.week, by)} (arrivals counted)"

    def _helper(self) -> tuple[str, str]:
        crew, job = self.crew, self.job
        there = sum(h.count for h in self.week.helpers if (h.yard, h.day) == (crew.yard, self.day_number))
        out = []
        for other, jobs in self._near((self.day_number,)):
            if (n := max(o.hands for o in jobs) - other.hands) > 0:
                called = crew_goes_on(other.called)
                out.append(f"{called} has {n} out")
        called = crew_goes_on(crew.called)
        needs = f"It needs {people(job.hands)}, {called} has {crew.hands}"
        yard = f"{helpers(there)} at yard {crew.yard} on {self.day}"
        if job.hands > crew.hands + there or not out:
            return "no_hands", f"{needs}, and there {'is' if there == 1 else 'are'} {yard}"
        return "no_helper", f"{needs}, and too few are left of {yard}: {listed(out)}"

    def _van(self) -> tuple[str, str]:
        van = self.crew.vehicle
        if self.place.hindered & VAN:
            return "no_van", f"The van of {self.crew.called} has {', '.join(over(self.job, self.crew))}"
        jobs = [self.job, *self._kept()]
        kg, boxes = sum(o.weight_kg for o in jobs), sum(o.boxes for o in jobs)
        too_much = [f"{kg} kg where it may carry {van.payload_kg}"] if kg > van.payload_kg else []
        too_much += [f"{boxes} long boxes where it takes {van.boxes}"] if boxes > van.boxes else []
        load = f"with this job it would load {' and '.join(too_much)}"
        return "van_full", f"The van of {self.crew.called} is full on {self.day}: {load}"

    def _load(self, undo: BetterVan) -> str:
        van = self.crew.vehicle
        more = [f"boxes of {undo.rack_mm:,} mm"] if undo.rack_mm > van.rack_mm else []
        more += [f"{undo.boxes} long boxes"] if undo.boxes > van.boxes else []
        more += [f"{undo.payload_kg:,} kg"] if undo.payload_kg > van.payload_kg else []
        return listed(more)

    def _drives(self) -> str:
        """Return "20 minutes there, 100 of work and 20 back" of the job alone, the stops of the day of a route."""
        home = next(y.place for y in self.week.yards if y.id == self.crew.yard)
        places = {place.id: n for n, place in enumerate(self.week.places)}
        minutes, a, b = self.week.travel.minutes, places[home], places[self.job.place]
        if beside := [o.id for o in self._kept()]:
            return f"{self.job.minutes} minutes of work beside {listed(beside)}"
        return f"{minutes[a][b]} minutes there, {self.job.minutes} of work and {minutes[b][a]} back"

    def _hours(self, undo: LongerDay) -> str:
        shift = next(s for s in self.crew.shifts if s.day == self.day_number)
        last, first, called = shift.end + shift.overtime, shift.start, crew_begins(self.crew.called)
        if not undo.earlier:
            home = f"{called} on {self.day} would be home at {clock_time(last + undo.later)} at the earliest"
            return f"{home} ({self._drives()}); its day ends at {clock_time(last)}"
        due = "its work window" if self.start is None else clock_time(self.start)
        late = f"{called} on {self.day} cannot be there in time for {due}"
        return f"{late} ({self._drives()}); its day is from {clock_time(first)} to {clock_time(last)}"

    def _window(self) -> str:
        job = self.job
        if not job.windows:
            return "It has no work window this week (customer, daylight, weather and crews at work)"
        longest = max(job.windows, key=lambda w: w.end - w.start)
        if longest.end - longest.start < job.minutes:
            return (
                f"No work window is as long as the work, {job.minutes} minutes: the longest, "
                f"{day_name(self.week, longest.day)} {clock_time(longest.start)}–{clock_time(longest.end)}, has "
                f"{longest.end - longest.start}"
            )
        spans = listed(
            f"{day_name(self.week, w.day)} {clock_time(w.start)}–{clock_time(w.end)}"
            for w in sorted(job.windows, key=lambda w: (w.day, w.start))
        )
        also = " even with a longer day" if self.place.hindered & HOURS else ""
        return f"It has work windows only {spans}, when no crew can take its {job.minutes} minutes{also}"

    def _rest(self) -> str:
        rule = self.week.rest
        assert rule is not None
        due = f"{rule.length} minutes, begun from {clock_time(rule.earliest)} to {clock_time(rule.latest)}"
        return (
            f"{self.job.minutes} minutes leave no place for the rest that is due past {rule.after} minutes out ({due}) "
            f"with {self.crew.called} on {self.day}: {self._drives()}"
        )

    def _follows(self) -> str:
        crew, day, week = self.crew, self.day_number, self.week
        visits = {
            week.jobs[x].id: (self.opened.crew_of[k].id, self.opened.model.crew_days[k].day)
            for k, jobs in self.others.items()
            for x in jobs
        }
        for f in week.follows:
            if f.then != self.job.id:
                continue
            at = visits.get(f.first)
            if at is None:
                return f"It follows {f.first}, which is not planned"
            apart, latest = day - at[1], f.most(at[1])
            if (
                f.min_days <= apart
                and (latest is None or apart <= latest)
                and (at[0] == crew.id or (apart > 0 and not f.same_crew))
            ):
                continue
            least = f"at least {f.min_days}" if f.min_days else ""
            most = f"at most {latest}" if latest is not None else ""
            asked = " and ".join(x for x in (least, most) if x)
            asked = f"{asked} {'day' if 1 in (f.min_days, latest) else 'days'} later" if asked else "not earlier"
            asked += " with the same crew" if f.same_crew else ", on the same day with the same crew"
            return f"It follows {f.first} ({asked}), which {crew_name(week, at[0])} does on {day_name(week, at[1])}"
        firsts = [f.first for f in week.follows if f.then == self.job.id]
        if firsts:
            route = f"the route of {self.crew.called} on {self.day}"
            return f"It follows {listed(firsts)}, and {route} has room for it only before that"
        thens = listed(f.then for f in week.follows if f.first == self.job.id and f.then in visits)
        return f"{thens} follows it, and there is room for it only where that could not follow"


def plain(sentence: str) -> str:
    """Return a sentence as part of another."""
    first = sentence.split(" ", 1)[0]
    return sentence[0].lower() + sentence[1:] if first in ("It", "Its", "No", "The", "Yard") else sentence


def over(job: Job, crew: Crew) -> list[str]:
    """Return what of the job's kit the crew's van, empty, does not take."""
    van, too_much = crew.vehicle, []
    if job.boxes and job.box_mm > van.rack_mm:
        too_much.append(f"a rack for {van.rack_mm:,} mm and the longest box is {job.box_mm:,} mm")
    if job.boxes > van.boxes:
        too_much.append(f"room for {van.boxes} long boxes and it has {job.boxes}")
    if job.weight_kg > van.payload_kg:
        too_much.append(f"a payload of {van.payload_kg:,} kg and it weighs {job.weight_kg:,} kg")
    return too_much
