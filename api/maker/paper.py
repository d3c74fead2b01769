"""An order to a maker as PDF, and as a letter to send it with."""

from __future__ import annotations

import datetime

from sqlmodel import Session, col, select

from api import tables
from api.fields.shown import day_name, feet
from api.ledger.facts.job import newest_surveys
from api.maker.orders import OrderLine
from api.messages.papers import Paper
from api.papers.shown.pdf import print_pdf
from scheduler.layout.documents import Survey, survey_from_data


def order_pdf(session: Session, line: OrderLine, now: datetime.datetime) -> bytes:
    """Return an order as it goes to the maker: what is ordered, its measures, to which yard, whom to call."""
    business = session.get_one(tables.Business, 1)
    values = {
        "business": business,
        "line": line,
        "order": line.order,
        "awning": line.awning,
        "yard": session.get_one(tables.Yard, line.awning.yard_id),
        "survey": _survey(session, line.awning.id),
        "parts": _parts(session, line.awning.id),
    }
    return print_pdf("print/maker_order.html", values, business, now)


def order_letter(session: Session, line: OrderLine, now: datetime.datetime) -> Paper:
    """Return the letter that an order is mailed with."""
    business = session.get_one(tables.Business, 1)
    order, awning = line.order, line.awning
    number = f" (your {order.ref})" if order.ref else ""
    size = f"{feet(awning.width_mm)} wide, {feet(awning.projection_mm)} out"
    asked = "Please confirm the order and name the day on which it will be here."
    if order.day is not None:
        asked = f"We count on {day_name(order.day)}, {order.day.year}. Please tell us at once if that changes."
    signed = "\n".join(one for one in (business.name, business.town, business.phone) if one)
    return Paper(
        about="maker order",
        of_id=str(order.id),
        to_name=order.maker or order.email,
        to_email=order.email,
        subject=f"Order {awning.id}: {awning.model}, {size}{number}",
        body=f"Hello,\n\nattached is our order {awning.id}{number}: {order.what}, {awning.model}, {size}.\n{asked}\n\n"
        f"{signed}\n",
        file=f"order-{awning.id}.pdf",
        data=order_pdf(session, line, now),
    )


def _survey(session: Session, awning_id: str) -> Survey | None:
    row = newest_surveys(session, [awning_id]).get(awning_id)
    return None if row is None else survey_from_data(row.document)


def _parts(session: Session, awning_id: str) -> list[tables.MakerPart]:
    wanted = select(tables.MakerPart).where(tables.MakerPart.awning_id == awning_id)
    return list(session.exec(wanted.order_by(col(tables.MakerPart.item))))
