"""What fits a wall that was measured before an awning is chosen: the business's models, by projection and width."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

import msgspec
from sqlmodel import Session, col, select

from api import tables
from scheduler.layout.documents import Awning, Finding, Layout, Survey, survey_from_data
from scheduler.layout.fitting import of_width, tried, usual_awning, widths_to_try
from scheduler.units import FOOT_MM

_STEP_MM = {"imperial": FOOT_MM, "metric": 500.0}
MOST_TRIED = 600  # layouts for one page, at some milliseconds each


@dataclass(frozen=True)
class ModelFit:
    """One model at one projection: `widths_mm` that the wall takes, narrow to wide, as far as they were tried.

    `between` are narrower than the widest of them and not among them, each with what stands against it. `cautions` are
    how many the widest brings; `against` is what stands against the next wider one, `next_mm`,
    or against the narrowest where none fits, None where the model is made no wider. `like` is the survey from which
    arms and brackets were taken, empty where they are usual ones.
    """

    model: str
    projection_mm: int
    widths_mm: tuple[int, ...]
    between: tuple[tuple[int, Finding], ...]
    cautions: int
    next_mm: int | None
    against: Finding | None
    like: str


@dataclass(frozen=True)
class WhatFits:
    """`unsized` are models without a size entered, `untried` those that one page does not try."""

    fits: tuple[ModelFit, ...]
    unsized: tuple[str, ...]
    untried: tuple[str, ...]
    units: str

    def typed(self, length_mm: int) -> str:
        """Return a length as somebody in the office would type it."""
        feet = round(length_mm / FOOT_MM)
        whole = self.units == "imperial" and round(feet * FOOT_MM) == length_mm
        return f"{feet} ft" if whole else f"{length_mm} mm"


def what_fits(session: Session, survey: Survey, units: str) -> WhatFits:
    """Try the models that the business has entered on a measured wall, at each width that they are made in.

    Widths go by feet, or by half metres, up to the widest; those narrower than the projection are left out, as two
    folded arms need about that much of the bar (common practice, no published source).
    """
    sizes = defaultdict[str, list[tables.ModelSize]](list)
    for size in session.exec(select(tables.ModelSize).order_by(col(tables.ModelSize.id))):
        sizes[size.model_id].append(size)
    models = session.exec(select(tables.AwningModel).order_by(tables.AwningModel.id)).all()
    known = _surveyed(session)
    fits, untried, left = list[ModelFit](), list[str](), MOST_TRIED
    for model in models:
        for projection in sorted({size.projection_mm for size in sizes[model.id]}):
            made = [size for size in sizes[model.id] if size.projection_mm >= projection]
            widths = widths_to_try(projection, max(size.width_mm for size in made), _STEP_MM[units])
            left -= len(widths)
            if left < 0:
                untried.append(model.id)
                break
            if widths:
                fits.append(_fit(survey, model, projection, made, widths, known.get(model.id)))
    fits.sort(key=lambda fit: (-max(fit.widths_mm, default=0), -fit.projection_mm, fit.model))
    return WhatFits(tuple(fits), tuple(model.id for model in models if not sizes[model.id]), tuple(untried), units)


def _fit(
    survey: Survey, model: tables.AwningModel, projection: int, made: list[tables.ModelSize],
    widths: Iterable[float], known: tuple[str, Awning] | None,
) -> ModelFit:  # fmt: skip
    fitting, stopped, cautions = list[int](), list[tuple[int, Finding]](), 0
    for width in widths:
        size = min(
            (one for one in made if one.width_mm >= width - 1), key=lambda one: (one.width_mm, one.projection_mm)
        )
        layout = tried(survey, _awning(model, size, width, projection, known), size.brackets)
        stops = [finding for finding in layout.findings if finding.level == "stop"]
        if not stops:
            fitting.append(round(width))
            cautions = _cautions(layout)
        else:
            stopped.append((round(width), stops[0]))
    widest, like = max(fitting, default=0), known[0] if known is not None else ""
    next_mm, against = next((one for one in stopped if one[0] > widest), (None, None))
    between = tuple(one for one in stopped if one[0] < widest)
    return ModelFit(model.id, projection, tuple(fitting), between, cautions, next_mm, against, like)


def _awning(
    model: tables.AwningModel, size: tables.ModelSize, width: float, projection: int, known: tuple[str, Awning] | None
) -> Awning:
    arms = min(6, max(2, size.arms))
    made = of_width(known[1], width, arms) if known else usual_awning(width, projection, size.weight_kg, arms)
    motor = "left" if model.motor == "left" else "right" if model.motor == "right" else None
    return msgspec.structs.replace(made, projection=float(projection), weight_kg=float(size.weight_kg), motor=motor)


def _cautions(layout: Layout) -> int:
    return sum(finding.level == "caution" for finding in layout.findings)


def _surveyed(session: Session) -> dict[str, tuple[str, Awning]]:
    """Return by model the newest survey of one of its awnings, with the awning as it was measured."""
    survey, awning = tables.SiteSurvey, tables.Awning
    wanted = (
        select(survey, awning.model)
        .join(awning, col(awning.id) == survey.awning_id)
        .where(col(awning.model).in_(select(tables.AwningModel.id)))
        .order_by(col(survey.surveyed_on), col(survey.id))
    )
    newest = {model: row for row, model in session.exec(wanted)}
    found = {}
    for model, row in newest.items():
        document = survey_from_data(row.document)
        if document.is_second:
            found[model] = (row.id, document.awning)
    return found
