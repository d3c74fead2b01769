"""Rules of the second format that tie a route to another, or to its yard in mid-day: assists and reloads."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from itertools import pairwise

from scheduler.judged import Breach, JudgedPlan
from scheduler.plan import Stop
from scheduler.price import Outing
from scheduler.week import Assist, Job, clock_time


def assist(case: JudgedPlan) -> Iterator[Breach]:
    """Rule 12: a planned job that needs an assist has one, of another crew able to, while the job is being done."""
    came: defaultdict[str, list[tuple[Outing, Stop]]] = defaultdict(list)
    for o in case.out:
        for stop, job in o.assists:
            came[job.id].append((o, stop))
            if (wanted := job.assist) is None:
                yield case.on_route("assist", o, f"assists {job.id}, which needs no assist", job.id)
            elif text := _unable(o, wanted, stop):
                yield case.on_route("assist", o, f"{text} the assist of {job.id}", job.id)
    pauses = {s.job: o.route.rest for o in case.out if (s := o.paused(case.week.rest)) is not None}
    for job in case.week.jobs:
        due = int(job.assist is not None and job.id in case.done)
        if len(came[job.id]) != due:
            planned = "is planned and needs one" if due else "needs none in this plan"
            text = f"Job {job.id} has {len(came[job.id])} assist{'s'[: len(came[job.id]) != 1]} and {planned}."
            yield Breach("assist", text, job=job.id)
        for o, stop in came[job.id] if due else ():
            if text := _apart(case, job, o, stop, pauses.get(job.id)):
                yield case.on_route("assist", o, f"assists {job.id} {text}", job.id)


def _unable(o: Outing, wanted: Assist, stop: Stop) -> str:
    """Return what keeps the crew from the assist, in words that its name follows; empty: nothing."""
    if o.crew.hands + o.route.helpers < wanted.hands:
        return f"has {o.crew.hands + o.route.helpers} people, helpers counted, of {wanted.hands} for"
    if missing := [s for s in dict.fromkeys(wanted.skills) if s not in o.crew.skills_on(o.route.day)]:
        return f"lacks {', '.join(missing)} for"
    if stop.end - stop.start != wanted.minutes:
        return f"has {stop.end - stop.start} minutes of {wanted.minutes} for"
    return ""


def _apart(case: JudgedPlan, job: Job, o: Outing, stop: Stop, pause: int | None) -> str:
    """Return how the assist does not meet the job's own crew; empty: it does. `pause`: the rest within its service."""
    visit, wanted, rule = case.done[job.id], job.assist, case.week.rest
    assert wanted is not None
    if o.route.crew == visit.crew:
        return "itself; a second crew has to come"
    if o.route.day != visit.day:
        return "on another day than it is done"
    first, last = visit.start + wanted.from_min, visit.start + wanted.to_min
    if not first <= stop.start <= last:
        return f"at {clock_time(stop.start)}; it has to come from {clock_time(first)} to {clock_time(last)}"
    if stop.end > visit.end:
        return f"until {clock_time(stop.end)}, and the job ends at {clock_time(visit.end)}"
    if pause is not None and rule is not None and stop.start < pause + rule.length and pause < stop.end:
        return f"while its crew rests from {clock_time(pause)} on"
    return ""


def reload(case: JudgedPlan) -> Iterator[Breach]:
    """Rule 13: a reload is allowed, lasts as long as it takes, and stands between two other stops."""
    rule = case.week.reload
    for o in case.out:
        calls = o.calls
        for n, (stop, job) in enumerate(calls):
            if job is not None:
                continue
            if rule is None:
                yield case.on_route("reload", o, "reloads, and this week knows no reloads")
            elif stop.end - stop.start != rule.minutes:
                yield case.on_route("reload", o, f"has {stop.end - stop.start} minutes for a reload of {rule.minutes}")
            if n in (0, len(calls) - 1):
                yield case.on_route("reload", o, "reloads as its first or last stop; take that reload out")
        if any(a is None and b is None for (_, a), (_, b) in pairwise(calls)):
            yield case.on_route("reload", o, "reloads twice with no stop between; take one reload out")
