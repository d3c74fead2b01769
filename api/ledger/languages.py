"""Who reads which language: a crew its lead's, a customer their own, everybody else the business's."""

from __future__ import annotations

import datetime

from sqlmodel import Session, select

from api.languages import ENGLISH, LANGUAGES
from api.ledger.days.riders import riding_on
from api.tables import Business, Crew, Customer


def language_of_crew(session: Session, crew_id: str, date: datetime.date) -> str:
    """Return the language of a crew's papers of a day: of whoever leads it then."""
    crew = session.get(Crew, crew_id)
    lead = None if crew is None else riding_on(session, date).riders(crew, date)[0]
    return _known(None if lead is None else lead.language) or language_of_business(session)


def language_of_customer(session: Session, customer: Customer) -> str:
    """Return the language in which a customer is written to."""
    return _known(customer.language) or language_of_business(session)


def language_of_business(session: Session) -> str:
    """Return the language of those of whom none is known."""
    return _known(session.exec(select(Business.language)).first()) or ENGLISH


def _known(code: str | None) -> str | None:
    """Return a language that there are catalogues of; None for one that a database from elsewhere may hold."""
    return code if code in LANGUAGES else None
