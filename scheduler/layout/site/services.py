"""What the crew has to know of the wall besides its room: power for the motor, what runs behind it, old paint.

Values marked PRACTICE are common practice of the trade without a published source. None replaces local codes or a
licensed trade.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from scheduler.layout.documents import MASONRY, Finding, Survey
from scheduler.layout.measured import Outlet
from scheduler.layout.placement.bar import EQUAL
from scheduler.layout.placement.brackets import Placement
from scheduler.units import both

LEAD_PAINT_BEFORE = 1978  # 40 CFR 745.83, target housing
OUTLET_HALF = (35.0, 57.0)  # half of a single outlet's plate, across and up (2-3/4 by 4-1/2 in): PRACTICE


def service_findings(survey: Survey, placement: Placement) -> Iterator[Finding]:
    """Yield what is to be said of where the awning goes and of power, what runs in the wall, and old paint."""
    left, awning = survey.place.left_end, survey.awning
    yield from _outlet_behind(survey, placement.shift or 0.0)
    if placement.spots and placement.shift:
        side = "right" if placement.shift > 0 else "left"
        text = (
            f"The awning goes {both(abs(placement.shift))} to the {side} of the wished place, its left end"
            f" {_along(survey, left + placement.shift)}: tell the customer before drilling."
        )
        yield Finding("note", "shifted", text)
    if awning.motor is not None and survey.is_second:
        yield _outlet(survey, left + (placement.shift or 0.0))
    elif awning.motor is not None:
        end = left + (placement.shift or 0.0) + (awning.width if awning.motor == "right" else 0.0)
        text = (
            f"The motor is at the {awning.motor} end, {both(end)} from the datum: an extension cord serves set-up only;"
            " a permanent outlet (GFCI-protected, weather-resistant, covered with the plug in: NEC 210.8, 406.9) or any"
            " new wiring is for a licensed electrician."
        )
        yield Finding("note", "power", text)
    if survey.wall.kind in MASONRY or survey.wall.kind == "rim-board":
        steel = survey.wall.kind in MASONRY or not survey.is_second  # there is none in a rim board of wood
        hidden = "Cables, pipes or reinforcement" if steel else "Cables or pipes"
        text = (
            f"{hidden} may run behind the drill points: look for them with a detector, and switch off what is there,"
            " before drilling."
        )
        yield Finding("caution", "hidden-services", text)
    if survey.is_second:
        yield from _old_paint(survey)
        return
    text = (
        "In a house from before 1978 paint may hold lead (40 CFR 745), and old stucco or siding asbestos: have it"
        " tested before drilling, and keep the dust down."
    )
    yield Finding("note", "old-paint", text)


def _along(survey: Survey, at: float) -> str:
    return from_datum(at) if survey.is_second else f"{both(at)} from the datum"


def _outlet_behind(survey: Survey, shift: float) -> Iterator[Finding]:
    """Stop where the closed awning would hang over the outlet, whose plug and cable are there."""
    outlet, awning, height = survey.outlet, survey.awning, survey.place.height
    if not isinstance(outlet, Outlet):
        return
    left, (across, up) = survey.place.left_end + shift, OUTLET_HALF
    beside = max(left - outlet.at, outlet.at - left - awning.width)
    aside = max(height - awning.body_below - outlet.height, outlet.height - height - awning.body_above)
    if beside < across - EQUAL and aside < up - EQUAL:
        text = (
            f"The closed awning hangs over the outlet {from_datum(outlet.at)}, {both(outlet.height)} up: its plug could"
            " not be reached, and its cable runs where holes are drilled. A licensed electrician moves it first, or the"
            " awning goes elsewhere (no light, spout, vent or box behind a closed awning: common practice)."
        )
        yield Finding("stop", "outlet", text)


def _outlet(survey: Survey, left: float) -> Finding:
    """Say where the motor's outlet is, and what is missing of it."""
    end = left + (survey.awning.width if survey.awning.motor == "right" else 0.0)
    where = f"The motor is at the {survey.awning.motor} end, {from_datum(end)}"
    outlet = survey.outlet
    if not isinstance(outlet, Outlet):
        text = (
            f"{where}, and the survey found no outlet: an extension cord serves set-up only; a permanent one"
            " (GFCI-protected, weather-resistant, covered with the plug in: NEC 210.8, 406.9) is for a licensed"
            " electrician. Tell the customer before the visit."
        )
        return Finding("caution", "power", text)
    away = math.hypot(outlet.at - end, outlet.height - survey.place.height)
    text = f"{where}; its outlet is at {both(outlet.at)}, {both(outlet.height)} up, {both(away)} of cord from it."
    if outlet.gfci:
        return Finding("note", "power", text)
    more = " It is not GFCI-protected, as outdoor outlets must be (NEC 210.8): a licensed electrician puts that right."
    return Finding("caution", "power", text + more)


def _old_paint(survey: Survey) -> Iterator[Finding]:
    built = survey.built if isinstance(survey.built, int) else None
    if built is not None and built >= LEAD_PAINT_BEFORE:
        return
    house = f"House of {built}" if built is not None else "Year of the house unknown"
    coat = "an old coating" if survey.wall.kind in MASONRY else "old stucco or siding"
    text = (
        f"{house}: paint from before {LEAD_PAINT_BEFORE} may hold lead (40 CFR 745), and {coat} asbestos:"
        " have it tested before drilling, and keep the dust down."
    )
    yield Finding("caution" if built is not None else "note", "old-paint", text)


def from_datum(at: float) -> str:
    """Return a place along the wall in words, without a sign that is overlooked."""
    if round(abs(at)) == 0:
        return "at the datum"
    return f"{both(at)} from the datum" if at > 0 else f"{both(-at)} left of the datum"
