"""The sentences of the reasons of the second format: as those of the first, and of second crews, loads and weeks."""

from __future__ import annotations

from scheduler.engine.model.arrays import Model
from scheduler.engine.reasons.opened import VAN, OpenedPlan, Opening
from scheduler.engine.reasons.remedies import (
    LongerDay,
    People,
    Remedy,
    RestWithin,
    SecondCrew,
    SecondLoad,
    Skills,
    Undo,
    WeeklyMinutes,
)
from scheduler.engine.reasons.sentences import ToldReason, days, listed, people
from scheduler.engine.reasons.ways import Way
from scheduler.engine.waiting.needed import kept_off
from scheduler.plan import Plan
from scheduler.week import Job, Week, clock_time, crew_goes_on, crew_name, day_name


def hours(minutes: int) -> str:
    """Return minutes as "40 h" or "41 h 20 min"."""
    return f"{minutes // 60} h" + (f" {minutes % 60} min" if minutes % 60 else "")


class _Seen(OpenedPlan):
    """A plan of the second format as the sentences read one: the jobs of its routes."""

    def __init__(self, model: Model, plan: Plan) -> None:
        self.week, self.model = model.week, model
        self.crew_of = [model.week.crews[k.crew] for k in model.crew_days]
        self.routes = {
            model.crew_day[r.crew, r.day]: [model.number[stop.job] for stop in r.jobs]
            for r in plan.routes
            if any(stop.job for stop in r.stops)
        }


