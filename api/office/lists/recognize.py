"""Which rows a line of a list means: the customer by name with phone, mail or address, the site by its address."""

from __future__ import annotations

import re
from collections.abc import Sequence

import sqlalchemy as sa
from sqlmodel import Session, col, select

from api import tables
from api.fields.addresses.streets import question_of
from api.fields.limits import LIMITS
from api.office.lists.reading import Texts
from scheduler.errors import BadInput

NEW = "new"  # in the place of a number: nobody who is known


def customer_of(session: Session, said: Texts, column: str) -> tables.Customer | None:
    """Return the customer whom a line means, None where it is a new one; `column` holds the number.

    A name alone is enough where one customer has it and nothing in the line says otherwise. One who is called new is
    new, unless name, phone and address are all known of one. Raises `BadInput` where it
    could be one who is known or a namesake.
    """
    number, name = said.get(column, ""), said.get("customers.name", "")
    if number and number.casefold() != NEW:
        return _numbered(session, number, column)
    if not name:
        return None
    known = tables.Customer
    same = sa.or_(col(known.name) == name, sa.func.lower(known.name) == name.lower())
    named = session.exec(select(known).where(same).order_by(col(known.id))).all()
    if number:  # the same file sent once more makes no second namesake
        taken = [one for one in named if _same_in_all(session, one, said)]
        return taken[0] if len(taken) == 1 else None
    if not named:
        return None
    agreeing = [one for one in named if _agrees(session, one, said)]
    if len(agreeing) == 1:
        return agreeing[0]
    open_to = [one for one in named if not _differs(session, one, said)]
    if not agreeing and len(open_to) == 1 and len(named) == 1:
        return open_to[0]
    which = " or ".join(f"{one.id} ({one.phone or one.email or 'no phone'})" for one in agreeing or named)
    raise BadInput(column, f"there is already {name}, {which}: write that number, or the word new for a namesake")


def _numbered(session: Session, number: str, column: str) -> tables.Customer | None:
    try:
        return session.get(tables.Customer, LIMITS["customer.id"].parse(number))
    except BadInput as fault:
        raise BadInput(column, fault.problem) from None


def _agrees(session: Session, one: tables.Customer, said: Texts) -> bool:
    phone, mail = said.get("customers.phone", ""), said.get("customers.email", "")
    if phone and _figures(phone) == _figures(one.phone):
        return True
    if mail and mail.casefold() == one.email.casefold():
        return True
    return bool(said.get("sites.address")) and site_at(session, one.id, said) is not None


def _differs(session: Session, one: tables.Customer, said: Texts) -> bool:
    """Return whether a line says something else of a customer than is known."""
    phone, mail = said.get("customers.phone", ""), said.get("customers.email", "")
    return (
        bool(phone and one.phone and _figures(phone) != _figures(one.phone))
        or bool(mail and one.email and mail.casefold() != one.email.casefold())
        or bool(said.get("sites.address") and _sites(session, one.id) and site_at(session, one.id, said) is None)
    )


def _same_in_all(session: Session, one: tables.Customer, said: Texts) -> bool:
    """Return whether a line says phone and address, and both are those of a customer."""
    phone = _figures(said.get("customers.phone", ""))
    at_home = bool(said.get("sites.address")) and site_at(session, one.id, said) is not None
    return bool(phone) and phone == _figures(one.phone) and at_home


def _figures(phone: str) -> str:
    """Return a phone number as it is compared: its figures, without a leading 1."""
    figures = re.sub(r"[^0-9]", "", phone)
    return figures[1:] if len(figures) == 11 and figures.startswith("1") else figures


def _sites(session: Session, customer_id: str) -> Sequence[tables.Site]:
    wanted = select(tables.Site).where(tables.Site.customer_id == customer_id)
    return session.exec(wanted.order_by(col(tables.Site.id))).all()


def site_at(session: Session, customer_id: str, said: Texts) -> tables.Site | None:
    """Return the site of a customer with the address of a line."""
    address = said.get("sites.address", "")
    for site in _sites(session, customer_id):
        if question_of(address, said.get("sites.town", "") or site.town) == question_of(site.address, site.town):
            return site
    return None


def site_of(session: Session, customer_id: str, said: Texts) -> tables.Site | None:
    """Return the site that a line of a customer means, None where it is new; without an address the only one.

    Raises `BadInput` where a line without an address could mean several.
    """
    if said.get("sites.address"):
        return site_at(session, customer_id, said)
    sites = _sites(session, customer_id)
    if len(sites) > 1:
        raise BadInput("sites.address", f"must be given: this customer has {len(sites)} sites")
    return sites[0] if sites else None
