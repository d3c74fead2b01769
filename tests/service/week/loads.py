"""A crew's day with two loads: jobs whose crates do not go on the van together, and what is ticked of their kits."""

from __future__ import annotations

from collections.abc import Sequence

from fastapi import FastAPI

from api.database import transaction
from api.papers.kits import made_kit
from api.week.run.planning import planned
from scheduler import Put, by_hand
from scheduler.plan import Plan
from scheduler.week import Week

CREW = "north-1"


def loaded_twice(week: Week, jobs: Sequence[str], day: int) -> Plan:
    """Return a plan in which the crew does as many of the jobs on the day as go, by as few loads as need be."""
    plan = planned(week, ())
    for job in jobs:
        tried = by_hand(week, plan, Put(job, CREW, day))
        plan = tried.plan if tried.allowed else plan
    return plan


def with_crates(week: Week, day: int) -> list[str]:
    """Return jobs whose crates lie ready in the crew's yard and nobody was told of."""
    yard = next(crew.yard for crew in week.crews if crew.id == CREW)
    ready = [job for job in week.jobs if job.ready_day is not None and job.ready_day <= day and not job.booked]
    return [job.id for job in ready if job.boxes and job.yard == yard]


def items(app: FastAPI, visit: str) -> list[str]:
    """Return what a visit's kit holds, as it is ticked."""
    with transaction(app.state.database) as session:
        kit = made_kit(session, visit)
        assert kit is not None
        return [f"{item.where}: {item.name}" for item in kit.items]
