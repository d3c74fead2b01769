"""How a bracket's load is split among its fasteners, by its bolt pattern where the survey has one.

With a pattern the bracket is a stiff plate that turns about its bearing edge: pressed down about the lower one, lifted
about the upper one, as far above the upper fasteners as the lower edge lies below the lowest. Each fastener's share of
the couple grows with its distance from that edge (statics of every handbook: pull = moment × y / Σ y²); a pull straight
out and the load along the wall are shared alike.
"""

from __future__ import annotations

from itertools import combinations

from scheduler.layout.measured import Awning, BoltHole
from scheduler.layout.statics.loads import BracketForce, on_one_fastener


def worst_fastener(awning: Awning, force: BracketForce) -> tuple[float, float]:
    """Return pull and shear, N, of the fastener of a bracket that pulls most under `force` on the whole bracket."""
    if not isinstance(awning.holes, tuple):
        return on_one_fastener(force.tension_n, force.shear_n, awning.bolts)
    levers = levers_mm(awning, pressed_down=force.moment_nm >= 0)
    couple = abs(force.moment_nm) * 1000 * max(levers) / sum(y * y for y in levers)
    return couple + max(force.pull_n, 0.0) / len(levers), abs(force.shear_n) / len(levers)


def levers_mm(awning: Awning, *, pressed_down: bool) -> list[float]:
    """Return each hole's distance from the edge about which the bracket turns, in the order of the pattern."""
    holes: tuple[BoltHole, ...] = awning.holes if isinstance(awning.holes, tuple) else ()
    if pressed_down:
        return [awning.bracket_lever - hole.down for hole in holes]
    below = awning.bracket_lever - max(hole.down for hole in holes)
    return [below + hole.down for hole in holes]


def widest_across(awning: Awning) -> float:
    """Return how far off the bracket's middle its outermost hole is, mm; 0 without a pattern."""
    return max(abs(hole.across) for hole in awning.holes) if isinstance(awning.holes, tuple) else 0.0


def least_spacing(awning: Awning) -> float | None:
    """Return the least distance between two holes of a bracket, mm; None with a single one or without a pattern."""
    if not isinstance(awning.holes, tuple):
        return None
    pairs = combinations(awning.holes, 2)
    return min((((a.across - b.across) ** 2 + (a.down - b.down) ** 2) ** 0.5 for a, b in pairs), default=None)


def height_of(awning: Awning) -> float:
    """Return how far the lowest hole is below the upper ones, mm; 0 without a pattern."""
    return max(hole.down for hole in awning.holes) if isinstance(awning.holes, tuple) else 0.0
