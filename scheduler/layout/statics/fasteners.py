"""What holds a bracket: lag screws in wood by the NDS, anchors in masonry by their own report and nothing else."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

from scheduler.layout.documents import MASONRY, WOOD, Anchor, Awning, Fastener, Finding, MemberUse, Survey
from scheduler.layout.statics import nds
from scheduler.layout.statics.anchors import anchor_fastener, anchor_findings
from scheduler.layout.statics.lag import (
    STOCKED_IN,
    Grip,
    fitting_lags,
    force,
    lag_allowable_lbf,
    lag_fastener,
    lag_findings,
    screw_use,
)  # fmt: skip
from scheduler.layout.statics.loads import BracketForce, BracketUse, LoadCase, pulling_fasteners
from scheduler.layout.statics.member import bored_in, longest_overhang_mm, member_uses
from scheduler.layout.statics.pattern import worst_fastener
from scheduler.layout.statics.wood import wood_findings
from scheduler.units import both

_DUST = 1e-9


@dataclass(frozen=True)
class FastenerChoice:
    """What holds the brackets (None: nothing can be named), the use of each bracket in order, and what to say of it.

    `members` is the use of the wood behind each bracket, empty where it is not checked.
    """

    fastener: Fastener | None
    brackets: tuple[BracketUse, ...]
    findings: tuple[Finding, ...]
    members: tuple[MemberUse, ...] = ()


def choose_fastener(
    survey: Survey,
    cases: Sequence[LoadCase],
    stocked_in: Mapping[float, Sequence[float]] = STOCKED_IN,
    at: Sequence[float] = (),
) -> FastenerChoice:
    """Return what holds every bracket in every case of `loads.bracket_loads`, with its use and findings.

    In wood: of the stocked lag screws (`stocked_in`: lengths by diameter, inches, diameters in the order of preference)
    the first diameter of which a length carries all cases with a use of at most 1, in its shortest such length; if none
    does, the one with the least use and a `stop`. In masonry: the survey's anchor, else a `stop`; `at` says where the
    brackets are from the datum, for its distance to openings. A wall that carries nothing gets no fastener, and its
    stop elsewhere. Raises `KeyError` for a diameter that the NDS
    tables here do not have.
    """
    kind = survey.wall.kind
    if kind in WOOD:
        choice = _lag_screws(survey, cases, stocked_in)
    elif kind in MASONRY and survey.anchor is not None:
        choice = _anchored(survey, cases, survey.anchor, at)
    else:
        findings = (_no_anchor(survey),) if kind in MASONRY else ()
        choice = FastenerChoice(None, tuple(_largest_pull(cases)), findings)
    return replace(choice, findings=(*choice.findings, _shown_cases(choice.brackets)))


def anchor_interaction(
    tension: float, tension_allowed: float, shear: float, shear_allowed: float, power: float
) -> float:
    """Return (T/Ta)^power + (V/Va)^power, which must be at most 1.

    Power 5/3 is that of cast-in bolts (IBC 2012, Eq. 19-1); 1, the straight line, is never the milder one.
    """
    return math.pow(tension / tension_allowed, power) + math.pow(shear / shear_allowed, power)


def _lag_screws(
    survey: Survey, cases: Sequence[LoadCase], stocked_in: Mapping[float, Sequence[float]]
) -> FastenerChoice:
    gravity = survey.wall.wood_gravity or 0.0
    if not nds.LEAST_GRAVITY <= gravity <= nds.MOST_GRAVITY:
        text = (
            f"The wood's specific gravity, {gravity:g}, is outside {nds.LEAST_GRAVITY:g} to {nds.MOST_GRAVITY:g}, for"
            " which the NDS has values: find out the species (spruce-pine-fir 0.42, Douglas fir-larch 0.50)."
        )
        return FastenerChoice(None, tuple(_largest_pull(cases)), (Finding("stop", "gravity", text),))
    best: tuple[float, Grip, list[BracketUse]] | None = None
    for held in fitting_lags(survey, stocked_in):
        allowable = {duration: lag_allowable_lbf(held, survey, duration) for duration in nds.DURATION}
        uses = _hardest(cases, partial(_lag_case_use, survey.awning, allowable))
        worst = max(found.use or 0.0 for found in uses)
        if best is None or worst <= 1 or worst < best[0] - _DUST:
            best = worst, held, uses
        if worst <= 1:
            break
    if best is None:
        wall = survey.wall
        text = (
            f"No stocked lag screw gets a hold of {nds.MIN_PENETRATION_D:g} diameters in this member through a cover of"
            f" {both(wall.cover)}, with room to its edges: take a longer screw, open the cover, or put in blocking."
        )
        return FastenerChoice(None, tuple(_largest_pull(cases)), (Finding("stop", "no-fastener", text),))
    worst, held, uses = best
    fastener = lag_fastener(held, survey)
    findings = list(lag_findings(survey, held, fastener, uses, worst))
    if not survey.is_second:
        return FastenerChoice(fastener, tuple(uses), tuple(findings))
    bored = bored_in(fastener, survey.wall.cover)
    members = member_uses(survey, cases, bored)
    findings += wood_findings(survey, held, longest_overhang_mm(survey, cases, bored), uses, members)
    return FastenerChoice(fastener, tuple(uses), tuple(findings), members)


def _anchored(survey: Survey, cases: Sequence[LoadCase], anchor: Anchor, at: Sequence[float]) -> FastenerChoice:
    bolts = survey.awning.bolts
    pulling = pulling_fasteners(bolts)

    def use(case: LoadCase, force: BracketForce) -> float:
        tension, shear = worst_fastener(survey.awning, force)
        return anchor_interaction(tension, anchor.tension_n, shear, anchor.shear_n, 1.0)

    uses = _hardest(cases, use)
    if survey.is_second:
        told = tuple(anchor_findings(survey, anchor, uses, at))
        return FastenerChoice(anchor_fastener(anchor, bolts), tuple(uses), told)
    place = max(range(len(uses)), key=lambda n: uses[n].use or 0.0)
    hard = uses[place]
    findings = [
        Finding(
            "caution",
            "anchor",
            f"{anchor.name}: bracket {place + 1} takes most, {force(hard.tension_n)} out of the wall and"
            f" {force(hard.shear_n)} along it in the case {hard.case}, {hard.use:.2f} of the allowable loads of"
            f" {anchor.source} (straight-line interaction; {pulling} of {bolts} anchors are taken to pull). Embedment,"
            " edge distance, spacing, base material, hole, cleaning and torque: as that report has them, check each.",
        )
    ]
    if (hard.use or 0.0) > 1:
        text = (
            f"{anchor.name} would take {hard.use:.2f} times its allowable load at bracket {place + 1} ({hard.case}):"
            " more anchors or brackets, another anchor with its report, or a design by an engineer is needed."
        )
        findings.append(Finding("stop", "overloaded", text))
    if survey.wall.kind == "hollow-block":
        text = (
            "A hollow block has about 1-1/4 in of solid face shell: the anchor's report must be for hollow units (or"
            " for grouted cells, and the cells grouted)."
        )
        findings.append(Finding("caution", "hollow-block", text))
    fastener = Fastener(anchor.name, None, None, None, None, None, bolts)
    return FastenerChoice(fastener, tuple(uses), tuple(findings))


def _shown_cases(brackets: Sequence[BracketUse]) -> Finding:
    """Name the load case that each bracket's numbers belong to."""
    by_case: dict[str, list[str]] = {}
    for n, found in enumerate(brackets, start=1):
        by_case.setdefault(found.case, []).append(str(n))
    told = [f"{case} (bracket{'s'[: len(those) > 1]} {', '.join(those)})" for case, those in by_case.items()]
    text = (
        f"Loads shown at a bracket are those of its hardest case: {'; '.join(told)}. Tension is the pull on the"
        " bracket's pulling row of fasteners together, shear the load down or up along the wall."
    )
    return Finding("note", "load-case", text)


