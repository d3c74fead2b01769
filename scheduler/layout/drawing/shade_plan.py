"""The shade of the open awning as a small plan: the wall, the cloth above, and the ground shaded by the hour."""

from __future__ import annotations

from collections.abc import Sequence

from scheduler.layout.documents import Survey
from scheduler.layout.drawing.paper.lettering import wrap
from scheduler.layout.drawing.paper.measures import Measures
from scheduler.layout.drawing.paper.sheet import GREY, LEADING, RUST, SMALL, Box, DrawingSheet, n
from scheduler.layout.site.clearance import front_bar
from scheduler.layout.site.shade import Shade, day_name, hour_name
from scheduler.units import feet_inches

SHOWN = (7, (11, 15))  # of the hottest weeks, late morning and mid-afternoon
_HIGH = 26.0
_FINEST = 10


def draw(sheet: DrawingSheet, survey: Survey, found: Sequence[Shade], measures: Measures, area: Box) -> float:
    """Draw plan and table at the top of `area`; return the height on the sheet where they end."""
    y, say = area.top + SMALL * 1.1, measures.say
    sheet.text(area.left, y, say("Shade of the open awning on the ground"), SMALL, bold=True)
    y += SMALL * LEADING
    if not found:
        words = (
            "No shade is drawn: the survey has not taken which way the wall faces, or the site's place is not known."
        )
        return sheet.paragraph(area.left, y, wrap(say(words), SMALL, area.right - area.left), ink=GREY)
    shown = [one for one in found if one.month == SHOWN[0] and one.hour in SHOWN[1]]
    y = _plan(sheet, survey, shown, measures, Box(area.left, y, area.right, y + _HIGH))
    days = list(dict.fromkeys((one.month, one.day) for one in found))
    hours = list(dict.fromkeys(one.hour for one in found))
    step = (area.right - area.left - 18) / len(hours)
    sheet.text(area.left, y, say("reach"), SMALL, ink=GREY)
    for k, hour in enumerate(hours):
        sheet.text(area.left + 18 + k * step, y, say(hour_name(hour)), SMALL, ink=GREY)
    sheet.line(area.left, y + 1.2, area.right, y + 1.2, pen=0.2)
    for month, day in days:
        y += SMALL * LEADING + 0.8
        sheet.text(area.left, y, say(day_name(month, day)), SMALL)
        for k, hour in enumerate(hours):
            one = next(o for o in found if (o.month, o.day, o.hour) == (month, day, hour))
            text = say("none") if one.why_none else _coarse(one.out, measures)
            sheet.text(area.left + 18 + k * step, y, text, SMALL, bold=not one.why_none)
    y += SMALL * LEADING + 0.8
    words = (
        "From the wall, by the clock; none: sun low, behind the house, or in under the cloth. What stands further out"
        " is in the sun. Level ground; no valance, no trees."
    )
    return sheet.paragraph(area.left, y, wrap(say(words), SMALL, area.right - area.left), ink=GREY)


def _coarse(length_mm: float, measures: Measures) -> str:
    """Return a length as shade is worth: whole inches, or tenths of a metre."""
    return feet_inches(length_mm, 1) if measures.units == "imperial" else f"{length_mm / 1000:.1f} m"


def _plan(sheet: DrawingSheet, survey: Survey, shown: Sequence[Shade], measures: Measures, area: Box) -> float:
    """Draw wall and cloth from above, and the shaded ground of each hour shown; return the next base line."""
    width, reach = survey.awning.width, front_bar(survey).reach
    lefts = [min(0.0, one.aside) for one in shown]
    rights = [max(width, width + one.aside) for one in shown]
    left, right = min([0.0, *lefts]), max([width, *rights])
    left, right = max(left, -width), min(right, 2 * width)  # a low sun's shade runs off the picture
    deep = max([reach, *(one.out for one in shown)])
    scale = max((right - left) / (area.right - area.left - 4), deep / (area.bottom - area.top - 8), _FINEST)

    def x(at: float) -> float:
        return area.left + 2 + (min(max(at, left), right) - left) / scale

    top = area.top + 3
    for k, one in enumerate(shown):
        if one.why_none:
            continue
        low = top + one.out / scale
        corners = [(x(0), top), (x(width), top), (x(width + one.aside), low), (x(one.aside), low)]
        d = "M" + "L".join(f"{n(a)} {n(b)}" for a, b in corners) + "Z"
        sheet.path(d, pen=0.3, ink=GREY, fill="#e4e4e4" if k == 0 else "none", dash="" if k == 0 else "1.6 0.8")
    cloth = Box(x(0), top, x(width), top + reach / scale)
    sheet.rect(cloth, pen=0.3, ink=RUST, dash="0.9 0.6")
    sheet.line(area.left, top, area.right, top, pen=0.6)
    low = top + max(reach, *(one.out for one in shown)) / scale if shown else cloth.bottom
    y = low + SMALL * LEADING
    told = [_look(hour_name(one.hour), k, is_none=bool(one.why_none)) for k, one in enumerate(shown)]
    words = f"Shade on {day_name(shown[0].month, shown[0].day)}, {', '.join(told)}; the cloth within short dashes."
    return sheet.paragraph(area.left, y, wrap(measures.say(words), SMALL, area.right - area.left), ink=GREY) + 1


def _look(hour: str, k: int, *, is_none: bool) -> str:
    """Return how the shade of an hour is drawn, the first or second of those shown."""
    if is_none:
        return f"{hour} none"
    return f"{hour} gray" if k == 0 else f"{hour} within long dashes"
