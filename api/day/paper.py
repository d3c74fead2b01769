"""A crew's day sheet as PDF: what the day holds (`api.day.content`), by the posted plan or the newest."""

from __future__ import annotations

import datetime

from sqlmodel import Session

from api.day.content import day_content
from api.languages import speaking
from api.ledger.languages import language_of_crew
from api.ledger.plans.days import crew_day
from api.papers.shown.pdf import print_pdf


def day_sheet_pdf(session: Session, crew_id: str, date: datetime.date, now: datetime.datetime) -> bytes | None:
    """Return a crew's day on paper in its language, by the posted plan of the week, else the newest.

    None where no plan knows it.
    """
    day = crew_day(session, crew_id, date)
    if day is None:
        return None
    with speaking(language_of_crew(session, crew_id, date)):
        content = day_content(session, day.stored, day.crew, date, now)
        return print_pdf("print/daysheet.html", {"day": content, "posted": day.posted}, content.business, now)
