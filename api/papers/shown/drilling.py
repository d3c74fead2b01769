"""The drill schedule of a job in words, as phone, paper and packet show it."""

from __future__ import annotations

from dataclasses import dataclass

import msgspec

from api.languages import gettext, to_say
from api.languages.core import core_says
from api.papers.shown.job_page import JobPage
from scheduler.layout.documents import Finding
from scheduler.layout.drawing.paper.measures import Measures
from scheduler.layout.drawing.schedule import case_names, hole
from scheduler.layout.drawing.wall.view import member_numbers, member_word

_NONE = to_say("none: do not drill")


@dataclass(frozen=True)
class Hole:
    """A line of the drill schedule, lengths in words."""

    number: int
    from_datum: str
    from_bar: str
    on: str
    serves: str
    pilot: str
    deep: str
    use: str


def holes(found: JobPage, measures: Measures) -> list[Hole]:
    """Return the drill schedule, brackets from left to right."""
    survey, layout = found.job.survey, found.job.layout
    if survey is None or layout is None or layout.fastener is None:
        return []
    numbers, word = member_numbers(survey), member_word(survey)
    pilot, deep = hole(layout.fastener, measures, survey.wall.cover) or (gettext(_NONE), gettext(_NONE))
    lines = []
    for n, (bracket, case) in enumerate(zip(layout.brackets, case_names(survey, layout), strict=True), 1):
        share = gettext("unknown") if bracket.use is None else f"{100 * bracket.use:.0f} %"
        lines.append(
            Hole(
                number=n,
                from_datum=measures.both(bracket.wall),
                from_bar=measures.both(bracket.at),
                on=gettext("wall") if bracket.member is None else f"{core_says(word)} {numbers[bracket.member]}",
                serves=gettext("inner") if bracket.arm is None else gettext("arm {n}").format(n=bracket.arm + 1),
                pilot=pilot,
                deep=deep,
                use=f"{share}, {core_says(case)}" if case and not case_of(found) else share,
            )
        )
    return lines


def case_of(found: JobPage) -> str:
    """Return the load case that asks most of every bracket, empty where they differ: then each names its own."""
    survey, layout = found.job.survey, found.job.layout
    names = set(case_names(survey, layout)) if survey is not None and layout is not None else set()
    return (names.pop() or "") if len(names) == 1 else ""


def said_finding(found: Finding) -> Finding:
    """Return a finding in the language spoken."""
    return msgspec.structs.replace(found, text=core_says(found.text))
