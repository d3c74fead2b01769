"""The elevation alone, as a page shows it while a survey is typed: the same picture on a sheet of its own."""

from __future__ import annotations

import xml.etree.ElementTree as ET

import pytest

from scheduler.errors import BadInput
from scheduler.layout.compute import lay_out
from scheduler.layout.drawing import describe
from scheduler.layout.drawing.picture import draw_picture
from tests.drawn import NAMESPACE, overlapping, written
from tests.shapes import CLOTH, GRAPHITE, shapes
from tests.surveys import plain_survey, second_survey


@pytest.mark.parametrize(("units", "scale"), [("metric", 25), ("imperial", 32)])
def test_the_picture_is_the_elevation_at_its_own_scale(units: str, scale: int) -> None:
    survey = plain_survey()
    svg = draw_picture(survey, lay_out(survey), units=units)  # type: ignore[arg-type]
    (body,) = [shape.box for shape in shapes(svg) if shape.fill == CLOTH]
    assert body[2] - body[0] == pytest.approx(4000 / scale, abs=0.02)
    brackets = [shape.box for shape in shapes(svg) if shape.fill == GRAPHITE]
    assert [box[2] - box[0] for box in brackets] == pytest.approx([120 / scale] * 4, abs=0.02)
    root = ET.fromstring(svg)
    wide, high = (float(root.get(side, "0").removesuffix("mm")) for side in ("width", "height"))
    assert wide == 205
    texts = written(svg)
    assert overlapping(texts) == []
    assert not any(text.struck for text in texts)
    for left, top, right, bottom in [*(text.box for text in texts), *(shape.box for shape in shapes(svg))]:
        assert left >= 1
        assert top >= 1
        assert right <= wide - 1
        assert bottom <= high - 1
    lowest = max(text.box[3] for text in texts)
    assert high - lowest < 8  # no more paper than it needs
    title, description = (root.find(f"{NAMESPACE}{tag}") for tag in ("title", "desc"))
    assert title is not None
    assert description is not None
    assert title.text == "Wall drawing alder-4m"
    assert description.text == " ".join(describe(survey, lay_out(survey), units=units))  # type: ignore[arg-type]


def test_feet_and_inches_come_first_where_nothing_else_is_asked_for() -> None:
    survey = plain_survey()
    assert draw_picture(survey, lay_out(survey)) == draw_picture(survey, lay_out(survey), units="imperial")


def test_the_picture_of_another_surveys_layout_is_refused() -> None:
    with pytest.raises(BadInput) as refused:
        draw_picture(plain_survey(id="other"), lay_out(plain_survey()))
    assert refused.value.where == "survey"
    assert refused.value.problem == 'must be the id of the survey drawn ("other"), is "alder-4m"'


def test_the_picture_names_its_zero_and_what_it_is_checked_by() -> None:
    survey = second_survey()
    texts = written(draw_picture(survey, lay_out(survey)))
    assert "0 is the left jamb of the patio door" in " ".join(text.text for text in texts)
    assert overlapping(texts) == []
    first = plain_survey()  # of a survey without a name for it, that too is said
    words = " ".join(text.text for text in written(draw_picture(first, lay_out(first))))
    assert "without a name: ask before drilling" in words
