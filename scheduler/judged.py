"""A plan laid beside its week, and what a rule says of it where the plan breaks it."""

from __future__ import annotations

from dataclasses import dataclass

from scheduler.plan import Cost, Plan
from scheduler.price import Outing, Visit
from scheduler.week import Week, day_name


@dataclass(frozen=True, slots=True)
class Breach:
    """One rule broken at one place: the rule's name, where (None: not bound to it), and a sentence on it."""

    rule: str
    sentence: str
    crew: str | None = None
    day: int | None = None
    job: str | None = None


@dataclass(frozen=True, slots=True)
class JudgedPlan:
    """A plan laid beside its week, with what every rule asks for worked out once: what each rule is given."""

    week: Week
    plan: Plan
    out: tuple[Outing, ...]
    done: dict[str, Visit]
    cost: Cost

    def on_route(self, rule: str, o: Outing, sentence: str, job: str | None = None) -> Breach:
        text = f"Crew {o.crew.called} on {day_name(self.week, o.route.day)} {sentence}."
        return Breach(rule, text, o.route.crew, o.route.day, job)