class ToldSecond(ToldReason):
    """One way to have a job go, in words: `made` is the plan in which it does, `model` has its crew day."""

    def __init__(self, model: Model, plan: Plan, job: Job, made: Plan, extra: int, remedy: Remedy) -> None:
        self.plan, self.made = plan, made
        seen, k, number = _Seen(model, plan), model.crew_day[remedy.crew, remedy.day], model.number
        out = tuple(number[name] for name in remedy.out)
        crew = seen.crew_of[k]
        bits = VAN if kept_off(job, crew) else 0
        order = [number[s.job] for r in made.routes if (r.crew, r.day) == (remedy.crew, remedy.day) for s in r.jobs]
        place = Opening(k, out, bits, extra, self._gives(seen, k, job, out))
        super().__init__(number[job.id], Way(seen, place, order, remedy, alone=False))
        self.route = next(r for r in made.routes if any(s.job == job.id for s in r.stops))
        self.lift = next(((r, s) for r in made.routes for s in r.stops if s.assist == job.id), None)

    @staticmethod
    def _gives(seen: _Seen, k: int, job: Job, out: tuple[int, ...]) -> int:
        """Return what the jobs `out` that are on other crew days than k leave it: 1 equipment, 2 parts, 4 helpers."""
        bits, at = 0, {j: days for days, jobs in seen.routes.items() for j in jobs}
        for other, away in ((seen.week.jobs[j], seen.crew_of[at[j]]) for j in out if at[j] != k):
            bits |= any(
                n > away.onboard.get(item, 0) and job.equipment.get(item) for item, n in other.equipment.items()
            )
            bits |= 2 * any(n and job.parts.get(part) for part, n in other.parts.items())
            bits |= 4 * (other.hands > away.hands and job.hands > seen.crew_of[k].hands)
        return bits

    def _how(self) -> str:
        text = super()._how()
        if self.lift is not None:
            route, stop = self.lift
            text += f", {crew_name(self.week, route.crew)} there for the lift at {clock_time(stop.start)},"
        return text

    def _undo(self, undo: Undo) -> str:
        match undo:
            case SecondLoad():
                return f"a second load from the yard, {undo.minutes} minutes to take on,"
            case RestWithin():
                return "the rest taken in the middle of its work"
            case WeeklyMinutes():
                return f"{undo.number} minutes more a week of {crew_name(self.week, undo.crew)} at no extra pay"
            case SecondCrew():
                who = f"{people(undo.hands)}" + (f" with {listed(undo.skills)}" if undo.skills else "")
                return f"{who} there for its lift {clock_time(undo.start)}–{clock_time(undo.end)}"
            case LongerDay(crew, _, earlier, later) if crew != self.crew.id:
                more = " and ".join(
                    part
                    for part in (
                        f"{earlier} minutes more at the start" if earlier else "",
                        f"{later} minutes more at the end" if later else "",
                    )
                    if part
                )
                return f"{more} of the day of {crew_name(self.week, crew)}"
            case Skills(crew, skills) if crew != self.crew.id:
                return f"{listed(skills)} among the skills of {crew_name(self.week, crew)}"
            case _:
                return super()._undo(undo)

    def _fact(self, undo: Undo) -> tuple[str, str]:
        match undo:
            case SecondLoad():
                return "second_load", f"One more load would do: {self._load_of_the_day()}"
            case RestWithin():
                return "rest_within", self._rest()
            case WeeklyMinutes():
                return "over_weekly", self._week_of(undo)
            case SecondCrew():
                return "no_second_crew", self._nobody(undo)
            case LongerDay(crew, _, _, _) if crew != self.crew.id:
                return "no_second_crew", f"{crew_name(self.week, crew)} cannot come for its lift within its day"
            case Skills(crew, skills) if crew != self.crew.id:
                name = crew_name(self.week, crew)
                return "no_second_crew", f"{name}, which could come for its lift, lacks {listed(skills)}"
            case People() if self.lift is not None and self.job.hands <= self.crew.hands:
                lift = self.job.assist
                assert lift is not None
                name = crew_name(self.week, self.lift[0].crew)
                own = next(c.hands for c in self.week.crews if c.id == self.lift[0].crew)
                return "no_second_crew", f"Its lift needs {people(lift.hands)}, {name} has {own}, and no helper is free"
            case _:
                return super()._fact(undo)

    def _drives(self) -> str:
        lifts = [stop.assist for stop in self.route.stops if stop.assist]
        if lifts and not self._kept():
            return f"{self.job.minutes} minutes of work beside the lift of {listed(lifts)}"
        return super()._drives()

    def _load_of_the_day(self) -> str:
        van, jobs = self.crew.vehicle, [self.job, *self._kept()]
        kg, boxes = sum(o.weight_kg for o in jobs), sum(o.boxes for o in jobs)
        over = [f"{kg} kg, and the van of {self.crew.called} may carry {van.payload_kg}"] if kg > van.payload_kg else []
        over += [f"{boxes} long boxes, and it takes {van.boxes}"] if boxes > van.boxes else []
        return f"the day's kits with this one are {' and '.join(over) or 'more than one load'}"

    def _week_of(self, undo: WeeklyMinutes) -> str:
        crew = next(c for c in self.week.crews if c.id == undo.crew)
        assert crew.weekly is not None
        first = 7 * (self.day_number // 7)
        week = days(self.week, (first, min(first + 6, self.week.days - 1)))
        free = hours(crew.weekly.minutes)
        return f"It takes {crew.called} {hours(undo.number)} over {free} in the week of {week}, paid extra"

    def _nobody(self, undo: SecondCrew) -> str:
        """Return what each crew that could come for the lift does on the day."""
        told = []
        wanted = self.job.assist
        assert wanted is not None
        helpers = {(h.yard, h.day): h.count for h in self.week.helpers}
        for crew in self.week.crews:
            if crew.id == self.crew.id or not set(wanted.skills) <= set(crew.skills_on(undo.day)):
                continue
            if crew.hands + helpers.get((crew.yard, undo.day), 0) < wanted.hands:
                continue
            route = next((r for r in self.plan.routes if (r.crew, r.day) == (crew.id, undo.day)), None)
            called = crew_goes_on(crew.called)
            if all(s.day != undo.day for s in crew.shifts):
                told.append(f"{called} does not work")
            elif route is None:
                told.append(f"{called} cannot be there and back")
            else:
                told.append(f"{called} is out {clock_time(route.depart)}–{clock_time(route.back)}")
        why = listed(told) if told else self._none_able(self.week, wanted.hands, wanted.skills)
        return f"Its second crew has no hour on {day_name(self.week, undo.day)}: {why}"

    def _none_able(self, week: Week, hands: int, skills: tuple[str, ...]) -> str:
        who = f"no other crew has {people(hands)}"
        return who + (f" and {listed(skills)}" if skills else "")
