"""The cautions that go with each kind of work.

Common practice, no published source; local codes, the manufacturer's instructions and licensed practice go first.
"""

from __future__ import annotations

from collections.abc import Iterator

from api import tables
from api.fields.shown import pounds
from api.languages import gettext, to_say
from api.languages.core import core_says
from api.papers.preparation import JobPapers
from scheduler.layout.documents import MASONRY
from scheduler.weather.thunder import flash_words

# These are said by `gettext` where they are shown: a step is signed by its English name.
GOES_FIRST = to_say(
    "The manufacturer's instructions, local codes and the rules of licensed trades go first. Where they and this paper "
    "differ, or the wall is not as drawn: stop and call the office."
)
CONDITIONS = (to_say("uncounted"), to_say("short"), to_say("verified"), to_say("loaded"))
PAPERS = (to_say("layout"), to_say("drawing"), to_say("kit"), to_say("duration"))
_DUSTY = MASONRY | {"brick-veneer", "stucco-on-studs"}  # 29 CFR 1926.1153 asks for control of this dust
LEAD_PAINT_BEFORE = 1978  # 40 CFR 745.83, target housing


def cautions(job: JobPapers, site: tables.Site, wall: JobPapers | None = None) -> Iterator[str]:
    """Yield the cautions for the work of a job at its site in the language spoken, the gravest first.

    wall: the papers of the install that it goes on with, whose survey is that of its wall; None: the job's own.
    """
    kit, needs, _ = job.kit, job.needs, gettext
    survey = (wall or job).survey
    if site.built is not None and site.built < LEAD_PAINT_BEFORE:
        yield _(
            "House of {built}, before {year}: paint may hold lead. Test before drilling, sanding or scraping; "
            "certified lead-safe work where local rules ask for it."
        ).format(built=site.built, year=LEAD_PAINT_BEFORE)
    elif site.built is None:
        yield _("Year of the house unknown: treat old paint as if it held lead until it is tested.")
    if job.visit.kind != "survey":
        yield _("Drilling: look for wires, pipes and gas in the wall first; eye and ear protection.")
    if survey is not None and survey.wall.kind in _DUSTY:
        yield _("Masonry, mortar and stucco dust holds silica: shrouded drill with a vacuum, and a respirator.")
    if needs.tall_ladder or any(item.startswith("ladder-") for item in needs.equipment):
        yield _(
            "Tall ladder: firm level footing, one foot out for four up, tied or footed, well clear of overhead lines; "
            "nothing heavy is carried on it."
        )
    elif needs.equipment:
        yield _("Ladder: open and locked, on firm level ground, never the top step, well clear of overhead lines.")
    if kit is not None:
        lifting = (
            _(
                "Lifting: {weight} in the box; up on the material lift, by the mounting bar only, nobody underneath. "
                "Arms are under spring load: leave the ties on until it hangs."
            )
            if "material-lift" in needs.equipment
            else _(
                "Lifting: {weight} in the box; up with {hands} people, by the mounting bar only, nobody underneath. "
                "Arms are under spring load: leave the ties on until it hangs."
            )
        )
        yield lifting.format(weight=pounds(kit.weight_kg), hands=needs.hands)
    if survey is not None and survey.awning.motor is not None:
        yield _(
            "Electricity: power off and locked before touching a motor's wires; wiring is a licensed electrician's "
            "work."
        )
    if job.visit.kind == "repair":
        yield _("Arms, springs and cloth are under load: tie the arms before opening anything; power off at a motor.")
    decides = _(
        "Wind, thunder, ice or heat: the crew on site decides. Stop in good time; nobody is blamed for it. Thunder: "
        "{count}"
    )
    yield decides.format(count=core_says(flash_words()))
