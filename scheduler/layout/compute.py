"""From a survey to its layout: placement, loads, fasteners, clearances, and what the job needs, in one call."""

from __future__ import annotations

import re
from collections.abc import Iterator

import msgspec
from msgspec import UNSET

from scheduler.layout.documents import CONTINUOUS, Bracket, Finding, Layout, Survey
from scheduler.layout.placement.backing import missing_findings
from scheduler.layout.placement.brackets import place_brackets
from scheduler.layout.site.clearance import clearance_findings
from scheduler.layout.site.ladders import ladders_for
from scheduler.layout.site.lifting import hands_and_lift
from scheduler.layout.site.tools import tools_for
from scheduler.layout.statics.fasteners import FastenerChoice, choose_fastener
from scheduler.layout.statics.loads import bracket_loads, load_findings

_LEVELS = ("stop", "caution", "note")


def lay_out(survey: Survey, at_least: int = 0) -> Layout:
    """Return what the crew drills for `survey`, with every finding: stops first, then cautions, then notes.

    `at_least` is the number of brackets that the manufacturer's list asks for, 0 where it asks for none. Without a
    layout `brackets` is empty, `spread` and `fastener` are None, and a `stop` says what is missing. Never raises for a
    survey that `documents.checked` accepts; the same survey always gives the same layout.
    """
    placement = place_brackets(survey, at_least)
    spots = placement.spots
    held = FastenerChoice(None, (), ())
    if spots:
        cases = bracket_loads(survey, [spot.at for spot in spots])
        held = choose_fastener(survey, cases, at=[spot.wall for spot in spots])
    awning, height = survey.awning, survey.place.height
    lift = hands_and_lift(awning.weight_kg, height, awning.width)
    ladders = ladders_for(height, landing=not survey.is_second)
    findings = [
        *missing_findings(survey, placement),
        *clearance_findings(survey, placement),
        *held.findings,
        *(load_findings(survey) if spots else ()),
        *lift.findings,
        *ladders.findings,
        *_members_unused(survey),
    ]
    if not survey.is_second:
        findings = [msgspec.structs.replace(finding, text=_without_zero(finding.text)) for finding in findings]
    brackets = (
        Bracket(spot.at, spot.wall, spot.member, spot.arm, load.tension_n, load.shear_n, load.use)
        for spot, load in zip(spots, held.brackets, strict=True)
    )
    return Layout(
        format="layout/2" if survey.is_second else "layout/1",
        survey=survey.id,
        shift=placement.shift or 0.0,
        required=placement.required,
        brackets=tuple(brackets),
        spread=placement.spread,
        fastener=held.fastener,
        findings=tuple(sorted(findings, key=lambda finding: _LEVELS.index(finding.level))),
        tools=tuple(str(tool) for tool in tools_for(survey, held.fastener)),
        members=held.members if survey.is_second else UNSET,
    )


def _without_zero(text: str) -> str:
    """Return lengths as layouts of first surveys are kept for ever: 5' 13/16" for 5' 0 13/16", which came later."""
    return re.sub(r"(\d') 0 (\d+/\d+\")", r"\1 \2", text)


def _members_unused(survey: Survey) -> Iterator[Finding]:
    if survey.wall.kind in CONTINUOUS and survey.wall.members:
        text = (
            f"{survey.wall.kind} is taken to carry anywhere: the {len(survey.wall.members)} members of the survey are"
            " not used."
        )
        yield Finding("note", "members-unused", text)
