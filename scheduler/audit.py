"""The auditor: which rules a plan breaks, in sentences that a manager can act on, and what it really costs.

It judges any plan that is well formed, however senseless, made by the engine or by hand, and knows nothing of the
engine. Rules and their numbers are those of the interchange format, of both its forms. Each rule is one function,
named after it; the plan keeps the rule where the function yields nothing.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from scheduler.judged import Breach, JudgedPlan
from scheduler.plan import Cost, Plan
from scheduler.price import Outing, Visit, is_kept, outings, price_outings, risks, visits
from scheduler.second_crews import assist, reload
from scheduler.week import Follow, RestRule, Week, clock_time, crew_goes_on, crew_name, day_name


@dataclass(frozen=True, slots=True)
class Verdict:
    """What the auditor found: every breach, in the order of the rules, and the recomputed cost."""

    broken_rules: tuple[Breach, ...]
    cost: Cost

    @property
    def ok(self) -> bool:
        """Whether the plan keeps every rule and states its cost and bound rightly."""
        return not self.broken_rules


def audit(week: Week, plan: Plan) -> Verdict:
    """Return every rule of `week` that `plan` breaks, and the plan's cost recomputed.

    `week` is valid (as `scheduler.week` gives it); `plan` need only be well formed: unknown crews or jobs, days out of
    range and times that make no sense are breaches, never errors.
    """
    out = outings(week, plan.routes)
    case = JudgedPlan(week, plan, out, visits(out), price_outings(week, out))
    return Verdict(tuple(breach for rule in RULES.values() for breach in rule(case)), case.cost)


def same_week(case: JudgedPlan) -> Iterator[Breach]:
    """The plan was made for this week, in its format."""
    if case.plan.format[-1] != case.week.format[-1]:
        wanted = f"plan/{case.week.format[-1]}"
        yield Breach("same_week", f"A {case.week.format} is answered by a {wanted}, not by a {case.plan.format}.")
    if case.plan.week != case.week.id:
        yield Breach(
            "same_week", f'The plan is for week "{case.plan.week}", not for "{case.week.id}"; plan this week anew.'
        )


def known(case: JudgedPlan) -> Iterator[Breach]:
    """Every crew and job that the plan names is in the week."""
    crews, jobs = {c.id for c in case.week.crews}, {j.id for j in case.week.jobs}
    for route in case.plan.routes:
        if route.crew not in crews:
            yield Breach(
                "known",
                f'No crew of this week is called "{route.crew}"; take the route out or give it to another crew.',
                crew=route.crew,
                day=route.day,
            )
    named = [s.job or s.assist for r in case.plan.routes for s in r.stops if not s.reload]
    named += [s.job for s in case.plan.skipped]
    for job in dict.fromkeys(named):
        if job not in jobs:
            yield Breach("known", f'No job of this week is called "{job}"; take it out of the plan.', job=job)


def once(case: JudgedPlan) -> Iterator[Breach]:
    """Rule 1: every job is on exactly one route or in the waiting pile, once."""
    planned = Counter(s.job for r in case.plan.routes for s in r.jobs)
    waiting = Counter(s.job for s in case.plan.skipped)
    for job in case.week.jobs:
        on_routes, in_pile = planned[job.id], waiting[job.id]
        if on_routes + in_pile == 0:
            text = f"Job {job.id} is neither on a route nor in the waiting pile; put it in one of them."
        elif on_routes + in_pile > 1:
            places = f"{on_routes + in_pile} places, {on_routes} on routes and {in_pile} in the waiting pile"
            text = f"Job {job.id} stands in {places}; leave it in one."
        else:
            continue
        yield Breach("once", text, job=job.id)


def one_route(case: JudgedPlan) -> Iterator[Breach]:
    """Rule 1: a crew has at most one route a day."""
    for (crew, day), n in Counter((r.crew, r.day) for r in case.plan.routes).items():
        if n > 1:
            name, date = crew_name(case.week, crew), day_name(case.week, day)
            text = f"Crew {name} on {date} has {n} routes; a crew goes out once a day."
            yield Breach("one_route", text, crew=crew, day=day)


def shift(case: JudgedPlan) -> Iterator[Breach]:
    """Rule 2: the crew works that day, leaves and comes back within its shift and overtime, and has a stop."""
    known_crews = {c.id for c in case.week.crews}
    working = {(c.id, s.day) for c in case.week.crews for s in c.shifts}
    for route in case.plan.routes:
        text = ""
        if route.crew in known_crews and (route.crew, route.day) not in working:
            text = "does not work; move its jobs to another day or crew"
        elif all(stop.reload for stop in route.stops):
            text = "goes out without a stop; take the route out"
        if text:
            text = f"Crew {crew_name(case.week, route.crew)} on {day_name(case.week, route.day)} {text}."
            yield Breach("shift", text, crew=route.crew, day=route.day)
    for o in case.out:
        start, last = o.shift.start, o.shift.end + o.shift.overtime
        if o.route.depart < start:
            text = f"leaves at {clock_time(o.route.depart)}, before its shift starts at {clock_time(start)}"
            yield case.on_route("shift", o, text)
        if o.route.back > last:
            text = f"is back at {clock_time(o.route.back)}, after {clock_time(last)}, the end of its shift and overtime"
            yield case.on_route("shift", o, text)


def travel(case: JudgedPlan) -> Iterator[Breach]:
    """Rule 3: there is time to drive from the yard to each stop in turn and back."""
    for o in case.out:
        free = o.route.depart
        for (stop, job), drive in zip(o.calls, o.drives_min, strict=False):
            if stop.start < free + drive:
                reached = clock_time(free + drive)
                what = "the reload" if job is None else f"the assist of {job.id}" if stop.assist else job.id
                text = f"starts {what} at {clock_time(stop.start)} but can be there only at {reached}"
                yield case.on_route("travel", o, text, None if job is None else job.id)
            free = stop.end
        if o.route.back < free + o.drives_min[-1]:
            reached = clock_time(free + o.drives_min[-1])
            yield case.on_route("travel", o, f"is back at {clock_time(o.route.back)} but can be only at {reached}")


def service(case: JudgedPlan) -> Iterator[Breach]:
    """Rule 4: a service lasts exactly as long as its job, and the rest where it falls within."""
    rule = case.week.rest
    for o in case.out:
        paused = o.paused(rule)
        for stop, job in o.stops:
            takes = job.minutes + (rule.length if rule is not None and stop is paused else 0)
            if stop.end - stop.start != takes:
                text = f"has {stop.end - stop.start} minutes for {job.id}, which takes {takes}"
                yield case.on_route("service", o, text, job.id)


def window(case: JudgedPlan) -> Iterator[Breach]:
    """Rule 4: the whole service lies in one work window of its job that day."""
    for o in case.out:
        for stop, job in o.stops:
            if risks(job, o.route.day, stop.start, stop.end):
                continue
            that_day = [w for w in job.windows if w.day == o.route.day]
            hours = ", ".join(f"{clock_time(w.start)}–{clock_time(w.end)}" for w in that_day)
            allowed = f"outside its work windows ({hours})" if hours else "a day without a work window for it"
            text = f"does {job.id} from {clock_time(stop.start)} to {clock_time(stop.end)}, {allowed}"
            yield case.on_route("window", o, text, job.id)


def kit(case: JudgedPlan) -> Iterator[Breach]:
    """Rule 4: no job before the day on which its kit is verified complete."""
    for o in case.out:
        for _, job in o.stops:
            if job.ready_day is None:
                yield case.on_route("kit", o, f"has {job.id}, whose kit is not complete this week", job.id)
            elif o.route.day < job.ready_day:
                ready = day_name(case.week, job.ready_day)
                yield case.on_route("kit", o, f"has {job.id}, whose kit is complete only on {ready}", job.id)


def skills(case: JudgedPlan) -> Iterator[Breach]:
    """Rule 5: the crew has all skills of the job, of those who ride that day."""
    for o in case.out:
        for _, job in o.stops:
            if missing := [s for s in dict.fromkeys(job.skills) if s not in o.crew.skills_on(o.route.day)]:
                yield case.on_route("skills", o, f"lacks {', '.join(missing)} for {job.id}", job.id)


def yard(case: JudgedPlan) -> Iterator[Breach]:
    """Rule 5: a job whose kit lies at a yard is done by a crew of that yard."""
    for o in case.out:
        for _, job in o.stops:
            if job.yard not in (None, o.crew.yard):
                text = f"starts from yard {o.crew.yard}, but the kit of {job.id} lies at {job.yard}"
                yield case.on_route("yard", o, text, job.id)


def hands(case: JudgedPlan) -> Iterator[Breach]:
    """Rule 5: the crew with its helpers has the hands that the job needs."""
    for o in case.out:
        there = o.crew.hands + o.route.helpers
        for _, job in o.stops:
            if there < job.hands:
                text = f"has {there} people, helpers counted, and {job.id} needs {job.hands}"
                yield case.on_route("hands", o, text, job.id)


def helpers(case: JudgedPlan) -> Iterator[Breach]:
    """Rule 5: no more helpers are out from a yard on a day than there are."""
    count = {(h.yard, h.day): h.count for h in case.week.helpers}
    sent: Counter[tuple[str, int]] = Counter()
    for o in case.out:
        sent[o.crew.yard, o.route.day] += o.route.helpers
    for (at, day), n in sent.items():
        if n > (there := count.get((at, day), 0)):
            sent_out = f"{n} helper{'s'[: n > 1]}"
            text = f"Yard {at} on {day_name(case.week, day)} sends out {sent_out} and has {there}."
            yield Breach("helpers", text, day=day)


def payload(case: JudgedPlan) -> Iterator[Breach]:
    """Rule 6: the jobs of one load together are no heavier than the vehicle may carry."""
    for o in case.out:
        kg = max(sum(job.weight_kg for job in load) for load in o.loads)
        if kg > o.crew.vehicle.payload_kg:
            yield case.on_route("payload", o, f"loads {kg} kg on a vehicle for {o.crew.vehicle.payload_kg}")


def boxes(case: JudgedPlan) -> Iterator[Breach]:
    """Rule 6: the jobs of one load together have no more long boxes than the vehicle takes."""
    for o in case.out:
        n = max(sum(job.boxes for job in load) for load in o.loads)
        if n > o.crew.vehicle.boxes:
            yield case.on_route("boxes", o, f"loads {n} long boxes on a vehicle for {o.crew.vehicle.boxes}")


def rack(case: JudgedPlan) -> Iterator[Breach]:
    """Rule 6: no box is longer than the vehicle's rack."""
    for o in case.out:
        for _, job in o.stops:
            if job.boxes and job.box_mm > o.crew.vehicle.rack_mm:
                text = f"has a rack for {o.crew.vehicle.rack_mm} mm, and the box of {job.id} is {job.box_mm} mm long"
                yield case.on_route("rack", o, text, job.id)


