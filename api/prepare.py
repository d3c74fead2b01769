"""Preparation: layout, drawing, kit and duration of each visit, made once and kept with a fingerprint of their inputs.

What is stored is used only where its fingerprint is that of today's inputs; otherwise it is made again. Bench counts
and days of arrival change daily and are looked at each time.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable
from dataclasses import dataclass

import msgspec
from sqlmodel import Session

from api import tables
from api.fingerprint import code_of, fingerprint
from api.kits import expected, state_of
from api.queries import Facts, prepared
from api.translate import Prepared
from scheduler.documents import encode
from scheduler.durations import Estimate, Work, estimate, read_times, work_of_install
from scheduler.kit import Kit, KitState, parts_list
from scheduler.layout.compute import lay_out
from scheduler.layout.documents import Layout, Survey, survey_from_data
from scheduler.layout.drawing import draw_svg
from scheduler.layout.ladders import ladders_for
from scheduler.layout.lifting import hands_and_lift
from scheduler.layout.tools import ladder_sizes_ft, tools_for
from scheduler.plan import Because

# Which walls and awnings ask for which skill of a lead or helper: common practice, no published source.
WALL_SKILLS = {
    "concrete": "masonry",
    "solid-masonry": "masonry",
    "hollow-block": "masonry",
    "stucco-on-studs": "stucco",
    "rafters": "roof-mount",
}
MOTOR_SKILL = "motor-setup"
# A survey or repair is planned for an awning of 12 ft, with the fasteners at a usual height: the site decides.
USUAL_WIDTH_MM, USUAL_HEIGHT_MM = 3657, 3000


@dataclass
class Tally:
    """How many documents were made, and how many were there already."""

    made: int = 0
    kept: int = 0


@dataclass
class JobPapers:
    """What there is to know of one visit: its documents, its kit's condition, and what planning needs of it."""

    visit: tables.Visit
    needs: Prepared
    duration: Estimate
    survey: Survey | None = None
    layout: Layout | None = None
    drawing: str | None = None
    kit: Kit | None = None
    kit_state: KitState | None = None


