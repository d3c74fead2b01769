"""The elevation alone, for a screen: drawn in a few milliseconds while a survey is being typed."""

from __future__ import annotations

from scheduler.errors import BadInput
from scheduler.layout.documents import Layout, Survey
from scheduler.layout.drawing.describe import describe
from scheduler.layout.drawing.facts import datum_words
from scheduler.layout.drawing.paper.lettering import wrap
from scheduler.layout.drawing.paper.measures import Measures, Say, Units, in_english
from scheduler.layout.drawing.paper.sheet import LEADING, SMALL, Box, DrawingSheet
from scheduler.layout.drawing.wall import elevation, view

# Narrower than a sheet of paper: on half a screen its figures must still be read.
_WIDE, _HIGH, _MARGIN = 205.0, 150.0, 2.0


def draw_picture(survey: Survey, layout: Layout, *, units: Units = "imperial", say: Say = in_english) -> str:
    """Return the elevation of `layout` as an SVG picture, as `draw_svg` has it but as large as its own sheet allows.

    Above it stands what the zero is, and by what it is checked.

    Side view, drill schedule and findings stand elsewhere on the page that shows it. `units` is the unit that comes
    first, `say` as in `draw_sheets`. It holds no script whatever the survey's texts say. Raises `BadInput` where the
    layout is not of this survey.
    """
    if layout.survey != survey.id:
        raise BadInput("survey", f'must be the id of the survey drawn ("{survey.id}"), is "{layout.survey}"')
    measures, stands = Measures(units, say), view.standing(survey, layout)
    zero = wrap(say(datum_words(survey, measures)), SMALL, _WIDE - 2 * _MARGIN)
    top = _MARGIN + len(zero) * SMALL * LEADING + 1.2
    area = Box(_MARGIN, top, _WIDE - _MARGIN, top + _HIGH - 2 * _MARGIN)
    picture = view.lay_out(survey, layout, stands, measures, area)
    sheet = DrawingSheet(_WIDE, picture.bottom + _MARGIN)
    sheet.paragraph(_MARGIN, _MARGIN + SMALL, zero)
    elevation.draw(sheet, picture)
    words = " ".join(map(say, describe(survey, layout, units=units)))
    return sheet.svg(say(f"Wall drawing {survey.id}"), words)
