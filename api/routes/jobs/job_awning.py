"""Ordering an awning from a job's page: what a survey visit needs before its wall can be drawn."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from typing import Annotated, Any

from fastapi import Form, Request
from fastapi.responses import RedirectResponse, Response
from sqlmodel import Session, col

from api import tables
from api.access.accounts import Role
from api.access.guards import Who, allow, found
from api.access.idempotency import Once
from api.clock import Now, local_day
from api.falls.now import falling
from api.fields.limits import limit
from api.fields.measures import in_bounds, office_length, office_weight
from api.http import versions
from api.http.pages import Database, page, wants_json
from api.http.problems import Problem, bad_fields, responses
from api.http.subject import Subject
from api.jobs import models
from api.jobs.listed import places
from api.jobs.numbers import called_after
from api.ledger.facts.job import rows
from api.ledger.history import note
from api.routes import records
from api.survey import keeping
from api.survey.fitting import what_fits
from scheduler.errors import BadInput
from scheduler.layout.documents import Survey

router = Subject(tags=("awnings",))
Office = Annotated[Who, allow(Role.manager, Role.office)]
Text = Annotated[records.Words, Form(max_length=120)]
# Field of the form: its column, and what reads a measure that is written in any usual way.
_FIELDS: dict[str, tuple[str, Callable[[str, str], float] | None]] = {
    "model": ("model", None), "width": ("width_mm", office_length), "projection": ("projection_mm", office_length),
    "weight": ("weight_kg", office_weight), "box": ("box_mm", office_length), "boxes": ("boxes", None),
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
    boxes: Text = "",
    motor: Text = "",
    cloth: Text = "",
    yard: Text = "",
    arrives_on: Text = "",
) -> Response:
    """Add the awning that a job's customer has chosen, and an order where the site has none; measures in words.

    A model that is entered brings what is left empty, and its maker's parts.
    """
    visit = found(session, tables.Visit, visit_id, "job")
    if keeping.awnings_for(session, visit):
        raise Problem(409, "An awning stands in the order by now: open its survey.")
    form = {"model": model, "width": width, "projection": projection, "weight": weight, "box": box, "boxes": boxes,
            "motor": motor, "cloth": cloth, "yard": yard, "arrives_on": arrives_on}  # fmt: skip
    units = session.get_one(tables.Business, 1).units
    try:
        form, parts = by_model(session, form, units)
        values, faults = _read(session, form, units)
    except BadInput as fault:
        values, parts, faults = {}, {}, {"width": fault.problem}
    if faults:
        if wants_json(request):
            raise bad_fields(list(faults.items()))
        return page(request, "survey/awning.html", awning_form(session, visit, form, faults), status=422)

    def write() -> Response:
        order = _order(session, who, visit, now)
        awning = tables.Awning(id=called_after(session, visit.id, tables.Awning, "A"), order_id=order.id, **values)
        session.add(awning)
        session.flush()
        note(session, now, who.name, "made", "awning", awning.id, awning.model_dump(mode="json"))
        models.pack(session, awning.id, parts, by=who.name, now=now)
        # From now on the measuring visit is one of this awning: its page shows the drawing, and leads to the install.
        if visit.awning_id is None and versions.update(session, visit, {"awning_id": awning.id, "order_id": order.id}):
            note(session, now, who.name, "changed", "visit", visit.id, {"awning_id": [None, awning.id]})
        return RedirectResponse(f"/jobs/{visit_id}/survey?added=1&awning={awning.id}", 303)

    return once(session, write)


def before_awning(
    session: Session, visit: tables.Visit, survey: Survey | None, chosen: dict[str, str]
) -> dict[str, Any]:
    """Return what a survey's page shows before an awning is chosen: what fits the wall, and the form for the awning.

    survey: of the wall, None where it is not measured yet; chosen: the fields with which the form begins.
    """
    faults, units = dict[str, str](), session.get_one(tables.Business, 1).units
    if any(chosen.values()):
        try:
            chosen, _ = by_model(session, chosen, units)
        except BadInput as fault:
            faults["width"] = fault.problem
    fits = what_fits(session, survey, units) if survey is not None else None
    return {"fits": fits, **awning_form(session, visit, chosen, faults)}


def by_model(session: Session, form: dict[str, str], units: str) -> tuple[dict[str, str], dict[str, int]]:
    """Return the form with what its model says where it is empty, and the parts that its maker packs.

    Raises `BadInput` where the model is not made so large.
    """
    columns = {name: column for name, (column, _) in _FIELDS.items()}
    filled, parts = models.filled(session, {column: form.get(name, "") for name, column in columns.items()}, units)
    return form | {name: filled[column] for name, column in columns.items()}, parts


def awning_form(
    session: Session, visit: tables.Visit, form: dict[str, str] | None = None, faults: dict[str, str] | None = None
) -> dict[str, Any]:
    """Return what the form for a job's awning shows: as it was typed, with what is wrong by field."""
    site = session.get_one(tables.Site, visit.site_id)
    return {
        "visit": visit,
        "site": site,
        "customer": session.get_one(tables.Customer, site.customer_id),
        "order": _open_order(session, visit),
        "yards": rows(session, tables.Yard),
        "models": models.model_names(session),
        "form": form or {},
        "order_faults": faults or {},
    }


def where_it_stands(request: Request, session: Session, visit: tables.Visit, now: datetime.datetime) -> dict[str, Any]:
    """Return where a visit stands that has got its awning: its posted `stop`, and why it `falls` there, or None."""
    stop = places(session).stops.get(visit.id)
    posted = stop is not None and stop.posted and visit.state == "open"
    falls = falling(session, request.app.state.searches.days, now).get(visit.id) if posted else None
    return {"stop": stop if posted else None, "falls": falls}


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
        number = called_after(session, visit.id, tables.Order, "O")
        order = tables.Order(id=number, customer_id=site.customer_id, site_id=site.id, ordered_on=day)
        session.add(order)
        session.flush()
        note(session, now, who.name, "made", "order", order.id, order.model_dump(mode="json"))
    return order


def _read(session: Session, form: dict[str, str], units: str) -> tuple[dict[str, Any], dict[str, str]]:
    """Return the values of an awning, and a sentence by field that is wrong."""
    values: dict[str, Any] = {}
    faults: dict[str, str] = {}
    for name, (column, measured) in _FIELDS.items():
        text, held = form[name].strip(), limit(f"awning.{column}")
        try:
            if text:
                values[column] = held.parse(text) if measured is None else in_bounds(
                    held, round(measured(text, units)), units, column[-2:]
                )  # fmt: skip
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
