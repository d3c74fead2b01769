"""How much longer or shorter a crew takes than the task times say: a robust factor, drawn towards none for few jobs."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

# How far crews lie apart, as a standard deviation of logarithms: one crew in three is more than a tenth off. Ours.
CREWS_APART = 0.1
_EVERY = 5


@dataclass(frozen=True, slots=True)
class CrewEffects:
    """Factors on the task times by crew, and what they do on every fifth job, which these factors had not seen.

    `error` and `error_before` are the middle relative errors with and without them; None where no job was held back.
    """

    factor: Mapping[str, float]
    error: float | None
    error_before: float | None


def crew_effects(crews: Sequence[str], said: Sequence[float], took: Sequence[float]) -> CrewEffects:
    """Return the effect of each crew on finished jobs: their crews, minutes `said` by the table, minutes they `took`.

    The median of a crew's log ratios, times the weight that such a median has against the prior that crews lie
    CREWS_APART around none (normal shrinkage; the variance of a median is π/2 of a mean's). The scatter of jobs is the
    same for all crews: 1.4826 times their median absolute deviation from their own crew's middle.
    """
    held = [n % _EVERY == _EVERY - 1 for n in range(len(crews))]
    seen = _effects([c for c, h in zip(crews, held, strict=True) if not h], said, took, [not h for h in held])
    errors = [
        (abs(t / (s * seen.get(c, 1.0)) - 1), abs(t / s - 1))
        for c, s, t, h in zip(crews, said, took, held, strict=True)
        if h
    ]
    error, before = (float(np.median([e[n] for e in errors])) if errors else None for n in (0, 1))
    return CrewEffects(_effects(crews, said, took, [True] * len(crews)), error, before)


def _effects(
    crews: Sequence[str], said: Sequence[float], took: Sequence[float], use: Sequence[bool]
) -> dict[str, float]:
    """Return the factors from the jobs to be used; crews are those of these jobs alone."""
    ratios = [math.log(t / max(s, 1.0)) for s, t, u in zip(said, took, use, strict=True) if u]
    by_crew: dict[str, list[float]] = defaultdict(list)
    for crew, ratio in zip(crews, ratios, strict=True):
        by_crew[crew].append(ratio)
    middles = {crew: float(np.median(of)) for crew, of in by_crew.items()}
    off = [abs(ratio - middles[crew]) for crew, of in by_crew.items() for ratio in of]
    scatter = max(1.4826 * float(np.median(off)), 0.05) if off else 0.0
    return {
        crew: math.exp(middles[crew] * CREWS_APART**2 / (CREWS_APART**2 + math.pi / 2 * scatter**2 / len(of)))
        for crew, of in sorted(by_crew.items())
    }
