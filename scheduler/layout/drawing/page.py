"""The wall drawing on its sheets: the first to drill by, the later ones with what else there is to know."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from scheduler.errors import BadInput
from scheduler.layout.documents import Finding, Layout, Survey
from scheduler.layout.drawing import bracket_view, findings, schedule, shade_plan, side_view, title
from scheduler.layout.drawing.cautions import MOST_ON_SHEET, Sorted, sort_out
from scheduler.layout.drawing.describe import describe
from scheduler.layout.drawing.facts import fact_lines
from scheduler.layout.drawing.paper.lettering import wrap
from scheduler.layout.drawing.paper.measures import Measures, Say, Units, in_english
from scheduler.layout.drawing.paper.sheet import GREY, LEADING, SMALL, Box, DrawingSheet
from scheduler.layout.drawing.setting import FindingPart
from scheduler.layout.drawing.title import HEAD, MARGIN, Pages, Title
from scheduler.layout.drawing.wall import elevation, view
from scheduler.layout.site.shade import ShadeSite, shades

Paper = Literal["letter", "a4"]
PAPERS_MM: dict[Paper, tuple[float, float]] = {"letter": (279.4, 215.9), "a4": (297.0, 210.0)}

_GAP = 4.0
_UNNAMED = "obstacles"  # what the picture shows without its name
_LEAST_PICTURE = 36.0  # height of the wall on the sheet below which it gives no more room to the findings,
_LEAST_FOR_CAUTIONS = 30.0  # unless that brings all that must stand on the first sheet to it,
_LEAST_FOR_STOPS = 24.0  # or every stop: nobody drills before having read them
_LOWER = (62.0, 74.0, 80.0, 86.0)  # heights of the lower half, the least that holds the findings is taken
_LONGEST_PART = 1500  # letters of a finding that go into one column
_SIDE = 92.0
_LAST = 81.0
MOST_BRACKETS = 20
_LETTERED = re.compile(r"[a-z]: ")
_MOST_KEY_LINES = 4  # of what the letters in the picture stand for, under it; more goes to the findings


@dataclass(frozen=True)
class _Sheet:
    """What one sheet after the first shows: `rest` is what found no room on it."""

    done: findings.Set
    with_pictures: bool


@dataclass(frozen=True)
class _First:
    """The first sheet as laid out: elevation and key, the columns below, their top, and the findings in them."""

    picture: view.Elevation
    key: list[str]
    areas: list[Box]
    top: float
    done: findings.Set
    sorted: Sorted


def draw_svg(
    survey: Survey,
    layout: Layout,
    *,
    units: Units = "imperial",
    paper: Paper = "letter",
    job: Title = Title(),  # noqa: B008  frozen
    site: ShadeSite | None = None,
    say: Say = in_english,
) -> str:
    """Return the first sheet of the wall drawing of `layout`, as `draw_sheets` gives it."""
    return draw_sheets(survey, layout, units=units, paper=paper, job=job, site=site, say=say)[0]


def draw_sheets(
    survey: Survey,
    layout: Layout,
    *,
    units: Units = "imperial",
    paper: Paper = "letter",
    job: Title = Title(),  # noqa: B008  frozen
    site: ShadeSite | None = None,
    say: Say = in_english,
) -> tuple[str, ...]:
    """Return the wall drawing of `layout` as SVG files: landscape sheets, the first at the scales that it states.

    The first is what one drills by, with every stop and the cautions that are special to this wall, at most five; the
    second has the bracket, the shade at `site` and the rest in full, and runs on where one sheet is not enough. `job`
    says whose wall it is. `units` is the unit that comes first, the other stands small beside it. `say` is given each
    finished text in English and returns what is written. The files need nothing from elsewhere, hold no script whatever
    the survey's texts say, and are the same for the same input. Raises `BadInput` where the layout is not of this
    survey or has more brackets than the sheet has room for.
    """
    _check(survey, layout)
    measures, stands = Measures(units, say), view.standing(survey, layout)
    sheet = DrawingSheet(*PAPERS_MM[paper])
    first = _laid_out(survey, layout, stands, measures, sheet)
    later = _later(survey, layout, measures, site, first.done.rest, paper)
    count = 1 + len(later)
    words = " ".join(map(say, describe(survey, layout, units=units)))
    _draw_first(sheet, survey, layout, measures, first, job, count)
    files = [sheet.svg(f"{say(job.name)} {survey.id}", words)]
    for number, one in enumerate(later, start=2):
        sheet = DrawingSheet(*PAPERS_MM[paper])
        pages = Pages(number, count)
        title.head(sheet, survey, job, pages, "", False, measures)
        if one.with_pictures:
            _pictures(sheet, survey, measures, site, _columns_of(sheet, survey, layout, measures)[0])
        findings.draw(sheet, one.done, say)
        what = say("Bracket not to scale") if one.with_pictures else say("Findings in full")
        cells = [what, f"{say('Rules')} {layout.format}"]
        title.foot(sheet, survey, layout, job, pages, cells, say)
        name = f"{say(job.name)} {survey.id}, {say(f'page {number}')}"
        files.append(sheet.svg(name, say(f"Page {number} of {count} of the drawing.")))
    return tuple(files)


def bracket_places(
    survey: Survey, layout: Layout, *, units: Units = "imperial", paper: Paper = "letter", say: Say = in_english
) -> list[tuple[float, float]]:
    """Return where each bracket of `layout` stands on the first sheet that `draw_sheets` gives for the same arguments.

    Each is a point as parts of the page's width and height, from its upper left corner, in the layout's order. Raises
    `BadInput` as `draw_sheets` does.
    """
    _check(survey, layout)
    measures, stands = Measures(units, say), view.standing(survey, layout)
    sheet = DrawingSheet(*PAPERS_MM[paper])
    picture = _laid_out(survey, layout, stands, measures, sheet).picture
    y = picture.view.y(survey.place.height)
    return [(picture.view.x(bracket.wall) / sheet.width, y / sheet.height) for bracket in layout.brackets]


def _columns_of(
    sheet: DrawingSheet, survey: Survey, layout: Layout, measures: Measures, top: float | None = None
) -> list[Box]:
    """Return the three columns between `top` (None: the head) and the footer."""
    left, right = MARGIN, sheet.width - MARGIN
    bottom = sheet.height - MARGIN - title.foot_height(survey, layout, right - left, measures.say)
    lefts = (left, left + _SIDE + _GAP, right - _LAST)
    rights = (left + _SIDE, right - _LAST - _GAP, right)
    top = MARGIN + HEAD + 2 if top is None else top
    return [Box(a, top, b, bottom - 2) for a, b in zip(lefts, rights, strict=True)]


def _laid_out(survey: Survey, layout: Layout, stands: view.StandsOn, measures: Measures, sheet: DrawingSheet) -> _First:
    """Lay out the elevation and what stands below it."""
    every = (*layout.findings, *_of_the_drawing(survey, layout))
    found = sort_out([Finding(one.level, one.code, measures.say(measures.turned(one.text))) for one in every])
    bottom = _columns_of(sheet, survey, layout, measures)[0].bottom + 2
    inner = Box(MARGIN, MARGIN, sheet.width - MARGIN, bottom)
    least = max(_ends(survey, layout, measures, _columns_of(sheet, survey, layout, measures, 0.0))) + 2.5
    heights = [height for height in _LOWER if height > least]
    last = heights[-1] if heights else 0.0
    # where side view and schedule want more than all of these: no more than they and the key do
    with_key = (least + _key_height([""] * lines) for lines in range(_MOST_KEY_LINES + 1))
    best: _First | None = None
    for lower in [*heights, *(height for height in with_key if height > last)]:
        whole = Box(inner.left, inner.top + HEAD + 1, inner.right, bottom - lower - 3)
        picture, key, unnamed = _picture(survey, layout, stands, measures, whole)
        high = picture.view.wall.bottom - picture.view.wall.top
        squeezed = high < _LEAST_PICTURE
        least_high = _LEAST_FOR_STOPS if best is not None and _stops(best.done.rest) else _LEAST_FOR_CAUTIONS
        if best is not None and squeezed and high < least_high:
            break  # the findings must not squeeze the wall
        if lower - _key_height(key) < least:
            continue  # side view and schedule have no room
        top = picture.bottom + 3 + _key_height(key)
        areas = _columns_of(sheet, survey, layout, measures, top)
        ends = _ends(survey, layout, measures, areas)
        below = [Box(box.left, end + 1.5, box.right, box.bottom) for box, end in zip(areas, ends, strict=True)]
        first, also, later = _said(found, unnamed, measures.say)
        done = findings.fill(first, below, also, later, say=measures.say)
        gains = not done.left_over or (best is not None and _stops(best.done.rest) and not _stops(done.rest))
        if best is None or not squeezed or gains:
            left = sort_out([*done.rest, *later])
            rest = (*left.stops, *left.special, *found.standing, *left.notes)
            best = _First(picture, key, areas, top, replace(done, rest=rest), found)
        if not done.left_over:
            break
    assert best is not None
    return best


def _picture(
    survey: Survey, layout: Layout, stands: view.StandsOn, measures: Measures, area: Box
) -> tuple[view.Elevation, list[str], list[str]]:
    """Return the elevation in `area`, the lines of the key that goes below it, and what else has no name in it.

    A letter in the picture is nothing without what it stands for: that stands under it, whatever else the sheet holds.
    """
    picture = view.lay_out(survey, layout, stands, measures, area)
    unnamed = elevation.draw(DrawingSheet(*PAPERS_MM["letter"], trial=True), picture)
    lettered = [one for one in unnamed if _LETTERED.match(one)]
    key = wrap("; ".join(lettered), SMALL, area.right - area.left) if lettered else []
    if len(key) > _MOST_KEY_LINES:
        return picture, [], unnamed
    return picture, key, [one for one in unnamed if one not in lettered]


def _key_height(key: Sequence[str]) -> float:
    return len(key) * SMALL * LEADING + 0.6 * bool(key)


def _stops(rest: Sequence[Finding]) -> bool:
    return any(finding.level == "stop" for finding in rest)


def _said(found: Sorted, unnamed: list[str], say: Say) -> tuple[list[Finding], list[Finding], list[Finding]]:
    """Return what must stand on the first sheet, what may follow there as far as there is room, and what may not.

    On the first: stops, the cautions special to this wall, up to five, and what the picture shows without its name.
    Standing cautions are in the footer there, and in full on a later sheet: else more stood here than the head counts.
    """
    note = [Finding("note", _UNNAMED, f"{say('On the wall')}: {'; '.join(unnamed)}.")] if unnamed else []
    here, later = found.special[:MOST_ON_SHEET], found.special[MOST_ON_SHEET:]
    if any(_LETTERED.match(one) for one in unnamed):  # a letter in the picture is nothing without what it stands for
        return [*found.stops, *note, *here], list(found.notes), list(later)
    return [*found.stops, *here, *note], list(found.notes), list(later)


def _of_the_drawing(survey: Survey, layout: Layout) -> list[Finding]:
    """Return a stop for an anchor whose setting the layout does not have: no hole is drilled without its numbers."""
    fastener = layout.fastener
    if fastener is None or fastener.diameter is not None or isinstance(fastener.hole, float) or not layout.brackets:
        return []
    text = (
        f"The survey has no hole, depth, embedment, edge distance, spacing and torque for {fastener.kind}: enter them"
        " from its maker's report before anything is drilled."
    )
    return [Finding("stop", "anchor-hole", text)]


def _ends(survey: Survey, layout: Layout, measures: Measures, areas: list[Box]) -> list[float]:
    """Where side view and schedule end in the three columns of the lower half."""
    trial = DrawingSheet(*PAPERS_MM["letter"], trial=True)
    return _lower_half(trial, survey, layout, measures, areas)[1]


def _lower_half(
    sheet: DrawingSheet, survey: Survey, layout: Layout, measures: Measures, areas: list[Box]
) -> tuple[int, list[float]]:
    """Draw side view, drill schedule and bolt pattern; return the side view's scale and where each column ends."""
    scale, side_end = side_view.draw(sheet, survey, measures, areas[0])
    ends = [side_end, *schedule.draw(sheet, survey, layout, measures, areas[1:])]
    free = 2 if ends[2] == areas[2].top else 0  # a long schedule fills the third column too
    lines = wrap(
        measures.say(bracket_view.pattern_words(survey, measures)), SMALL, areas[free].right - areas[free].left
    )
    y = ends[free] + SMALL * (1.1 if free else LEADING)
    ends[free] = sheet.paragraph(areas[free].left, y, lines) - SMALL
    return scale, ends


