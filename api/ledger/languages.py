"""Who reads which language: a crew its lead's, a customer their own, everybody else the business's."""

from __future__ import annotations

from sqlmodel import Session, col, select

from api.languages import ENGLISH
from api.tables import Business, Crew, Customer, Person


def language_of_crew(session: Session, crew_id: str) -> str:
    """Return the language of a crew's papers."""
    lead = select(Person.language).join(Crew, col(Crew.lead_id) == Person.id).where(Crew.id == crew_id)
    return session.exec(lead).first() or language_of_business(session)


def language_of_customer(session: Session, customer: Customer) -> str:
    """Return the language in which a customer is written to."""
    return customer.language or language_of_business(session)


def language_of_business(session: Session) -> str:
    """Return the language of those of whom none is known."""
    return session.exec(select(Business.language)).first() or ENGLISH
