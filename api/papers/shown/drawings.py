"""The wall drawing in the language spoken and by the business's clock: what is stored of it is English, with 3 pm."""

from __future__ import annotations

import datetime
from dataclasses import replace
from zoneinfo import ZoneInfo

from sqlmodel import Session

from api import tables
from api.fields.wording import wording
from api.languages import ENGLISH, language
from api.languages.core import core_says
from api.ledger.days.day_rows import days_of, wall_of
from api.papers.preparation import JobPapers
from api.papers.sheets import sheets_of
from api.papers.shown.job_page import job_page
from api.papers.stored.inputs import job_inputs, shop_inputs
from api.papers.stored.making import drawing_of


def said_sheets(session: Session, job: JobPapers, now: datetime.datetime) -> list[str]:
    """Return the sheets of a visit's wall drawing in the language spoken, the first to drill by; none without one.

    Drawn anew for a language that is not English, of the same survey and layout and with the same date.
    """
    return [wording().full_hours(sheet) for sheet in _said(session, job, now)]


def _said(session: Session, job: JobPapers, now: datetime.datetime) -> list[str]:
    if language() == ENGLISH or job.drawing is None or job.survey is None or job.layout is None:
        return job.sheets
    visit_id = job.visit.id
    shop, stored = shop_inputs(session, now), session.get(tables.Prepared, (visit_id, "drawing"))
    if stored is not None:
        shop = replace(shop, today=stored.made_at.astimezone(ZoneInfo(shop.zone)).date())
    return sheets_of(drawing_of(shop, job_inputs(session, [visit_id])[visit_id], job.survey, job.layout, core_says))


def sheet_to_drill_by(session: Session, visit_id: str, now: datetime.datetime) -> str | None:
    """Return the first sheet of a visit's wall drawing in the language spoken, as it was made last; None without.

    On a later day of an install it is that install's.
    """
    stored = session.get(tables.Prepared, (visit_id, "drawing"))
    if stored is None and (visit := session.get(tables.Visit, visit_id)) is not None:
        visit_id = wall_of(days_of(session, visit), visit).id
        stored = session.get(tables.Prepared, (visit_id, "drawing"))
    if stored is None or language() == ENGLISH:  # what crews fetch most costs one row
        return wording().full_hours(sheets_of(stored.document)[0]) if stored is not None else None
    page = job_page(session, visit_id, now)
    return next(iter(said_sheets(session, page.job, now)), None) if page is not None else None
