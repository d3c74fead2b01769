"""The packet of one job, printed: who and where, findings, drill schedule, drawing, kit, cautions and checks."""

from __future__ import annotations

import datetime
from typing import Any

from sqlmodel import Session

from api import tables
from api.http.names import crew_names
from api.languages.core import core_says
from api.ledger.days.day_rows import days_of
from api.ledger.plans.stored import planned_stop
from api.papers.shown.cautions import cautions
from api.papers.shown.drawings import said_sheets
from api.papers.shown.drilling import case_of, holes, said_finding
from api.papers.shown.job_page import job_page, wall_page
from api.papers.shown.pdf import print_pdf
from api.papers.shown.wall_words import wall_words
from scheduler.documents import convert
from scheduler.layout.drawing.cautions import ranked
from scheduler.layout.drawing.paper.measures import Measures
from scheduler.layout.drawing.schedule import fastener_words
from scheduler.layout.drawing.wall.view import is_probed, member_word


def packet_pdf(session: Session, visit_id: str, now: datetime.datetime) -> bytes | None:
    """Return a job's packet: who and where, findings in full, drill schedule, wall drawing, kit, cautions and checks.

    None where there is no such visit.
    """
    found = job_page(session, visit_id, now)
    if found is None:
        return None
    business = session.get_one(tables.Business, 1)
    measures = Measures(convert(business.units, str, "units"))  # type: ignore[arg-type]  # the table's own check
    job, on = found.job, wall_page(session, found, days_of(session, found.job.visit), now)
    hung = on.job
    names = crew_names(session)
    values: dict[str, Any] = {
        "crew_name": lambda crew_id: names.get(crew_id, crew_id),
        "business": business,
        "page": found,
        "job": job,
        "on": on,
        "planned": planned_stop(session, visit_id),
        "findings": [said_finding(one) for one in ranked(hung.layout.findings)] if hung.layout else [],
        "sheets": said_sheets(session, hung, now),
        "holes": holes(on, measures),
        "case": core_says(case_of(on)),
        "fastener": core_says(fastener_words(hung.layout.fastener, measures, hung.survey.wall.cover))
        if hung.layout and hung.layout.fastener and hung.survey
        else "",
        "wall": wall_words(hung, found.site, business, now.year),
        "member": core_says(member_word(hung.survey)) if hung.survey else "",
        "probed": hung.survey is not None and is_probed(hung.survey),
        "cautions": list(cautions(job, found.site, hung)),
        "checks": job.work.steps,
    }
    return print_pdf("print/packet.html", values, business, now)
