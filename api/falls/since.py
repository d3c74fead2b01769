"""What has changed since a plan was made, of the facts that it was made of: reasons to plan again."""

from __future__ import annotations

import datetime
import zoneinfo
from dataclasses import replace

from sqlmodel import Session

from api import tables
from api.ledger.facts.week import facts
from api.ledger.plans.documents import week_in
from api.papers.preparation import Preparation
from api.week.build import open_visits, week_of
from api.week.rain_dates import given_back, with_rain_dates_to_go_to
from api.week.second import by_the_rules
from scheduler.plan import read_plan
from scheduler.price import Visit, is_kept, outings, visits
from scheduler.week import Crew, Job, Week


def changed_since(session: Session, stored: tables.StoredPlan, now: datetime.datetime) -> list[str]:
    """Return what has changed since a plan was made, in words such as "crew hours", in a fixed order."""
    known = with_rain_dates_to_go_to(session, facts(session, stored.start_date, now=now), stored.start_date)
    preparation = Preparation(session, known, now, remake=False)
    papers = preparation.papers_of(open_visits(known, stored.start_date))
    old = week_in(stored)
    built = week_of(known, {name: job.needs for name, job in papers.items()}, stored.start_date)
    new = built.week
    for one in built.kept:
        if one.made_at >= stored.made_at:  # the plan leaves room for it
            new = given_back(new, built.kept, one.visit_id)
    new = by_the_rules(replace(built, week=new), known.rules)
    planned = visits(outings(old, read_plan(stored.plan).routes))
    local = now.astimezone(zoneinfo.ZoneInfo(new.timezone)).date()
    return differences(old, new, planned, (local - stored.start_date).days)


def differences(old: Week, new: Week, planned: dict[str, Visit], today: int) -> list[str]:
    """Return in words what differs between the week that a plan was made of and the same week now.

    planned: the plan's visits. today: the day of the week that it is; a kit that is whole is ready from then on.
    """
    before, after = {crew.id: crew for crew in old.crews}, {crew.id: crew for crew in new.crews}
    both = [(before[name], after[name]) for name in before.keys() & after.keys()]
    was, now = {job.id: job for job in old.jobs}, {job.id: job for job in new.jobs}
    jobs = [(was[name], now[name]) for name in was.keys() & now.keys()]
    changed = {
        "crews": before.keys() != after.keys(),
        "crew hours": any(_hours(a, today) != _hours(b, today) for a, b in both),
        "people and skills": any(a.hands != b.hands or _skills_differ(a, b) for a, b in both),
        "the rest on the way": _within(old) != _within(new),
        "second loads": old.reload != new.reload,
        "the hours of a week": any(a.weekly != b.weekly for a, b in both),
        "vans": any((a.vehicle, a.onboard) != (b.vehicle, b.onboard) for a, b in both),
        "ladders and tools": old.equipment != new.equipment,
        "helpers": old.helpers != new.helpers,
        "the shelf": today < 0 and old.stock != new.stock,  # once the week has begun, loading takes from it as planned
        "kits": any(_kit_differs(a, b, today) for a, b in jobs),
        "promises": any(
            job.booked is not None and job.booked.hold != "soft" and not is_kept(job.booked, planned.get(job.id))
            for before_job, job in jobs
            if before_job.booked != job.booked
        ),
        "what jobs ask for": any(_asks(a) != _asks(b) for a, b in jobs if not _by_today(planned.get(a.id), today)),
        "new jobs": bool(now.keys() - was.keys()),
    }
    return [words for words, is_so in changed.items() if is_so]


def _within(week: Week) -> bool:
    return week.rest is not None and week.rest.within


def _hours(crew: Crew, today: int) -> list[tuple[int, ...]]:
    """Return the crew's days with their hours; of days that have begun only that it works: they go as they go."""
    return [(s.day, s.start, s.end, s.overtime) if s.day > today else (s.day,) for s in crew.shifts]


def _by_today(visit: Visit | None, today: int) -> bool:
    """Say whether the visit is planned for a day that has begun, on which it takes the time that it takes."""
    return visit is not None and visit.day <= today


def _kit_differs(old: Job, new: Job, today: int) -> bool:
    if old.ready_day is None or new.ready_day is None:
        return old.ready_day is not new.ready_day
    return new.ready_day > max(old.ready_day, today, 0) or new.ready_day < old.ready_day


def _skills_differ(old: Crew, new: Crew) -> bool:
    """Say whether on any day on which the crew works then and now others can do other things in it."""
    days = {shift.day for shift in old.shifts} & {shift.day for shift in new.shifts}
    return old.skills != new.skills or any(set(old.skills_on(d)) != set(new.skills_on(d)) for d in days)


def _asks(job: Job) -> tuple[object, ...]:
    carried = job.weight_kg, job.box_mm, job.boxes
    return job.minutes, job.hands, job.skills, job.equipment, job.parts, *carried, job.yard, job.assist


def sentence(changed: list[str]) -> str:
    """Return what has changed as a sentence; empty where nothing has."""
    if not changed:
        return ""
    words = changed[0] if len(changed) == 1 else " and ".join((", ".join(changed[:-1]), changed[-1]))
    return f"{words[0].upper()}{words[1:]} changed since: plan again."
