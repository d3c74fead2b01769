"""Making a visit's papers of its inputs: layout, drawing, kit, duration and the kit's condition, as documents.

Nothing here reads or writes the database, so that processes of their own can make papers of what they are handed.
"""

from __future__ import annotations

import functools
import logging
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import msgspec

from api.papers.kits import state_of
from api.papers.sheets import joined
from api.papers.stored.inputs import AwningInputs, JobInputs, ShopInputs
from scheduler.documents import encode
from scheduler.errors import BadInput
from scheduler.kit import Kit, KitState, parts_list
from scheduler.layout.compute import lay_out
from scheduler.layout.documents import Finding, Layout, Survey, survey_from_data
from scheduler.layout.drawing import draw_sheets
from scheduler.layout.drawing.title import Title
from scheduler.layout.site.lifting import hands_and_lift
from scheduler.layout.site.shade import ShadeSite
from scheduler.layout.site.tools import tools_for
from scheduler.times.durations import Estimate, Work, estimate, read_times, work_of_install

# A survey or repair is planned for an awning of 12 ft, with the fasteners at a usual height: the site decides.
USUAL_WIDTH_MM, USUAL_HEIGHT_MM = 3657, 3000
_times = functools.lru_cache(maxsize=4)(read_times)
_log = logging.getLogger(__name__)


@dataclass(frozen=True)
class Papers:
    """The papers of one visit, read; `fault` says in a sentence why there is no layout of a wall that was surveyed."""

    duration: Estimate
    survey: Survey | None = None
    layout: Layout | None = None
    drawing: str | None = None
    kit: Kit | None = None
    kit_state: KitState | None = None
    fault: str = ""

    @property
    def stops(self) -> list[Finding]:
        """Return what the layout says must be settled before anything is drilled."""
        return [f for f in self.layout.findings if f.level == "stop"] if self.layout is not None else []


def read_papers(job: JobInputs, documents: Mapping[str, str]) -> Papers:
    """Return the papers of which `documents` holds the texts, by what they are."""

    def read(what: str, kind: type[msgspec.Struct]) -> msgspec.Struct | None:
        return msgspec.json.decode(documents[what], type=kind) if what in documents else None

    surveyed = "layout" in documents and job.awning is not None and job.awning.survey is not None
    return Papers(
        duration=msgspec.json.decode(documents["duration"], type=Estimate),
        survey=_survey(job.awning.survey) if surveyed and job.awning and job.awning.survey else None,
        layout=read("layout", Layout),  # type: ignore[arg-type]  # read gives what it is asked for
        drawing=documents.get("drawing"),
        kit=read("kit", Kit),  # type: ignore[arg-type]
        kit_state=read("condition", KitState),  # type: ignore[arg-type]
        fault=documents.get("fault", ""),
    )


def finished_work(job: JobInputs, documents: Mapping[str, str]) -> Work:
    """Return what the time of a visit depended on, by the layout among its stored `documents`."""
    papers = read_papers(job, documents) if "duration" in documents else None
    return _work(job, papers.survey if papers else None, papers.layout if papers else None)


def make_papers(shop: ShopInputs, job: JobInputs, kept: Mapping[str, str]) -> dict[str, str]:
    """Return the documents of a visit by what they are; those in `kept` are taken as they are.

    A survey of which no wall can be laid out, drawn or fitted gives a `fault` in their place, and stops no other job.
    """
    if "fault" in kept and "duration" in kept:
        return {"fault": kept["fault"], "duration": kept["duration"]}
    made: dict[str, str] = {}

    def paper(what: str, make: Callable[[], str]) -> str:
        made[what] = kept[what] if what in kept else make()
        return made[what]

    survey: Survey | None = None
    layout: Layout | None = None
    awning = job.awning
    if awning is not None and awning.survey is not None:
        try:
            survey = wall = _survey(awning.survey)
            layout = laid = _layout(wall, awning, paper)
            paper("drawing", lambda: _drawing(shop, job, wall, laid))
            if goes(laid):
                _kit(shop, job, awning, wall, laid, paper)
        except BadInput as fault:
            made = {"fault": f"The survey cannot be used: {fault}."}
        except Exception as fault:  # whatever one odd wall does to us, the others' papers must be made
            _log.exception("the papers of %s could not be made", job.visit_id)
            words = f"The survey brought the layout to a fall ({type(fault).__name__}: {fault}): this is a defect."
            made = {"fault": words}
    paper("duration", lambda: encode(estimate(_work(job, survey, layout), _times(shop.times))).decode())
    return made


def _drawing(shop: ShopInputs, job: JobInputs, survey: Survey, layout: Layout) -> str:
    site = job.site
    title = Title(job.visit_id, site.customer, site.address, shop.today)
    shade = ShadeSite(site.lat, site.lon, shop.zone, shop.today.year) if shop.today else None
    return joined(draw_sheets(survey, layout, units=shop.units, job=title, site=shade))


def goes(layout: Layout) -> bool:
    """Say whether a kit is made for this layout: it has brackets, and nothing stops it."""
    return bool(layout.brackets) and all(finding.level != "stop" for finding in layout.findings)


@functools.lru_cache(maxsize=64)
def _survey(text: str) -> Survey:
    return survey_from_data(msgspec.json.decode(text))


def _layout(survey: Survey, awning: AwningInputs, paper: Callable[[str, Callable[[], str]], str]) -> Layout:
    text = paper("layout", lambda: encode(lay_out(survey, awning.maker.get("bracket", 0))).decode())
    return msgspec.json.decode(text, type=Layout)


def _kit(
    shop: ShopInputs, job: JobInputs, awning: AwningInputs, survey: Survey, layout: Layout,
    paper: Callable[[str, Callable[[], str]], str],
) -> None:  # fmt: skip
    def make() -> str:
        tools = tools_for(survey, layout.fastener, shop.stepladders_ft, shop.extension_ft)
        return encode(parts_list(survey, layout, tools, awning.maker or None, awning.box_mm, awning.boxes)).decode()

    kit = msgspec.json.decode(paper("kit", make), type=Kit)
    paper("condition", lambda: encode(state_of(kit.crate(), job.counts, job.shorts, job.loaded)).decode())


def _work(job: JobInputs, survey: Survey | None, layout: Layout | None) -> Work:
    """Return what the time on site depends on: of an install that cannot go, as far as it is known."""
    if survey is not None and layout is not None and goes(layout):
        lift = hands_and_lift(survey.awning.weight_kg, survey.place.height, survey.awning.width)
        return work_of_install(survey, layout, lift.hands, lift.material_lift)
    awning = job.awning
    brackets = 0 if awning is None else 4 if layout is None else layout.required
    return Work(
        kind=job.kind,  # type: ignore[arg-type]  # the table's own check keeps it to these three
        width_mm=USUAL_WIDTH_MM if awning is None else awning.width_mm,
        brackets=brackets,
        holes=0,
        wall="wood-studs" if survey is None else survey.wall.kind,
        height_mm=USUAL_HEIGHT_MM if survey is None else survey.place.height,
        hood=False if survey is None else survey.awning.hood,
        motor=job.motor if awning is None else awning.motor is not None,
        hands=2,
        material_lift=False,
    )