def _check(survey: Survey, layout: Layout) -> None:
    if layout.survey != survey.id:
        raise BadInput("survey", f'must be the id of the survey drawn ("{survey.id}"), is "{layout.survey}"')
    if len(layout.brackets) > MOST_BRACKETS:
        raise BadInput(
            "brackets", f"must be {MOST_BRACKETS} or fewer to be drawn on one sheet, are {len(layout.brackets)}"
        )
    for k, bracket in enumerate(layout.brackets):
        if bracket.member is not None and not 0 <= bracket.member < len(survey.wall.members):
            raise BadInput(f"brackets[{k}].member", f"must be one of the survey's members, is {bracket.member}")


def _draw_first(
    sheet: DrawingSheet, survey: Survey, layout: Layout, measures: Measures, first: _First, job: Title, count: int
) -> None:
    say = measures.say
    pages = Pages(1, count, _later_words(first, count, say))
    state, stop = _state(first)
    title.head(sheet, survey, job, pages, say(state), stop, measures)
    elevation.draw(sheet, first.picture)
    left, right = MARGIN, sheet.width - MARGIN
    sheet.paragraph(left, first.top - 1.5 - _key_height(first.key) + SMALL, first.key)
    sheet.line(left, first.top - 1.5, right, first.top - 1.5, pen=0.13, ink=GREY)
    side, _ = _lower_half(sheet, survey, layout, measures, first.areas)
    findings.draw(sheet, first.done, say)
    shown = first.picture.view
    left_out = f", {say('a stretch left out at the break lines')}" if shown.cut else ""
    cells = [
        f"{say('Elevation')} {measures.scale_name(shown.scale)}{left_out}",
        f"{say('Side view')} {measures.scale_name(side)}",
        say(title.FIGURES_GO_FIRST),
        say("ft, in and 1/16; small: mm") if measures.units == "imperial" else say("mm; small: ft, in and 1/16"),
        f"{say('Rules')} {layout.format}",
    ]
    title.foot(sheet, survey, layout, job, pages, cells, say)


