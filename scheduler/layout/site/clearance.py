"""Whether the awning has room: mounting height, headroom, doors, the clear band, obstacles, slope.

Values marked PRACTICE are common practice of the trade without a published source, MEMORY is from memory; the others
name their source. None replaces the manufacturer's instructions, local codes or a licensed trade.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from scheduler.layout.documents import Finding, Survey
from scheduler.layout.placement.bar import EQUAL
from scheduler.layout.placement.brackets import Placement
from scheduler.layout.site.arms import arm_findings
from scheduler.layout.site.services import service_findings
from scheduler.units import INCH_MM, both

LEAST_MOUNTING = 102 * INCH_MM  # 8 ft 6 in: PRACTICE
LEAST_HEADROOM = 80 * INCH_MM  # accessible routes, California Building Code 2013, 11B-307.4
GOOD_HEADROOM = 84 * INCH_MM  # over a public way, valance included: 3202.2.3 of the same; private patios PRACTICE
LEAST_BAND = 8 * INCH_MM  # PRACTICE: 8 to 12 in
RUN_OFF_DEG = 14.0  # 25 %, EN 13561 and EN 1933 for rain: MEMORY
DOOR_MARGIN = 2 * INCH_MM  # PRACTICE
TALL_PERSON = 72 * INCH_MM  # lower than this not only tall people meet it: PRACTICE
FLATTEST_DEG, LEAST_PART = 5.0, 0.5  # no pitch flatter than this is advised, nor less than half the cloth: PRACTICE
RUNS_ON = 1000.0  # what is higher than this and higher than wide runs on up or down: it goes aside. PRACTICE
_LEAST_SAID = INCH_MM / 16  # the least that a rule shows


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
        *arm_findings(survey, placement),
        *service_findings(survey, placement),
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
        who = "a tall person meets it" if bar.underside >= TALL_PERSON - EQUAL else "most people meet it"
        text = (
            f"{where} {clear}: {who}, since doors are {both(LEAST_HEADROOM)} high. On a private patio the"
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
        is_advised = not survey.is_second or shorter >= LEAST_PART * awning.projection
        if not survey.is_second or flatter >= FLATTEST_DEG:
            pitch = f"set the pitch to {flatter:g}° or less{rain}"
            ways.append(pitch if is_advised else f"or {pitch}")
        if is_advised:
            ways.append(f"or limit the projection to {both(shorter)}")
    return ", ".join(ways)


def _doors(survey: Survey, shift: float) -> Iterator[Finding]:
    """Compare each door under the awning with the closed body, and the leaf of an outward one with the open cloth."""
    place, awning, bar = survey.place, survey.awning, front_bar(survey)
    left = place.left_end + shift
    slope = math.tan(math.radians(awning.pitch_deg))
    for number, door in enumerate(survey.doors, start=1):
        if min(left + awning.width, door.right) - max(left, door.left) < EQUAL:
            continue
        called = door_called(survey, number)
        name = f"{called} ({both(door.left)} to {both(door.right)} from the datum, {both(door.top)} high)"
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
        if room < -EQUAL and survey.is_second:
            text = (
                f"The leaf of {name}, taken to be as wide as its opening, strikes the open awning:"
                f" {both(min(leaf, bar.reach))} out the {what} is {both(-room)} lower than the door; mount it"
                f" {both(DOOR_MARGIN - room)} higher or set a flatter pitch."
            )
            yield Finding("stop", "door", text)
        elif room < -EQUAL:
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


def door_called(survey: Survey, number: int) -> str:
    """Return what a sentence calls a door, counted from 1: on its own it has no number on the drawing."""
    return "the door" if survey.is_second and len(survey.doors) == 1 else f"door {number}"


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
    if survey.is_second:
        over, under = (max(far, _LEAST_SAID) if far > EQUAL else far for far in (over, under))
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
        wide, high = min(right, it.right) - max(left, it.left), min(top, it.top) - max(bottom, it.bottom)
        if survey.is_second:
            if it.top - it.bottom > max(RUNS_ON, it.right - it.left):  # a downspout still runs there
                ways = {way: ways[way] for way in ("left", "right")}
            ways = {way: max(far, _LEAST_SAID) for way, far in ways.items()}
            wide, high = max(wide, _LEAST_SAID), max(high, _LEAST_SAID)
        nearest = sorted(ways, key=lambda way: ways[way])
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
