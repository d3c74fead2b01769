"""Ordering an awning from a job's page: what a survey visit needs before its wall can be drawn."""

from __future__ import annotations

import datetime
import re
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
from api.http.pages import Database, page, wants_json
from api.http.problems import Problem, bad_fields, responses
from api.ledger.history import note
from api.ledger.job_facts import rows
from api.routes import records
from api.survey import keeping
from scheduler.errors import BadInput
from scheduler.units import both, parse_length, parse_weight

router = APIRouter(tags=["awnings"])
Office = Annotated[Who, allow(Role.manager, Role.office)]
Text = Annotated[records.Words, Form(max_length=120)]
_MOST_MM = {"width": (500, 20_000), "projection": (200, 10_000), "box": (500, 100_000)}


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
        return page(request, "survey_none.html", no_awning(session, visit, form, faults), status=422)

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
    values: dict[str, Any] = {"cloth": form["cloth"].strip(), "motor": form["motor"] or None}
    faults: dict[str, str] = {}
    for name, (least, most) in _MOST_MM.items():
        try:
            length = parse_length(form[name], name)
            if not least <= length <= most:
                raise BadInput(name, f"must be from {both(least)} to {both(most)}")
            values[f"{name}_mm"] = round(length)
        except BadInput as fault:
            faults[name] = fault.problem if form[name].strip() else "must not be empty"
    try:
        values["weight_kg"] = round(parse_weight(form["weight"], "weight"))
        if not 1 <= values["weight_kg"] <= 2000:
            faults["weight"] = "must be from 1 to 2000 kg"
    except BadInput as fault:
        faults["weight"] = fault.problem if form["weight"].strip() else "must not be empty"
    values["model"] = form["model"].strip()
    if not values["model"]:
        faults["model"] = "must not be empty"
    if not re.fullmatch(r"[1-9]|1[0-9]|20", form["boxes"].strip()):
        faults["boxes"] = "must be a whole number from 1 to 20"
    else:
        values["boxes"] = int(form["boxes"])
    if form["motor"] not in ("", "left", "right"):
        faults["motor"] = "must be left or right, or empty"
    values["yard_id"] = form["yard"]
    if "\0" in form["yard"] or session.get(tables.Yard, form["yard"]) is None:
        faults["yard"] = "must be one of the yards"
    try:
        values["arrives_on"] = datetime.date.fromisoformat(form["arrives_on"]) if form["arrives_on"] else None
    except ValueError:
        faults["arrives_on"] = "must be a date such as 2027-04-12, or empty"
    return values, faults