def _state(first: _First) -> tuple[str, bool]:
    """Return the sheet's condition, and whether it is a stop; it counts what the reader finds on this sheet."""
    stops = len(first.sorted.stops)
    left = {id(finding) for finding in first.done.rest}
    if stops:
        text = f"STOP: do not drill. {stops} thing{'s' * (stops > 1)} to settle first"
        elsewhere = sum(id(finding) in left for finding in first.sorted.stops)
        return (f"{text}, {elsewhere} of them on the next page" if elsewhere else text), True
    here = sum(id(finding) not in left for finding in first.sorted.special)
    more = len(first.sorted.special) - here
    if not here and not more:
        return "Nothing special to this wall: see the footer", False
    text = f"{here} caution{'s' * (here != 1)} of this wall to settle before drilling"
    return f"{text}, {more} more on page 2" if more else text, False


def _later_words(first: _First, count: int, say: Say) -> str:
    """Return what the later sheets have, for the foot of the first: as many of each as begin there."""
    rest = sort_out(first.done.rest)
    parts = [
        (len(rest.stops), "stop", "stops"), (len(rest.special), "caution", "cautions"),
        (len(rest.standing), "standing caution", "standing cautions"),
        (len(rest.notes), "note", "notes"),
    ]  # fmt: skip
    told = [f"{found} {say(one if found == 1 else more)}" for found, one, more in parts if found]
    where = say("Page 2" if count == 2 else "Pages 2 and 3" if count == 3 else f"Pages 2 to {count}")
    always = [say("the bracket with its holes"), say("the shade"), say("the survey in words")]
    return f"{where}: {', '.join([*always, *told])}."


