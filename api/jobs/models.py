"""What a model brings to a new job by its width and projection: weight, box, motor and the maker's parts list."""

from __future__ import annotations

import datetime
from collections.abc import Mapping

from sqlmodel import Session, col, select

from api import tables
from api.fields.measures import office_length
from api.ledger.history import note
from scheduler.errors import BadInput


def model_names(session: Session) -> list[str]:
    """Return the models that the business has entered, by name."""
    return sorted(session.exec(select(tables.AwningModel.id)).all(), key=str.casefold)


def filled(session: Session, cells: Mapping[str, str], units: str) -> tuple[dict[str, str], dict[str, int]]:
    """Return an awning's cells with what its model says where they are empty, and the parts that its maker packs.

    A model that is not known, and sizes that cannot be read, leave them as they are: what is missing is told there.
    Raises `BadInput` at `width_mm` where the model is not made so large.
    """
    own, model = dict(cells), _model(session, cells["model"])
    if model is None:
        return {**own, "boxes": own["boxes"] or "1"}, {}
    own["model"] = model.id
    try:
        width_mm = office_length(cells["width_mm"], units)
        projection_mm = office_length(cells["projection_mm"], units)
    except BadInput:
        return own, {}
    size = _size(session, model, width_mm, projection_mm)
    usual = {"boxes": str(model.boxes), "box_mm": f"{width_mm + model.box_over_mm} mm", "motor": model.motor or ""}
    if size is not None:
        usual["weight_kg"] = f"{size.weight_kg} kg"
    for column, text in usual.items():
        own[column] = own[column] or text
    return own, {} if size is None else _parts(session, model, size)


def pack(session: Session, awning_id: str, parts: Mapping[str, int], *, by: str, now: datetime.datetime) -> None:
    """Keep the maker's list of a new awning."""
    if not parts:
        return
    session.add_all(tables.MakerPart(awning_id=awning_id, item=item, quantity=n) for item, n in parts.items())
    session.flush()
    listed = [f"{n} × {item}" for item, n in sorted(parts.items())]
    note(session, now, by, "listed the parts of", "awning", awning_id, {"parts": listed})


def _model(session: Session, name: str) -> tables.AwningModel | None:
    meant = [one for one in model_names(session) if one.casefold() == name.strip().casefold()]
    return session.get(tables.AwningModel, meant[0]) if len(meant) == 1 else None


def _size(session: Session, model: tables.AwningModel, width_mm: int, projection_mm: int) -> tables.ModelSize | None:
    """Return the smallest size that holds the awning; None where the model has none entered."""
    sizes = session.exec(
        select(tables.ModelSize)
        .where(tables.ModelSize.model_id == model.id)
        .order_by(col(tables.ModelSize.width_mm), col(tables.ModelSize.projection_mm))
    ).all()
    fits = [size for size in sizes if size.width_mm >= width_mm and size.projection_mm >= projection_mm]
    if sizes and not fits:
        raise BadInput("width_mm", f"{model.id} is not made so large, by the sizes that are entered for it")
    return fits[0] if fits else None


def _parts(session: Session, model: tables.AwningModel, size: tables.ModelSize) -> dict[str, int]:
    """Return pieces by item; brackets go by the size."""
    times = {"awning": 1, "arm": size.arms, "bracket": size.brackets}
    rows = session.exec(select(tables.ModelPart).where(tables.ModelPart.model_id == model.id)).all()
    found = {row.item: row.quantity * times[row.per] for row in rows if row.quantity * times[row.per]}
    return {"bracket": size.brackets, **found}