def equipment(case: JudgedPlan) -> Iterator[Breach]:
    """Rule 7: what the routes of a yard need of shared equipment, beyond what is on board, is in its pool that day."""
    pool = {(e.id, e.yard): e.count for e in case.week.equipment}
    taken: Counter[tuple[str, str, int]] = Counter()
    for o in case.out:
        for item, n in o.from_pool.items():
            taken[item, o.crew.yard, o.route.day] += n
    for (item, at, day), n in taken.items():
        there = pool[item, at][day] if (item, at) in pool else 0
        if n > there:
            text = f"Yard {at} on {day_name(case.week, day)} sends out {n} of {item} and has {there}."
            yield Breach("equipment", text, day=day)


def stock(case: JudgedPlan) -> Iterator[Breach]:
    """Rule 8: what is taken from a yard's shelf up to a day has been there or has arrived by then."""
    used: defaultdict[tuple[str, str], Counter[int]] = defaultdict(Counter)
    for o in case.out:
        for _, job in o.stops:
            for part, n in job.parts.items():
                used[part, o.crew.yard][o.route.day] += n
    shelf = {(s.id, s.yard): s for s in case.week.stock}
    for (part, at), by_day in used.items():
        total, store = 0, shelf.get((part, at))
        for day in sorted(by_day):
            total += by_day[day]
            there = store.on_hand + sum(a.qty for a in store.arrivals if a.day <= day) if store else 0
            if by_day[day] and total > there:
                name = day_name(case.week, day)
                text = f"Yard {at} has used {total} of {part} by {name}, and only {there} will have been there."
                yield Breach("stock", text, day=day)