class Preparation:
    """Makes the papers of visits from `facts`, keeping what `session` holds already.

    With `remake` False nothing is stored, and a document of other inputs is given as it is and named in `stale`: so
    pages show what the plan was made of.
    """

    def __init__(self, session: Session, facts: Facts, now: datetime.datetime, *, remake: bool = True) -> None:
        self.session, self.facts, self.now, self.remake = session, facts, now, remake
        self.times = read_times(facts.business.times)
        self.tally = Tally()
        self.stale: set[str] = set()
        onboard = {kind for van in facts.vans.values() for kind in van.onboard}
        owned = onboard | {item.kind for item in facts.equipment.values() if item.active}
        self.stepladders_ft, self.extension_ft = ladder_sizes_ft(owned)

    def papers(self, visit: tables.Visit) -> JobPapers:
        """Return the papers of `visit`."""
        awning = self.facts.awnings.get(visit.awning_id or "")
        if visit.kind == "install" and awning is not None:
            return self._install(visit, awning)
        return self._visit(visit)

    def _install(self, visit: tables.Visit, awning: tables.Awning) -> JobPapers:
        row = self.facts.surveys.get(awning.id)
        if row is None:
            unsurveyed = Because(code="no_survey", detail="The wall has not been surveyed: book a survey first.")
            return self._stopped(visit, awning, (unsurveyed,))
        survey = survey_from_data(row.document)
        maker = {part.item: part.quantity for part in self.facts.maker_parts.get(awning.id, {}).values()}
        layout = self._layout(visit, survey, maker)
        drawing = self._drawing(visit, survey, layout)
        stops = [finding for finding in layout.findings if finding.level == "stop"]
        if not layout.brackets or stops:
            because_all = tuple(Because(code="drawing", detail=finding.text) for finding in stops)
            return self._stopped(visit, awning, because_all, survey, layout, drawing)
        kit = self._kit(visit, survey, layout, awning, maker)
        lift = hands_and_lift(survey.awning.weight_kg, survey.place.height, survey.awning.width)
        duration = self._duration(visit, work_of_install(survey, layout, lift.hands, lift.material_lift))
        state = self._kit_state(visit, kit)
        ready_on, because = self._ready(visit, awning, state)
        needs = Prepared(
            minutes=self._minutes(visit, duration),
            hands=visit.hands or lift.hands,
            skills=_skills(visit, survey),
            equipment=kit.equipment(),
            parts=kit.shelf(),
            weight_kg=kit.weight_kg,
            box_mm=kit.box_mm,
            boxes=kit.boxes,
            tall_ladder=survey.place.height >= self.facts.rules.tall_ladder_from_mm,
            large_awning=survey.awning.width >= self.facts.rules.large_awning_from_mm,
            sealant=any("sealant" in item for item in kit.shelf()),
            ready_on=ready_on,
            because=because,
        )
        return JobPapers(visit, needs, duration, survey, layout, drawing, kit, state)

    def _visit(self, visit: tables.Visit) -> JobPapers:
        """Return the papers of a survey or repair: a stepladder, the tools of the van, and two pairs of hands."""
        work = Work(
            kind=visit.kind,  # type: ignore[arg-type]  # the table's own check keeps it to these three
            width_mm=USUAL_WIDTH_MM,
            brackets=0,
            holes=0,
            wall="wood-studs",
            height_mm=USUAL_HEIGHT_MM,
            hood=False,
            motor=MOTOR_SKILL in visit.skills,
            hands=2,
            material_lift=False,
        )
        duration = self._duration(visit, work)
        return JobPapers(visit, self._bare(visit, duration, (), self.now.date()), duration)

    def _stopped(
        self,
        visit: tables.Visit,
        awning: tables.Awning,
        because: tuple[Because, ...],
        survey: Survey | None = None,
        layout: Layout | None = None,
        drawing: str | None = None,
    ) -> JobPapers:
        """Return the papers of an install that cannot go: what is known of it, and why not."""
        work = Work(
            kind="install",
            width_mm=awning.width_mm,
            brackets=layout.required if layout else 4,
            holes=0,
            wall=survey.wall.kind if survey else "wood-studs",
            height_mm=survey.place.height if survey else USUAL_HEIGHT_MM,
            hood=survey.awning.hood if survey else False,
            motor=awning.motor is not None,
            hands=2,
            material_lift=False,
        )
        duration = self._duration(visit, work)
        return JobPapers(visit, self._bare(visit, duration, because, None), duration, survey, layout, drawing)

    def _bare(
        self, visit: tables.Visit, duration: Estimate, because: tuple[Because, ...], ready_on: datetime.date | None
    ) -> Prepared:
        ladders = ladders_for(USUAL_HEIGHT_MM, stepladders_ft=self.stepladders_ft, extension_ft=self.extension_ft)
        short = "stepladder" if ladders.kind == "stepladder" else "ladder"
        return Prepared(
            minutes=self._minutes(visit, duration),
            hands=visit.hands or 1,
            skills=tuple(sorted(visit.skills)),
            equipment={} if ladders.kind is None else {f"{short}-{ladders.size_ft}": 1},
            parts={},
            weight_kg=0,
            box_mm=0,
            boxes=0,
            tall_ladder=False,
            large_awning=False,
            sealant=False,
            ready_on=ready_on,
            because=because,
        )

    def _minutes(self, visit: tables.Visit, duration: Estimate) -> int:
        estimated = duration.p80_min if self.facts.rules.plan_with == "p80" else duration.p50_min
        return visit.minutes or max(1, estimated)

    def _layout(self, visit: tables.Visit, survey: Survey, maker: dict[str, int]) -> Layout:
        at_least = maker.get("bracket", 0)
        inputs = fingerprint(survey, at_least, code_of("scheduler.layout", "scheduler.units"))
        return msgspec.json.decode(
            self._kept(visit, "layout", inputs, lambda: encode(lay_out(survey, at_least)).decode()), type=Layout
        )

    def _drawing(self, visit: tables.Visit, survey: Survey, layout: Layout) -> str:
        units = self.facts.business.units
        inputs = fingerprint(survey, layout, units, code_of("scheduler.layout", "scheduler.units"))
        return self._kept(visit, "drawing", inputs, lambda: draw_svg(survey, layout, units=units))  # type: ignore[arg-type]

    def _kit(
        self, visit: tables.Visit, survey: Survey, layout: Layout, awning: tables.Awning, maker: dict[str, int]
    ) -> Kit:
        sizes = (self.stepladders_ft, self.extension_ft)
        inputs = fingerprint(
            survey, layout, maker, awning.box_mm, awning.boxes, sizes, code_of("scheduler.kit", "scheduler.layout")
        )

        def make() -> str:
            tools = tools_for(survey, layout.fastener, *sizes)
            return encode(parts_list(survey, layout, tools, maker or None, awning.box_mm, awning.boxes)).decode()

        return msgspec.json.decode(self._kept(visit, "kit", inputs, make), type=Kit)

    def _duration(self, visit: tables.Visit, work: Work) -> Estimate:
        inputs = fingerprint(work, self.times, code_of("scheduler.durations"))
        document = self._kept(visit, "duration", inputs, lambda: encode(estimate(work, self.times)).decode())
        return msgspec.json.decode(document, type=Estimate)

    def _kept(self, visit: tables.Visit, what: str, inputs: str, make: Callable[[], str]) -> str:
        """Return the document stored for `inputs`; where there is none, or one of other inputs, make and store it."""
        row = prepared(self.session, visit.id).get(what)
        if row is not None and row.fingerprint == inputs:
            self.tally.kept += 1
            return row.document
        if not self.remake:
            if row is None:
                return make()
            self.stale.add(what)
            return row.document
        self.tally.made += 1
        if row is None:
            row = tables.Prepared(visit_id=visit.id, what=what, fingerprint="", document="", made_at=self.now)
        row.fingerprint, row.document, row.made_at = inputs, make(), self.now
        self.session.add(row)
        return row.document

    def _kit_state(self, visit: tables.Visit, kit: Kit) -> KitState:
        counts, shorts = self.facts.counts.get(visit.id, {}), self.facts.shorts.get(visit.id, [])
        return state_of(kit.crate(), counts, shorts, visit.id in self.facts.loaded)

    def _ready(
        self, visit: tables.Visit, awning: tables.Awning, state: KitState
    ) -> tuple[datetime.date | None, tuple[Because, ...]]:
        """Return the day from which the kit is whole (None: nobody can say), and the reasons for a late day or none."""
        if state.condition == "uncounted":
            if awning.arrives_on is None:
                detail = "The crate has not come and the maker has named no day: ask for one."
                return None, (Because(code="crate", detail=detail),)
            if awning.arrives_on > self.now.date():
                detail = f"The crate is expected on {_day(awning.arrives_on)}: count it then."
                return None, (Because(code="crate", detail=detail),)
            left = "The kit has" if not self.facts.counts.get(visit.id) else f"{len(state.uncounted)} items have"
            detail = (
                f"{left} not been counted: open the crate in the {awning.yard_id} yard and count it against its list."
            )
            return None, (Because(code="uncounted", detail=detail),)
        ready: datetime.date | None = self.now.date()
        because = []
        for item, pieces in state.missing.items():
            day, detail = expected(item, pieces, self.facts.shorts.get(visit.id, []), self.now.date())
            because.append(Because(code="short", detail=detail))
            ready = None if ready is None or day is None else max(ready, day)
        return ready, tuple(because)


def _day(date: datetime.date) -> str:
    return f"{date:%a} {date:%b} {date.day}"


def _skills(visit: tables.Visit, survey: Survey) -> tuple[str, ...]:
    needed = set(visit.skills)
    if survey.wall.kind in WALL_SKILLS:
        needed.add(WALL_SKILLS[survey.wall.kind])
    if survey.awning.motor is not None:
        needed.add(MOTOR_SKILL)
    return tuple(sorted(needed))
