"""Preparation: layout, drawing, kit and duration of each visit, made once and kept with a fingerprint of their inputs.

What is stored is used only where its fingerprint is that of today's inputs; otherwise it is made again. Days of arrival
change daily and are looked at each time.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from zoneinfo import ZoneInfo

from sqlmodel import Session

from api import tables
from api.fields.shown import day_name
from api.ledger.facts.job import newest_surveys
from api.ledger.facts.week import Facts
from api.papers.kits import expected
from api.papers.needs import Needs
from api.papers.sheets import sheets_of
from api.papers.stored.inputs import MOTOR_SKILL, JobInputs, fingerprints, is_fresh, job_inputs, shop_inputs
from api.papers.stored.making import USUAL_HEIGHT_MM, Papers, make_papers, read_papers
from api.papers.stored.store import Made, store, stored
from scheduler.kit import Kit, KitState
from scheduler.layout.documents import Layout, Survey
from scheduler.layout.site.ladders import ladders_for
from scheduler.layout.site.lifting import hands_and_lift
from scheduler.plan import Because
from scheduler.times.durations import Estimate

# Which walls and awnings ask for which skill of a lead or helper: common practice, no published source.
WALL_SKILLS = {
    "concrete": "masonry",
    "solid-masonry": "masonry",
    "hollow-block": "masonry",
    "stucco-on-studs": "stucco",
    "rafters": "roof-mount",
}
# Made in no time and changing daily: never shown stale, never counted as made.
_QUICK = ("condition", "fault")


@dataclass
class Tally:
    """How many documents were made, and how many were there already."""

    made: int = 0
    kept: int = 0


@dataclass
class JobPapers:
    """What there is to know of one visit: its documents, its kit's condition, and what planning needs of it.

    `work` is its kind of work, `rack` the place of its awning in a yard's rack where its work has to do with one.
    `fault` says in a sentence why there is no layout of a wall that was surveyed; `stale` names the documents that were
    made of other inputs than today's.
    """

    visit: tables.Visit
    work: tables.WorkKind
    needs: Needs
    duration: Estimate
    rack: tables.StoredAwning | None = None
    survey: Survey | None = None
    layout: Layout | None = None
    drawing: str | None = None
    kit: Kit | None = None
    kit_state: KitState | None = None
    fault: str = ""
    stale: frozenset[str] = frozenset()

    @property
    def sheets(self) -> list[str]:
        """The sheets of the wall drawing, the first to drill by; none without a drawing."""
        return sheets_of(self.drawing)


class Preparation:
    """Makes the papers of visits, keeping what `session` holds already; `facts` say what planning needs of them.

    With `remake` False nothing is stored, and a document of other inputs is given as it is and named in its job's
    `stale`: so pages show what the plan was made of.
    """

    def __init__(self, session: Session, facts: Facts, now: datetime.datetime, *, remake: bool = True) -> None:
        self.session, self.facts, self.now, self.remake = session, facts, now, remake
        self.today = now.astimezone(ZoneInfo(facts.business.timezone)).date()  # the yards' date, late at night too
        self.shop = shop_inputs(session, now)
        self.tally = Tally()

    def papers(self, visit: tables.Visit) -> JobPapers:
        """Return the papers of `visit`."""
        return self.papers_of([visit])[visit.id]

    def papers_of(self, visits: Sequence[tables.Visit]) -> dict[str, JobPapers]:
        """Return the papers of `visits` by their ids, in the same order; what was made is stored in one go."""
        inputs = job_inputs(self.session, [visit.id for visit in visits])
        held = stored(self.session, list(inputs))
        made: dict[str, Made] = {}
        found = {}
        for visit in visits:
            job = inputs[visit.id]
            wanted, have = fingerprints(self.shop, job), held[visit.id]
            stale: set[str] = set()
            fresh = {what: text for what, (print_, text) in have.items() if wanted.get(what) == print_}
            if is_fresh({what: print_ for what, (print_, _) in have.items()}, wanted):
                documents = fresh
            elif self.remake:
                documents = make_papers(self.shop, job, fresh)
                made[visit.id] = Made(documents, wanted, fresh)
            else:
                documents = self._as_it_is(job, fresh, {what: text for what, (_, text) in have.items()})
                stale = {what for what in documents if what in have and what not in fresh and what not in _QUICK}
            self.tally.kept += sum(what in fresh for what in documents if what != "condition")
            self.tally.made += sum(what not in fresh for what in documents if what != "condition")
            found[visit.id] = replace(self._job(visit, read_papers(job, documents)), stale=frozenset(stale))
        store(self.session, made, self.now)
        return found

    def _as_it_is(self, job: JobInputs, fresh: Mapping[str, str], have: Mapping[str, str]) -> dict[str, str]:
        """Return what is stored, stale or not, with what is missing made beside it, but not kept."""
        if "layout" not in have:
            return make_papers(self.shop, job, fresh)
        return make_papers(self.shop, job, {what: text for what, text in have.items() if what not in _QUICK})

    def _job(self, visit: tables.Visit, papers: Papers) -> JobPapers:
        awning = self.facts.awnings.get(visit.awning_id or "")
        kit, survey, state = papers.kit, papers.survey, papers.kit_state
        work = self.facts.kind_of(visit)
        if visit.kind != "install" or awning is None:
            rack = self.facts.racks.get(visit.awning_id or "") if work.rack else None
            return JobPapers(visit, work, self._other(visit, work, papers.duration, rack), papers.duration, rack)
        if kit is None or survey is None or state is None:
            needs = replace(self._bare(visit, work, papers.duration), because=_stops(papers), yard_id=awning.yard_id)
            return JobPapers(visit, work, needs, papers.duration, None, survey, papers.layout, papers.drawing,
                             fault=papers.fault)  # fmt: skip
        lift = hands_and_lift(survey.awning.weight_kg, survey.place.height, survey.awning.width)
        ready_on, because = self._ready(visit, awning, state)
        needs = Needs(
            minutes=self._minutes(visit, work, papers.duration),
            hands=visit.hands or max(lift.hands, work.hands),
            skills=_skills(visit, work, survey),
            equipment=_most(kit.equipment(), work.tools),
            parts=_sum(kit.shelf(), work.parts),
            weight_kg=kit.weight_kg,
            box_mm=kit.box_mm,
            boxes=kit.boxes,
            tall_ladder=survey.place.height >= self.facts.rules.tall_ladder_from_mm,
            large_awning=survey.awning.width >= self.facts.rules.large_awning_from_mm,
            sealant=any("sealant" in item for item in kit.shelf()),
            ready_on=None if ready_on is None else max(ready_on, visit.from_on or ready_on),
            because=(*because, *self._later(visit)),
            yard_id=awning.yard_id,
        )
        return JobPapers(visit, work, needs, papers.duration, None, survey, papers.layout, papers.drawing, kit, state)

    def _other(
        self, visit: tables.Visit, work: tables.WorkKind, duration: Estimate, rack: tables.StoredAwning | None
    ) -> Needs:
        """Return what any work but an install needs: what its kind asks for, and the day from which it can go."""
        awning, surveyed = self.facts.awnings.get(visit.awning_id or ""), True
        ready: datetime.date | None = max(self.today, visit.from_on or self.today)
        because = list(self._later(visit))
        if work.drawing:
            surveyed = awning is not None and bool(newest_surveys(self.session, [awning.id]))
        if not surveyed:
            ready = None
            because.append(Because(code="no_survey", detail="The wall has not been surveyed: book a survey first."))
        for order in self.facts.awaited.get(visit.awning_id or "", ()) if work.kit else ():
            ready = None if ready is None or order.day is None else max(ready, order.day)
            when = f"expected on {day_name(order.day)}" if order.day else "the maker has named no day: ask for one"
            because.append(Because(code="crate", detail=f"Ordered and not here yet: {order.what}, {when}."))
        needs = replace(self._bare(visit, work, duration), ready_on=ready, because=tuple(because))
        if rack is not None:
            needs = replace(needs, yard_id=rack.yard_id)
        if not work.carries or awning is None:
            return needs
        return replace(needs, weight_kg=awning.weight_kg, box_mm=awning.box_mm, boxes=awning.boxes)

    def _later(self, visit: tables.Visit) -> tuple[Because, ...]:
        if visit.from_on is None or visit.from_on <= self.today:
            return ()
        return (Because(code="hours", detail=f"It is not wanted before {day_name(visit.from_on)}."),)

    def _bare(self, visit: tables.Visit, work: tables.WorkKind, duration: Estimate) -> Needs:
        """Return what its kind asks for, with a stepladder: of an install without a kit all that is known."""
        stepladders, extension = self.shop.stepladders_ft, self.shop.extension_ft
        ladders = ladders_for(USUAL_HEIGHT_MM, stepladders_ft=stepladders, extension_ft=extension)
        short = "stepladder" if ladders.kind == "stepladder" else "ladder"
        return Needs(
            minutes=self._minutes(visit, work, duration),
            hands=visit.hands or work.hands,
            skills=tuple(sorted({*visit.skills, *work.skills})),
            equipment=_most({} if ladders.kind is None else {f"{short}-{ladders.size_ft}": 1}, work.tools),
            parts=dict(work.parts),
            weight_kg=0,
            box_mm=0,
            boxes=0,
            tall_ladder=False,
            large_awning=False,
            sealant=False,
            ready_on=None,
            because=(),
        )

    def _minutes(self, visit: tables.Visit, work: tables.WorkKind, duration: Estimate) -> int:
        return visit.minutes or work.minutes or duration.planned_min(self.facts.rules.plan_with)

    def _ready(
        self, visit: tables.Visit, awning: tables.Awning, state: KitState
    ) -> tuple[datetime.date | None, tuple[Because, ...]]:
        """Return the day from which the kit is whole (None: nobody can say), and the reasons for a late day or none."""
        if state.condition == "uncounted":
            if awning.arrives_on is None:
                detail = "The crate has not come and the maker has named no day: ask for one."
                return None, (Because(code="crate", detail=detail),)
            if awning.arrives_on > self.today:
                detail = f"The crate is expected on {day_name(awning.arrives_on)}: count it then."
                return None, (Because(code="crate", detail=detail),)
            left = "The kit has" if not self.facts.counts.get(visit.id) else f"{len(state.uncounted)} items have"
            detail = (
                f"{left} not been counted: open the crate in the {awning.yard_id} yard and count it against its list."
            )
            return None, (Because(code="uncounted", detail=detail),)
        ready: datetime.date | None = self.today
        because = []
        for item, pieces in state.missing.items():
            day, detail = expected(item, pieces, self.facts.shorts.get(visit.id, []), self.today)
            because.append(Because(code="short", detail=detail))
            ready = None if ready is None or day is None else max(ready, day)
        return ready, tuple(because)


def _stops(papers: Papers) -> tuple[Because, ...]:
    """Return why an install without a kit cannot go."""
    if papers.fault:
        return (Because(code="drawing", detail=papers.fault),)
    if papers.layout is None:
        return (Because(code="no_survey", detail="The wall has not been surveyed: book a survey first."),)
    return tuple(Because(code="drawing", detail=finding.text) for finding in papers.stops)


def _most(*all_of: Mapping[str, int]) -> dict[str, int]:
    """Return how many of each are needed where several ask for them at the same time."""
    return {item: max(some.get(item, 0) for some in all_of) for some in all_of for item in some}


def _sum(*all_of: Mapping[str, int]) -> dict[str, int]:
    """Return how many of each are used up in all."""
    return {item: sum(some.get(item, 0) for some in all_of) for some in all_of for item in some}


def _skills(visit: tables.Visit, work: tables.WorkKind, survey: Survey) -> tuple[str, ...]:
    needed = {*visit.skills, *work.skills}
    if survey.wall.kind in WALL_SKILLS:
        needed.add(WALL_SKILLS[survey.wall.kind])
    if survey.awning.motor is not None:
        needed.add(MOTOR_SKILL)
    return tuple(sorted(needed))