def booking(case: JudgedPlan) -> Iterator[Breach]:
    """Rule 9: the plan lists exactly the firm and day bookings that it does not keep."""
    listed = set(case.plan.broken)
    promised = {j.id: j.booked for j in case.week.jobs if j.booked is not None and j.booked.hold != "soft"}
    for job, booked in promised.items():
        kept = is_kept(booked, case.done.get(job))
        if kept == (job in listed):
            is_so = "not kept and not listed as broken; put it into"
            if kept:
                is_so = "kept but listed as broken; take it out of"
            text = f"The {'firm' if booked.hold == 'firm' else 'day'} booking of {job} is {is_so} the list."
            yield Breach("booking", text, day=booked.day, job=job)
    for job in case.plan.broken:
        if job not in promised:
            text = f'"{job}" is listed as a broken booking but has no firm or day booking; take it out of the list.'
            yield Breach("booking", text, job=job)


def follows(case: JudgedPlan) -> Iterator[Breach]:
    """Rule 10: a job that follows another comes after it, by the days and, where asked, the crew agreed."""
    for follow in case.week.follows:
        then = case.done.get(follow.then)
        if then and (text := _out_of_order(case.week, follow, case.done.get(follow.first), then)):
            sentence = f"Job {follow.then} is to follow {follow.first}, {text}."
            yield Breach("follows", sentence, then.crew, then.day, follow.then)