def _no_anchor(survey: Survey) -> Finding:
    if survey.is_second:
        text = (
            f"No anchor is entered for this wall of {survey.wall.kind.replace('-', ' ')}: enter its name, allowable"
            " tension and shear, hole, depth, embedment, edge distance, spacing and torque from its maker's evaluation"
            " report; until then nothing may be drilled (there is no general value: IBC 1908.1)."
        )
        return Finding("stop", "anchor-report", text)
    text = (
        f"No allowable load is known for an anchor in {survey.wall.kind}: enter the anchor's name, its allowable"
        " tension and shear, and the evaluation report that they come from. There is no general value for anchors set"
        " in finished masonry or concrete (IBC 1908.1)."
    )
    return Finding("stop", "anchor-report", text)


def _lag_case_use(
    awning: Awning, allowable_lbf: Mapping[str, tuple[float, float]], case: LoadCase, force: BracketForce
) -> float:
    return screw_use(*worst_fastener(awning, force), allowable_lbf[case.duration])


def _hardest(cases: Sequence[LoadCase], use: Callable[[LoadCase, BracketForce], float]) -> list[BracketUse]:
    """The case with the largest use at each bracket."""
    found: list[BracketUse] = []
    for n in range(len(cases[0].brackets)):
        share, case = max(((use(c, c.brackets[n]), c) for c in cases), key=lambda pair: pair[0])
        force = case.brackets[n]
        found.append(BracketUse(force.tension_n, abs(force.shear_n), share, case.name))
    return found


def _largest_pull(cases: Sequence[LoadCase]) -> Iterator[BracketUse]:
    for n in range(len(cases[0].brackets)):
        case = max(cases, key=lambda c: c.brackets[n].tension_n)
        yield BracketUse(case.brackets[n].tension_n, abs(case.brackets[n].shear_n), None, case.name)
