"""The sheet that stays with the customer: what was hung, how it is set, its care, its warranty, whom to call."""

from __future__ import annotations

import datetime
from typing import Any

from sqlmodel import Session

from api import tables
from api.fields.shown import day_name, feet
from api.hand_over.signing import SIGNED, path_of, signature_of
from api.hand_over.warranty import warranty_of
from api.ledger.job_facts import of_visits
from api.messages.papers import Paper
from api.papers.shown.job_page import JobPage, job_page
from api.papers.shown.pdf import print_pdf
from scheduler.units import feet_inches

# Common practice, no published source; the maker's instructions go first.
CARE = (
    "Roll it in before wind, heavy rain, hail or snow, and whenever nobody is at home to do so.",
    "Let the cloth dry before it stays rolled in. If it had to be rolled in wet, roll it out as soon as the weather "
    "allows.",
    "Brush off leaves and dust; wash with lukewarm water, mild soap and a soft brush. No pressure washer, no bleach, "
    "no solvent.",
    "No oil or grease on arms and joints, unless the maker's instructions say so.",
    "Once a year look at brackets, screws, arms and seams. Call us where something is loose, bent, torn or louder than "
    "it was.",
)
MIND = (
    "The arms are under spring load, rolled in as well: never loosen a screw of arms, brackets or roller yourself.",
    "Hang nothing from it, and let nobody pull at the front bar. No fire, grill or heater under the cloth.",
    "Keep hands, ladders and open doors out of its way while it moves, and children from its control.",
    "If it stops, hangs askew or a bracket moves: leave it as it is, keep everybody from under it, and call us.",
)
MIND_MOTOR = "Motor: switch its power off before cleaning. Its wiring is a licensed electrician's work."


def is_handed_over(visit: tables.Visit) -> bool:
    """Say whether a visit ends with a hand-over."""
    return visit.kind in SIGNED and visit.awning_id is not None


def hand_over_pdf(session: Session, visit_id: str, now: datetime.datetime) -> bytes | None:
    """Return the hand-over sheet of an install; None where there is no such visit, or none that is handed over."""
    page = job_page(session, visit_id, now)
    if page is None or page.awning is None or not is_handed_over(page.job.visit):
        return None
    business = session.get_one(tables.Business, 1)
    signed = signature_of(session, visit_id)
    results = of_visits(session, tables.DayResult, [visit_id])
    newest = results[-1] if results else None
    values: dict[str, Any] = {
        "business": business,
        "page": page,
        "awning": page.awning,
        "done": newest if newest is not None and newest.outcome != "not_done" else None,
        "finished": newest is not None and newest.outcome == "done",
        "settings": _settings(page, newest),
        "care": CARE,
        "mind": (*MIND, MIND_MOTOR) if page.awning.motor else MIND,
        "warranty": warranty_of(session, page.awning.id),
        "signed": signed,
        "path": path_of(signed.strokes) if signed is not None else "",
    }
    return print_pdf("print/hand_over.html", values, business, now)


def hand_over_letter(session: Session, visit_id: str, now: datetime.datetime) -> Paper | None:
    """Return the letter that the hand-over sheet is mailed to the customer with; None where there is no sheet."""
    page, data = job_page(session, visit_id, now), hand_over_pdf(session, visit_id, now)
    if page is None or data is None or page.awning is None:
        return None
    business, warranty = session.get_one(tables.Business, 1), warranty_of(session, page.awning.id)
    until = ""
    if warranty is not None:
        last = warranty.ends_on - datetime.timedelta(days=1)
        until = f"\nThe warranty runs until {day_name(last)}, {last.year}."
    call = f"\nCall {business.phone} if anything is not as it should be." if business.phone else ""
    return Paper(
        about="hand-over",
        of_id=visit_id,
        to_name=page.customer.name,
        to_email=page.customer.email,
        subject=f"Your awning: hand-over sheet {visit_id}",
        body=f"Hello {page.customer.name},\n\nattached is the sheet of your awning, {page.awning.model}, "
        f"{feet(page.awning.width_mm)} wide: how it is set, its care, and what to mind.{until}{call}\n\n"
        f"{business.name}\n",
        file=f"hand-over-{visit_id}.pdf",
        data=data,
    )


def _settings(page: JobPage, result: tables.DayResult | None) -> list[tuple[str, str]]:
    """Return how the awning hangs and is set, as (what, value), with what was not in order when it was hung."""
    found: list[tuple[str, str]] = []
    survey = page.job.survey
    if survey is not None:
        found += [
            ("Pitch", f"{survey.awning.pitch_deg:g}°"),
            ("Upper fasteners", f"{feet_inches(survey.place.height)} above the standing surface"),
            ("Wind", f"service wind class {survey.wind_class}" if survey.wind_class else "to be rolled in at any wind"),
        ]
    if page.job.layout is not None:
        found.append(("Brackets", f"{len(page.job.layout.brackets)} on {page.job.survey.wall.kind.replace('-', ' ')}"
                      if page.job.survey is not None else str(len(page.job.layout.brackets))))  # fmt: skip
    checks = result.checks if result is not None else {}
    return [*found, *((step.capitalize(), words) for step, words in checks.items() if words != "in order")]
