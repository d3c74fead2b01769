"""The drawing of a survey that is still being typed, with its findings and what is wrong or missing by field."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import msgspec
from starlette.responses import Response

from api.languages import gettext, ngettext
from api.languages.core import core_says
from api.survey.form import Reading, sketch
from scheduler.errors import BadInput
from scheduler.layout.compute import lay_out
from scheduler.layout.documents import Finding
from scheduler.layout.drawing.cautions import ranked
from scheduler.layout.drawing.picture import draw_picture


@dataclass(frozen=True)
class DraftDrawing:
    """`svg` is None where something is wrong; `usual` names what was drawn with usual values, not measured ones."""

    svg: str | None
    brackets: int
    required: int
    findings: tuple[Finding, ...]
    wrong: dict[str, str]
    missing: dict[str, str]
    understood: dict[str, str]
    usual: tuple[str, ...]

    @property
    def state(self) -> str:
        """Return in a line how the layout stands."""
        if self.svg is None:
            return gettext("Not drawn: something is wrong.")
        stops = sum(one.level == "stop" for one in self.findings)
        cautions = sum(one.level == "caution" for one in self.findings)
        told = [gettext("{n} of {required} brackets placed").format(n=self.brackets, required=self.required)]
        if stops:
            told.append(ngettext("{n} stop", "{n} stops", stops).format(n=stops))
        if cautions:
            told.append(ngettext("{n} caution", "{n} cautions", cautions).format(n=cautions))
        return ", ".join(told)


def draft_of(reading: Reading, units: str, at_least: int) -> DraftDrawing:
    """Return the drawing of what was read of a form, at least as far as it goes."""
    survey, usual = sketch(reading)
    svg, brackets, required, findings = None, 0, 0, tuple[Finding, ...]()
    if survey is not None:
        layout = lay_out(survey, at_least)
        brackets, required, findings = len(layout.brackets), layout.required, tuple(ranked(layout.findings))
        try:
            measured: Any = units  # the table's check keeps it to these
            svg = draw_picture(survey, layout, units=measured, say=core_says)
        except BadInput as fault:
            reading.wrong[""] = f"{fault}."
    if reading.before and svg is not None:
        usual.insert(0, "the awning, which is not chosen yet")
    return DraftDrawing(
        svg, brackets, required, findings, reading.wrong, reading.missing, reading.understood, tuple(usual)
    )


def drawn(reading: Reading, units: str, at_least: int) -> Response:
    """Return the drawing as JSON."""
    draft = draft_of(reading, units, at_least)
    body: dict[str, Any] = {**asdict(draft), "findings": draft.findings, "state": draft.state}
    return Response(msgspec.json.encode(body), media_type="application/json")