def _out_of_order(week: Week, follow: Follow, first: Visit | None, then: Visit) -> str:
    if first is None:
        return "which is not planned this week"
    days = then.day - first.day
    planned = f"they are planned on {day_name(week, first.day)} and {day_name(week, then.day)}"
    if days < follow.min_days:
        return f"at least {follow.min_days} day{'s'[: follow.min_days != 1]} later, and {planned}"
    most = follow.most(first.day)
    if most is not None and days > most:
        return f"at most {most} day{'s'[: most != 1]} later, and {planned}"
    if first.crew != then.crew and (follow.same_crew or days == 0):
        asked = "with the same crew" if follow.same_crew else "on the same day only with the same crew"
        crew, crew2 = crew_goes_on(crew_name(week, first.crew)), crew_name(week, then.crew)
        return f"{asked}, and {crew} does the one, {crew2} the other"
    if days == 0 and then.start < first.end:
        return f"but starts at {clock_time(then.start)}, before that ends at {clock_time(first.end)}"
    return ""


def rest(case: JudgedPlan) -> Iterator[Breach]:
    """Rule 11: a day longer than the limit has a rest at a stop's place; any other day states none."""
    rule = case.week.rest
    for o in case.out:
        at, out_min = o.route.rest, o.out_min
        if rule is None or out_min <= rule.after:
            if at is not None:
                yield case.on_route("rest", o, f"has a rest at {clock_time(at)} where none is due; take it out")
        elif at is None or not _can_rest(o, rule, at):
            due = f"{rule.length} minutes, begun from {clock_time(rule.earliest)} to {clock_time(rule.latest)}"
            found = "none is planned" if at is None else f"the one at {clock_time(at)} is not so"
            text = (
                f"is out {out_min} minutes and needs a rest of {due}, at a stop and uncut by work or driving; {found}"
            )
            yield case.on_route("rest", o, text)


def _can_rest(o: Outing, rule: RestRule, at: int) -> bool:
    """Whether the crew stands still at a stop's place from `at` until the rest is over, or rests within a service.

    Between the end of one thing and the start of the next there is one drive: the rest lies before it, at the place
    left, or after it, at the place reached; the yard, at either end of the day, is no place to rest.
    """
    if not rule.earliest <= at <= rule.latest:
        return False
    if o.paused(rule) is not None:
        return True
    last = len(o.calls)
    moments = [o.route.depart, *(t for stop, _ in o.calls for t in (stop.start, stop.end)), o.route.back]
    gaps = list(zip(moments[::2], moments[1::2], o.drives_min, strict=True))
    for n, (free, due, drive) in enumerate(gaps):
        before_drive = n > 0 and free <= at and at + rule.length + drive <= due
        after_drive = n < last and free + drive <= at and at + rule.length <= due
        if before_drive or after_drive:
            return True
    return False


def cost(case: JudgedPlan) -> Iterator[Breach]:
    """The stated cost is what the plan costs, kind by kind."""
    stated, real = case.plan.cost, case.cost
    for kind in type(real).__struct_fields__:
        if getattr(stated, kind) != getattr(real, kind):
            text = f"The plan states {getattr(stated, kind)} cents for {kind}; it is {getattr(real, kind)}."
            yield Breach("cost", text)


def bound(case: JudgedPlan) -> Iterator[Breach]:
    """The stated bound is not above the cost."""
    if case.plan.bound is not None and case.plan.bound > case.cost.total:
        text = f"The plan states a lower bound of {case.plan.bound} cents and costs {case.cost.total}: it is no bound."
        yield Breach("bound", text)


_ORDER: tuple[Callable[[JudgedPlan], Iterator[Breach]], ...] = (
    same_week, known, once, one_route, shift, travel, service, window, kit, skills, yard, hands, helpers,
    payload, boxes, rack, equipment, stock, booking, follows, rest, assist, reload, cost, bound,
)  # fmt: skip
RULES = {rule.__name__: rule for rule in _ORDER}  # every rule once: its name, and the function that judges it
