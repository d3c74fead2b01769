"""Who reads which language: a crew its lead's, a customer their own, everybody else the business's."""

from __future__ import annotations

from sqlmodel import Session, col, select

from api.languages import ENGLISH, LANGUAGES
from api.tables import Business, Crew, Customer, Person


def language_of_crew(session: Session, crew_id: str) -> str:
    """Return the language of a crew's papers."""
    lead = select(Person.language).join(Crew, col(Crew.lead_id) == Person.id).where(Crew.id == crew_id)
    return _known(session.exec(lead).first()) or language_of_business(session)


def language_of_customer(session: Session, customer: Customer) -> str:
    """Return the language in which a customer is written to."""
    return _known(customer.language) or language_of_business(session)


def language_of_business(session: Session) -> str:
    """Return the language of those of whom none is known."""
    return _known(session.exec(select(Business.language)).first()) or ENGLISH


def _known(code: str | None) -> str | None:
    """Return a language that there are catalogues of; None for one that a database from elsewhere may hold."""
    return code if code in LANGUAGES else None
