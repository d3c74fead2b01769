"""Ordering an awning from a job's page: what a survey visit needs before its wall can be drawn."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from typing import Annotated, Any

from fastapi import APIRouter, Form, Request
from fastapi.responses import RedirectResponse, Response
from sqlmodel import Session, col

from api import tables
from api.access.accounts import Role
from api.access.guards import Who, allow, found
from api.access.idempotency import Once
from api.clock import Now, local_day
from api.fields.ids import new_id
from api.fields.limits import limit
from api.http.pages import Database, page, wants_json
from api.http.problems import Problem, bad_fields, responses
from api.ledger.history import note
from api.ledger.job_facts import rows
from api.routes import records
from api.survey import keeping
from scheduler.errors import BadInput
from scheduler.units import parse_length, parse_weight

router = APIRouter(tags=["awnings"])
Office = Annotated[Who, allow(Role.manager, Role.office)]
Text = Annotated[records.Words, Form(max_length=120)]
# Field of the form: its column, and what reads a measure that is written in any usual way.
_FIELDS: dict[str, tuple[str, Callable[[str], float] | None]] = {
    "model": ("model", None), "width": ("width_mm", parse_length), "projection": ("projection_mm", parse_length),
    "weight": ("weight_kg", parse_weight), "box": ("box_mm", parse_length), "boxes": ("boxes", None),
    "motor": ("motor", None), "cloth": ("cloth", None), "arrives_on": ("arrives_on", None),
}  # fmt: skip
_OPTIONAL = ("motor", "cloth", "arrives_on")


@router.post("/jobs/{visit_id}/awning", responses=responses(400, 409))
def order_awning(
    request: Request,
    session: Database,
    who: Office,
    now: Now,
    once: Once,
    visit_id: str,
    model: Text = "",
    width: Text = "",
    projection: Text = "",
    weight: Text = "",
    box: Text = "",
    boxes: Text = "1",
    motor: Text = "",
    cloth: Text = "",
    yard: Text = "",
    arrives_on: Text = "",
) -> Response:
    """Add the awning that a job's customer has chosen, and an order where the site has none; measures in words."""
    visit = found(session, tables.Visit, visit_id, "job")
    if keeping.awnings_for(session, visit):
        raise Problem(409, "An awning stands in the order by now: open its survey.")
    form = {"model": model, "width": width, "projection": projection, "weight": weight, "box": box, "boxes": boxes,
            "motor": motor, "cloth": cloth, "yard": yard, "arrives_on": arrives_on}  # fmt: skip
    values, faults = _read(session, form)
    if faults:
        if wants_json(request):
            raise bad_fields(list(faults.items()))
        return page(request, "survey/none.html", no_awning(session, visit, form, faults), status=422)

    def write() -> Response:
        order = _order(session, who, visit, now)
        awning = tables.Awning(id=new_id("A"), order_id=order.id, **values)
        session.add(awning)
        session.flush()
        note(session, now, who.name, "made", "awning", awning.id, awning.model_dump(mode="json"))
        return RedirectResponse(f"/jobs/{visit_id}/survey?awning={awning.id}", 303)

    return once(session, write)


def no_awning(
    session: Session, visit: tables.Visit, form: dict[str, str] | None = None, faults: dict[str, str] | None = None
) -> dict[str, Any]:
    """Return what the page shows that says why there is no survey, with the form for the awning."""
    site = session.get_one(tables.Site, visit.site_id)
    return {
        "visit": visit,
        "site": site,
        "customer": session.get_one(tables.Customer, site.customer_id),
        "order": _open_order(session, visit),
        "yards": rows(session, tables.Yard),
        "form": form or {"boxes": "1"},
        "faults": faults or {},
    }


def _open_order(session: Session, visit: tables.Visit) -> tables.Order | None:
    if visit.order_id is not None:
        return session.get(tables.Order, visit.order_id)
    order = tables.Order
    open_ones = rows(session, order, col(order.site_id) == visit.site_id, col(order.state) == "open")
    return open_ones[-1] if open_ones else None


def _order(session: Session, who: Who, visit: tables.Visit, now: datetime.datetime) -> tables.Order:
    order = _open_order(session, visit)
    if order is None:
        site = session.get_one(tables.Site, visit.site_id)
        day = local_day(session, now)
        order = tables.Order(id=new_id("O"), customer_id=site.customer_id, site_id=site.id, ordered_on=day)
        session.add(order)
        session.flush()
        note(session, now, who.name, "made", "order", order.id, order.model_dump(mode="json"))
    return order


def _read(session: Session, form: dict[str, str]) -> tuple[dict[str, Any], dict[str, str]]:
    """Return the values of an awning, and a sentence by field that is wrong."""
    values: dict[str, Any] = {}
    faults: dict[str, str] = {}
    for name, (column, measured) in _FIELDS.items():
        text, held = form[name].strip(), limit(f"awning.{column}")
        try:
            if text:
                values[column] = held.check(round(measured(text))) if measured else held.parse(text)
            elif name in _OPTIONAL:
                values[column] = "" if name == "cloth" else None
            else:
                faults[name] = "must not be empty"
        except BadInput as fault:
            faults[name] = fault.problem
    values["yard_id"] = form["yard"]
    if "\0" in form["yard"] or session.get(tables.Yard, form["yard"]) is None:
        faults["yard"] = "must be one of the yards"
    return values, faults
