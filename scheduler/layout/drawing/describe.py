"""The wall drawing in words, for people who cannot see it and for whoever reads it out over the phone."""

from __future__ import annotations

from scheduler.layout.documents import Layout, Survey
from scheduler.layout.drawing.bracket_view import pattern_words
from scheduler.layout.drawing.cautions import ranked
from scheduler.layout.drawing.facts import datum_words, fact_lines
from scheduler.layout.drawing.paper.measures import Measures, Units
from scheduler.layout.drawing.schedule import case_names, fastener_words
from scheduler.layout.drawing.side_view import opened
from scheduler.layout.drawing.title import GOES_FIRST
from scheduler.layout.drawing.wall.view import member_numbers, member_word, standing


def describe(survey: Survey, layout: Layout, *, units: Units = "imperial") -> list[str]:
    """Return what the wall drawing of `layout` shows, one fact a sentence, in the order in which one would work.

    Positions along the wall count from the survey's datum to the right, heights from the standing surface up.
    """
    measures = Measures(units)
    both = measures.both
    awning, place = survey.awning, survey.place
    bar_left = standing(survey, layout).bar_left
    lines = [f"Wall drawing of survey {survey.id}.", GOES_FIRST, datum_words(survey, measures)]
    arms = ", ".join(both(bar_left + arm) for arm in awning.arms)
    lines += [
        f"The wall is {survey.wall.kind.replace('-', ' ')}; its clear band runs from {both(survey.band.left)} to "
        f"{both(survey.band.right)} along the wall, {both(survey.band.bottom)} to {both(survey.band.top)} up.",
        f"The awning is {both(awning.width)} wide. Its left end is at {both(bar_left)} from the wall's zero, its right "
        f"end at {both(bar_left + awning.width)}{_shifted(bar_left - place.left_end, measures)}.",
        f"Its arms are at {arms} from the wall's zero.",
        f"Chalk line for the brackets' upper fasteners: {both(place.height)} above the standing surface.",
    ]
    it = opened(survey)
    lines.append(
        f"Open at a pitch of {it.pitch_deg:g} degrees the cloth is {both(it.projection)} long, drops {both(it.drop)} "
        f"and reaches {both(it.reach)} from the wall; "
        + (
            f"headroom under the {it.lowest} is {both(it.headroom)}{it.without}."
            if it.headroom > 0
            else "it leaves no headroom."
        )
    )
    if layout.brackets:
        lines.append(f"{len(layout.brackets)} brackets, numbered from the left; the width asks for {layout.required}.")
    else:
        lines.append(f"No brackets: nothing may be drilled. The width asks for {layout.required}.")
    numbers, word = member_numbers(survey), member_word(survey)
    cases = case_names(survey, layout)
    for number, (bracket, case) in enumerate(zip(layout.brackets, cases, strict=True), 1):
        wall, at = both(bracket.wall), both(bracket.at)
        text = f"Bracket {number}: {wall} from the wall's zero, {at} from the awning's left end"
        if bracket.member is not None:
            text += f", on {word} {numbers[bracket.member]} from the left"
        if bracket.arm is not None:
            text += f", outer bracket of arm {bracket.arm + 1}"
        if bracket.use is not None:
            text += f"; it takes {100 * bracket.use:.0f} % of its fasteners' allowable load"
            text += f" ({case})" if case else ""
        lines.append(f"{text}.")
    if layout.fastener and layout.brackets:
        lines.append(fastener_words(layout.fastener, measures, survey.wall.cover))
    lines += [*fact_lines(survey, measures), pattern_words(survey, measures)]
    for obstacle in survey.obstacles:
        lines.append(
            f"Obstacle: {obstacle.what}, {both(obstacle.left)} to {both(obstacle.right)} along the wall, "
            f"{both(obstacle.bottom)} to {both(obstacle.top)} up."
        )
    for number, door in enumerate(survey.doors, 1):
        called = f" {number}" if len(survey.doors) > 1 else ""
        swing = ", swings out" if door.swings_out else ""
        lines.append(
            f"Door{called}: {both(door.left)} to {both(door.right)} along the wall, {both(door.top)} high{swing}."
        )
    lines += [f"{finding.level.capitalize()}: {finding.text}" for finding in ranked(layout.findings)]
    if layout.tools:
        lines.append(f"Tools: {', '.join(layout.tools)}.")
    return lines


def _shifted(shift: float, measures: Measures) -> str:
    if abs(shift) < 0.05:
        return ""
    side = "right" if shift > 0 else "left"
    return f", moved {measures.both(abs(shift))} to the {side} of the wished place"