def _pictures(sheet: DrawingSheet, survey: Survey, measures: Measures, site: ShadeSite | None, area: Box) -> float:
    """Draw bracket, shade and the survey in words down a column; return where they end."""
    end = bracket_view.draw(sheet, survey, measures, area) + 2
    found = shades(survey, site) if site is not None else ()
    end = shade_plan.draw(sheet, survey, found, measures, Box(area.left, end, area.right, area.bottom)) + 1
    sheet.text(area.left, end + SMALL, measures.say("The wall as surveyed"), SMALL, bold=True)
    y = end + SMALL + SMALL * LEADING
    for line in fact_lines(survey, measures):
        y = sheet.paragraph(area.left, y, wrap(measures.say(line), SMALL, area.right - area.left))
    return y - SMALL


def _cut(finding: Finding, say: Say) -> list[FindingPart]:
    """Return a finding in parts of which each finds room on a sheet: a wall may have hundreds of obstacles.

    Each part but the last says at its end that it goes on, each but the first at its head that it began before.
    """
    texts = textwrap.wrap(finding.text, _LONGEST_PART, break_on_hyphens=False) or [finding.text]
    ends = [*(f" ({say('goes on')})" for _ in texts[1:]), ""]
    return [
        FindingPart(finding.level, finding.code, text + end, continued=n > 0)
        for n, (text, end) in enumerate(zip(texts, ends, strict=True))
    ]


def _later(
    survey: Survey, layout: Layout, measures: Measures, site: ShadeSite | None, rest: Sequence[Finding], paper: Paper
) -> list[_Sheet]:
    """Return the sheets after the first, as many as all of `rest` in full asks for."""
    trial = DrawingSheet(*PAPERS_MM[paper], trial=True)
    columns = _columns_of(trial, survey, layout, measures)
    end = _pictures(trial, survey, measures, site, columns[0])
    columns[0] = Box(columns[0].left, end + 3, columns[0].right, columns[0].bottom)
    order = [columns[1], columns[2], columns[0]]
    sheets: list[_Sheet] = []
    left: list[Finding] = [part for finding in rest for part in _cut(finding, measures.say)]
    while not sheets or left:
        usable = [box for box in order if box.bottom - box.top > 12]
        done = findings.fill([], usable, left, say=measures.say) if left else findings.Set((), "")
        sheets.append(_Sheet(done, with_pictures=not sheets))
        left = list(done.rest)
        order = _columns_of(trial, survey, layout, measures)
    return sheets
