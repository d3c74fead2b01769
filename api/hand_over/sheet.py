"""The sheet that stays with the customer: what was hung, how it is set, its care, its warranty, whom to call."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from typing import Any

from sqlmodel import Session

from api import tables
from api.fields.shown import day_name, feet
from api.hand_over.signing import SIGNED, path_of, signature_of
from api.hand_over.warranty import Warranty, warranty_of
from api.languages import gettext, speaking, to_say
from api.languages.core import core_says
from api.ledger.days.day_rows import days_of
from api.ledger.facts.job import of_visits
from api.ledger.languages import language_of_customer
from api.messages.papers import Paper
from api.papers.shown.job_page import JobPage, job_page
from api.papers.shown.pdf import print_pdf
from scheduler.units import feet_inches

# Common practice, no published source; the maker's instructions go first.
CARE = (
    to_say("Roll it in before wind, heavy rain, hail or snow, and whenever nobody is at home to do so."),
    to_say(
        "Let the cloth dry before it stays rolled in. If it had to be rolled in wet, roll it out as soon as the "
        "weather allows."
    ),
    to_say(
        "Brush off leaves and dust; wash with lukewarm water, mild soap and a soft brush. No pressure washer, no "
        "bleach, no solvent."
    ),
    to_say("No oil or grease on arms and joints, unless the maker's instructions say so."),
    to_say(
        "Once a year look at brackets, screws, arms and seams. Call us where something is loose, bent, torn or louder "
        "than it was."
    ),
)
MIND = (
    to_say(
        "The arms are under spring load, rolled in as well: never loosen a screw of arms, brackets or roller yourself."
    ),
    to_say("Hang nothing from it, and let nobody pull at the front bar. No fire, grill or heater under the cloth."),
    to_say("Keep hands, ladders and open doors out of its way while it moves, and children from its control."),
    to_say(
        "If it stops, hangs askew or a bracket moves: leave it as it is, keep everybody from under it, and call us."
    ),
)
MIND_MOTOR = to_say("Motor: switch its power off before cleaning. Its wiring is a licensed electrician's work.")
IN_ORDER = "in order"  # as results keep it


def is_handed_over(visit: tables.Visit) -> bool:
    """Say whether a visit ends with a hand-over."""
    return visit.kind in SIGNED and visit.awning_id is not None


def hand_over_pdf(session: Session, visit_id: str, now: datetime.datetime) -> bytes | None:
    """Return the hand-over sheet of an install in its customer's language; of several days each gives the same one.

    None where there is no such visit, or none that is handed over.
    """
    page = _page(session, visit_id, now)
    if page is None or page.awning is None or not is_handed_over(page.job.visit):
        return None
    with speaking(language_of_customer(session, page.customer)):
        return print_pdf("print/hand_over.html", _values(session, page, page.awning), _business(session), now)


def _page(session: Session, visit_id: str, now: datetime.datetime) -> JobPage | None:
    """Return what is shown of the install that a visit is, or is a later day of."""
    visit = session.get(tables.Visit, visit_id)
    return None if visit is None else job_page(session, days_of(session, visit)[0].id, now)


def _business(session: Session) -> tables.Business:
    return session.get_one(tables.Business, 1)


def _values(session: Session, page: JobPage, awning: tables.Awning) -> dict[str, Any]:
    """Return what the sheet shows."""
    visit, business = page.job.visit, _business(session)
    days = days_of(session, visit)
    signed = signature_of(session, days)
    last = {row.visit_id: row for row in of_visits(session, tables.DayResult, [one.id for one in days])}
    gone = [last[one.id] for one in days if one.id in last and last[one.id].outcome != "not_done"]
    # What was not in order on one of several days stands there, whatever a later day says of the same step.
    checks = {step: words for row in gone for step, words in row.checks.items() if words != IN_ORDER}
    return {
        "business": business,
        "page": page,
        "awning": awning,
        "done": gone[-1] if gone else None,
        "finished": len(gone) == len(days) and all(row.outcome == "done" for row in gone),
        "settings": _settings(page, checks),
        "care": [gettext(text) for text in CARE],
        "mind": [gettext(text) for text in ((*MIND, MIND_MOTOR) if awning.motor else MIND)],
        "warranty": warranty_of(session, awning.id),
        "signed": signed,
        "path": path_of(signed.strokes) if signed is not None else "",
    }


def hand_over_letter(session: Session, visit_id: str, now: datetime.datetime) -> Paper | None:
    """Return the letter that the hand-over sheet is mailed to the customer with; None where there is no sheet."""
    page, data = _page(session, visit_id, now), hand_over_pdf(session, visit_id, now)
    if page is None or data is None or page.awning is None:
        return None
    with speaking(language_of_customer(session, page.customer)):
        subject, body = _letter(_business(session), page, page.awning, warranty_of(session, page.awning.id))
    return Paper(
        about="hand-over",
        of_id=page.job.visit.id,
        to_name=page.customer.name,
        to_email=page.customer.email,
        subject=subject,
        body=body,
        file=f"hand-over-{page.job.visit.id}.pdf",
        data=data,
    )


def _letter(
    business: tables.Business, page: JobPage, awning: tables.Awning, warranty: Warranty | None
) -> tuple[str, str]:
    """Return subject and body in the language spoken."""
    _, lines = gettext, [""]
    told = _("Attached is the sheet of your awning, {model}, {width} wide: how it is set, its care, and what to mind.")
    lines.append(told.format(model=awning.model, width=feet(awning.width_mm)))
    if warranty is not None:
        last = warranty.ends_on - datetime.timedelta(days=1)
        lines.append(_("The warranty runs until {day}, {year}.").format(day=day_name(last), year=last.year))
    if business.phone:
        lines.append(_("Call {phone} if anything is not as it should be.").format(phone=business.phone))
    hello = _("Hello {name},").format(name=page.customer.name)
    subject = _("Your awning: hand-over sheet {visit}").format(visit=page.job.visit.id)
    return subject, "\n".join([hello, *lines, "", business.name, ""])


def _settings(page: JobPage, checks: Mapping[str, str]) -> list[tuple[str, str]]:
    """Return how the awning hangs and is set, as (what, value), with what was not in order when it was hung."""
    _, found = gettext, list[tuple[str, str]]()
    survey = page.job.survey
    if survey is not None:
        up = _("{height} above the standing surface").format(height=feet_inches(survey.place.height))
        service = _("service wind class {number}").format(number=survey.wind_class)
        found += [
            (_("Pitch"), f"{survey.awning.pitch_deg:g}°"),
            (_("Upper fasteners"), up),
            (_("Wind"), service if survey.wind_class else _("to be rolled in at any wind")),
        ]
    if page.job.layout is not None:
        count = str(len(page.job.layout.brackets))
        if survey is not None:
            wall = core_says(survey.wall.kind.replace("-", " "))
            count = _("{count} on {wall}").format(count=count, wall=wall)
        found.append((_("Brackets"), count))
    return [*found, *((_(step).capitalize(), words) for step, words in checks.items())]
