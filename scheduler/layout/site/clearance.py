"""Whether the awning has room: mounting height, headroom, doors, the clear band, obstacles, slope; and other notes.

Values marked PRACTICE are common practice of the trade without a published source, MEMORY is from memory; the others
name their source. None replaces the manufacturer's instructions, local codes or a licensed trade.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from scheduler.layout.documents import MASONRY, Finding, Survey
from scheduler.layout.measured import Outlet
from scheduler.layout.placement.bar import ARM_REACH, EQUAL
from scheduler.layout.placement.brackets import Placement, bar_of
from scheduler.units import INCH_MM, both

LEAST_MOUNTING = 102 * INCH_MM  # 8 ft 6 in: PRACTICE
LEAST_HEADROOM = 80 * INCH_MM  # accessible routes, California Building Code 2013, 11B-307.4
GOOD_HEADROOM = 84 * INCH_MM  # over a public way, valance included: 3202.2.3 of the same; private patios PRACTICE
LEAST_BAND = 8 * INCH_MM  # PRACTICE: 8 to 12 in
RUN_OFF_DEG = 14.0  # 25 %, EN 13561 and EN 1933 for rain: MEMORY
LEAD_PAINT_BEFORE = 1978  # 40 CFR 745.83, target housing
DOOR_MARGIN = 2 * INCH_MM  # PRACTICE


@dataclass(frozen=True, slots=True)
class FrontBar:
    """The front bar with the awning fully out: mm, `axis` and `underside` above the standing surface.

    A valance counts to the underside where the survey has one.
    """

    drop: float
    reach: float
    axis: float
    underside: float


def front_bar(survey: Survey) -> FrontBar:
    """Return where the front bar comes to: drop = projection × sin pitch, reach = projection × cos pitch."""
    awning, pitch = survey.awning, math.radians(survey.awning.pitch_deg)
    drop, reach = awning.projection * math.sin(pitch), awning.projection * math.cos(pitch)
    axis = survey.place.height - drop
    return FrontBar(drop, reach, axis, axis - awning.front_drop - valance(survey))


def valance(survey: Survey) -> float:
    """Return how far a valance hangs below the front bar, mm; 0 without one or where the survey does not say."""
    return survey.awning.valance if isinstance(survey.awning.valance, int | float) else 0.0


def clearance_findings(survey: Survey, placement: Placement) -> list[Finding]:
    """Return what stands in the awning's way at the placement's shift, or could; in no particular order."""
    shift = placement.shift or 0.0
    return [
        *_mounting_height(survey),
        *_headroom(survey),
        *_doors(survey, shift),
        *_band(survey),
        *_obstacles(survey, placement, shift),
        *_slope(survey),
        *_arms(survey, placement),
        *_notes(survey, placement),
    ]


def _mounting_height(survey: Survey) -> Iterator[Finding]:
    height = survey.place.height
    if height < LEAST_MOUNTING - EQUAL:
        text = (
            f"The brackets are {both(height)} up, {both(LEAST_MOUNTING - height)} less than the usual least mounting"
            f" height of {both(LEAST_MOUNTING)} (common practice): mount higher where the wall allows it, and check the"
            " headroom at the front bar."
        )
        yield Finding("caution", "mounting-height", text)


def _headroom(survey: Survey) -> Iterator[Finding]:
    bar = front_bar(survey)
    if survey.is_second:
        yield from _headroom_under(survey, bar)
        return
    where = (
        f"Fully out at {survey.awning.pitch_deg:g}° the front bar comes {both(bar.reach)} out and {both(bar.drop)} down"
    )
    if bar.underside >= GOOD_HEADROOM - EQUAL:
        text = (
            f"{where}, with {both(bar.underside)} clear under it before any valance: measure again where"
            f" the ground is not level; over a public way {both(GOOD_HEADROOM)} must stay clear, valance included"
            " (California Building Code 2013, 3202.2.3)."
        )
        yield Finding("note", "headroom", text)
        return
    if bar.underside >= LEAST_HEADROOM - EQUAL:
        missing = GOOD_HEADROOM - bar.underside
        text = (
            f"{where}, with {both(bar.underside)} clear under it, {both(missing)} less than the usual"
            f" {both(GOOD_HEADROOM)} (common practice on a private patio, the rule over a public way):"
            f" {_more_headroom(survey, missing)}."
        )
        yield Finding("caution", "headroom", text)
        return
    missing = LEAST_HEADROOM - bar.underside
    left = "no room at all" if bar.underside <= 0 else f"only {both(bar.underside)} clear"
    text = (
        f"{where}, with {left} under it, {both(missing)} less than the {both(LEAST_HEADROOM)} that the"
        f" building code asks for on accessible routes (California Building Code 2013, 11B-307.4), so people would walk"
        f" into it: {_more_headroom(survey, missing)}."
    )
    yield Finding("stop", "headroom", text)


def _headroom_under(survey: Survey, bar: FrontBar) -> Iterator[Finding]:
    """Yield what a survey that says what lies below has: law over a public way, a reason over a private patio."""
    hangs = "the valance" if valance(survey) > 0 else "the front bar"
    where = (
        f"Fully out at {survey.awning.pitch_deg:g}° the front bar comes {both(bar.reach)} out and {both(bar.drop)}"
        " down,"
    )
    clear = f"with {both(bar.underside)} clear under {hangs}"
    missing = GOOD_HEADROOM - bar.underside
    if bar.underside <= 0:
        text = f"{where} with no room at all under {hangs}: {_more_headroom(survey, missing)}."
        yield Finding("stop", "headroom", text)
    elif missing <= EQUAL:
        yield Finding("note", "headroom", f"{where} {clear}: measure again where the ground is not level.")
    elif survey.place.under == "public":
        text = (
            f"{where} {clear}, {both(missing)} less than the {both(GOOD_HEADROOM)} that must stay clear over a public"
            " way,"
            f" valance included (California Building Code 2013, 3202.2.3): {_more_headroom(survey, missing)}."
        )
        yield Finding("stop", "headroom", text)
    elif bar.underside >= LEAST_HEADROOM - EQUAL:
        text = (
            f"{where} {clear}, {both(missing)} less than the usual {both(GOOD_HEADROOM)} (common practice on a private"
            f" patio): {_more_headroom(survey, missing)}."
        )
        yield Finding("caution", "headroom", text)
    else:
        text = (
            f"{where} {clear}: a tall person meets it, since doors are {both(LEAST_HEADROOM)} high. On a private patio"
            " the"
            " customer decides: show the height with a tape before drilling, have it signed, or"
            f" {_more_headroom(survey, missing)}."
        )
        yield Finding("caution", "headroom", text)


def _more_headroom(survey: Survey, missing: float) -> str:
    awning = survey.awning
    ways = [f"mount it {both(missing)} higher"]
    drop = front_bar(survey).drop - missing
    if drop > 0:
        # Rounded down to a tenth: the flatter, the more headroom.
        flatter = math.floor(math.degrees(math.asin(drop / awning.projection)) * 10) / 10
        rain = ", too flat for rain" if flatter < RUN_OFF_DEG else ""
        shorter = math.floor(drop / math.sin(math.radians(awning.pitch_deg)))
        ways += [f"set the pitch to {flatter:g}° or less{rain}", f"or limit the projection to {both(shorter)}"]
    return ", ".join(ways)


def _doors(survey: Survey, shift: float) -> Iterator[Finding]:
    """Compare each door under the awning with the closed body, and the leaf of an outward one with the open cloth."""
    place, awning, bar = survey.place, survey.awning, front_bar(survey)
    left = place.left_end + shift
    slope = math.tan(math.radians(awning.pitch_deg))
    for number, door in enumerate(survey.doors, start=1):
        if min(left + awning.width, door.right) - max(left, door.left) < EQUAL:
            continue
        name = f"door {number} ({both(door.left)} to {both(door.right)} from the datum, {both(door.top)} high)"
        under_body = place.height - awning.body_below - door.top
        if under_body < -EQUAL:
            where = "in the way of" if door.swings_out else "in front of"
            text = (
                f"The closed awning hangs {where} {name} by {both(-under_body)}: mount it that much higher or keep it"
                " off the door."
            )
            yield Finding("stop" if door.swings_out else "caution", "door", text)
            continue
        if not door.swings_out:
            continue
        # One leaf as wide as the opening is the worst case; the leaf's outer edge is where the cloth is lowest.
        leaf = door.right - door.left
        if leaf >= bar.reach:
            under, what = bar.underside, "front bar"
        else:
            under, what = place.height - leaf * slope, "cloth"
        room = under - door.top
        if room < -EQUAL:
            text = (
                f"The leaf of {name} strikes the open awning: {both(leaf)} out the {what} is {both(-room)} lower than"
                f" the door; mount it {both(DOOR_MARGIN - room)} higher or set a flatter pitch."
            )
            yield Finding("stop", "door", text)
        elif room < max(DOOR_MARGIN, awning.front_drop) - EQUAL:
            text = (
                f"The leaf of {name} passes only {both(room)} under the {what} of the open awning, and arms hang below"
                " the cloth: try it before leaving, or mount the awning higher."
            )
            yield Finding("caution", "door", text)


def _band(survey: Survey) -> Iterator[Finding]:
    band, awning, height = survey.band, survey.awning, survey.place.height
    if band.top - band.bottom < LEAST_BAND - EQUAL:
        text = (
            f"The clear band is {both(band.top - band.bottom)} high, {both(LEAST_BAND - band.top + band.bottom)} less"
            f" than the usual least of {both(LEAST_BAND)} (common practice): check hands and tools reach the fasteners."
        )
        yield Finding("caution", "band-height", text)
    body = awning.body_above + awning.body_below
    if body > band.top - band.bottom + EQUAL:
        text = (
            f"The closed awning is {both(body)} high, {both(body - band.top + band.bottom)} more than the clear band:"
            " it needs another place or what bounds the band moved."
        )
        yield Finding("stop", "band-height-short", text)
        return
    over, under = height + awning.body_above - band.top, band.bottom - height + awning.body_below
    if over > EQUAL:
        text = f"The closed awning reaches {both(over)} above the clear band: lower the brackets by that much."
        yield Finding("stop", "above-band", text)
    if under > EQUAL:
        text = f"The closed awning reaches {both(under)} below the clear band: raise the brackets by that much."
        yield Finding("stop", "below-band", text)


def _obstacles(survey: Survey, placement: Placement, shift: float) -> Iterator[Finding]:
    awning, height = survey.awning, survey.place.height
    left = survey.place.left_end + shift
    right, bottom, top = left + awning.width, height - awning.body_below, height + awning.body_above
    for index in placement.blocked:
        it = survey.obstacles[index]
        # How far it would have to move to each side to be clear of the closed awning.
        ways = {"left": it.right - left, "right": right - it.left, "down": it.top - bottom, "up": top - it.bottom}
        nearest = sorted(ways, key=lambda way: ways[way])
        wide, high = min(right, it.right) - max(left, it.left), min(top, it.top) - max(bottom, it.bottom)
        text = (
            f"The closed awning covers {both(wide)} by {both(high)} of the {it.what} at {both(it.left)} to"
            f" {both(it.right)} from the datum: have it moved {both(ways[nearest[0]])} {nearest[0]} or"
            f" {both(ways[nearest[1]])} {nearest[1]} (no light, spout, vent or box behind a closed awning: common"
            " practice)."
        )
        yield Finding("stop", "obstacle", text)


def _slope(survey: Survey) -> Iterator[Finding]:
    awning = survey.awning
    if awning.pitch_deg < RUN_OFF_DEG:
        more = awning.projection * (math.sin(math.radians(RUN_OFF_DEG)) - math.sin(math.radians(awning.pitch_deg)))
        text = (
            f"A pitch of {awning.pitch_deg:g}° is {RUN_OFF_DEG - awning.pitch_deg:g}° flatter than the {RUN_OFF_DEG:g}°"
            f" (25 %) at which rain runs off (EN 13561, from memory): drop the front bar {both(more)} more, or tell the"
            " customer to close it in rain."
        )
        yield Finding("caution", "run-off", text)


def _arms(survey: Survey, placement: Placement) -> Iterator[Finding]:
    if not placement.spots:
        return
    bar, places = bar_of(survey, placement.required), [spot.at for spot in placement.spots]
    last = len(bar.arms) - 1
    for arm, at, inside in ((0, places[0], places[0] > bar.arms[0]), (last, places[-1], places[-1] < bar.arms[-1])):
        if inside:
            text = (
                f"The outer bracket of arm {arm + 1} is {both(abs(at - bar.arms[arm]))} inside the arm, where no place"
                " outside it can be had: check that the manufacturer allows it (outside is common practice)."
            )
            yield Finding("caution", "outer-inside", text)
    for number, arm_at in enumerate(bar.arms[1:-1], start=2):
        if not any(bar.serves(at, arm_at) for at in places):
            off = min(abs(at - arm_at) for at in places)
            text = (
                f"Arm {number} has no bracket within {both(ARM_REACH)}, the nearest is {both(off)} away: ask the"
                f" manufacturer{_nearer(survey)}."
            )
            yield Finding("caution", "arm-unserved", text)


def _nearer(survey: Survey) -> str:
    """Return what else brings a bracket nearer to an arm: in masonry no backing does."""
    if not survey.is_second or survey.wall.kind not in MASONRY:
        return ", or put in backing nearer to it"
    return ", or grout a cell nearer to it solid" if survey.wall.kind == "hollow-block" else ""


def _notes(survey: Survey, placement: Placement) -> Iterator[Finding]:
    left, awning = survey.place.left_end, survey.awning
    if placement.spots and placement.shift:
        side = "right" if placement.shift > 0 else "left"
        text = (
            f"The awning goes {both(abs(placement.shift))} to the {side} of the wished place, its left end"
            f" {both(left + placement.shift)} from the datum: tell the customer before drilling."
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


def _outlet(survey: Survey, left: float) -> Finding:
    """Say where the motor's outlet is, and what is missing of it."""
    end = left + (survey.awning.width if survey.awning.motor == "right" else 0.0)
    place = f"{both(end)} from the datum" if abs(end) > EQUAL else "at the datum"
    where = f"The motor is at the {survey.awning.motor} end, {place}"
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
    text = (
        f"{house}: paint from before {LEAD_PAINT_BEFORE} may hold lead (40 CFR 745), and old stucco or siding asbestos:"
        " have it tested before drilling, and keep the dust down."
    )
    yield Finding("caution" if built is not None else "note", "old-paint", text)
