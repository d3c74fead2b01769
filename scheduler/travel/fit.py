"""Fitting the estimate's constants to observed drives, and saying how far the estimate is off.

An observed drive is a great-circle distance, a road distance and minutes, from a road extract, a table service or a
van's own record. Only what the drives show is fitted: a speed class that too few of them reach keeps its assumption.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import msgspec
import numpy as np

from scheduler.errors import BadInput
from scheduler.travel.estimate import DEFAULT, Constants, SpeedClass, checked_constants, estimates
from scheduler.travel.interface import FloatTable

MIN_PAIRS = 30  # fewer drives than this do not move a constant
LAST_CLASS_KM = 20.0  # what counts as the length of the last class, which has no end
_SLOWEST_KMH, _FASTEST_KMH, _MOST_FACTOR = 5.0, 200.0, 3.0


@dataclass(frozen=True, eq=False)
class Drives:
    """Observed drives: three float arrays of one length; great-circle metres, road metres, minutes."""

    straight_m: FloatTable
    road_m: FloatTable
    minutes: FloatTable

    def __post_init__(self) -> None:
        for name in ("straight_m", "road_m", "minutes"):
            values: FloatTable = getattr(self, name)
            if values.ndim != 1 or values.shape != self.straight_m.shape:
                raise BadInput(name, "must be a list as long as the others")
            if not np.isfinite(values).all() or (values < 0).any():
                raise BadInput(name, "must hold finite numbers that are not negative")


class Spread(msgspec.Struct, frozen=True):
    """How estimates differ from observations over `pairs` drives, estimate minus observation; positive is too long."""

    pairs: int
    mean: float
    p05: float
    median: float
    p95: float
    mean_absolute: float
    share_short: float  # the estimate is shorter than the drive: the share of promises at risk


class Fit(msgspec.Struct, frozen=True):
    """Fitted constants, what each rests on, and the errors (minutes, percent of road metres) before and after."""

    constants: Constants
    evidence: tuple[str, ...]
    minutes_before: Spread
    minutes_after: Spread
    metres_percent_before: Spread
    metres_percent_after: Spread


def fitted(drives: Drives, base: Constants = DEFAULT) -> Fit:
    """Return `base` with all constants that `drives` speak for fitted to them.

    The road factor minimises the sum of absolute errors of the road metres (the median of road / great circle, weighted
    by great circle). Then the speeds minimise the squared errors of the minutes over the road metres that the estimate
    itself gives, none slower than the class before. Raises `BadInput` for fewer than `MIN_PAIRS` drives between
    different places.
    """
    apart = drives.straight_m > 0
    drives = Drives(drives.straight_m[apart], drives.road_m[apart], drives.minutes[apart])
    if len(drives.straight_m) < MIN_PAIRS:
        where = f"at least {MIN_PAIRS} drives between different places are needed, there are {len(drives.straight_m)}"
        raise BadInput("drives", where)
    checked_constants(base)
    ratio = _weighted_median(drives.road_m / drives.straight_m, drives.straight_m)
    factor = float(np.clip(ratio, 1.0, _MOST_FACTOR))
    evidence = [f"road factor {factor:.3f}: fitted to {len(drives.straight_m)} drives"]
    if factor != ratio:
        evidence[0] += f", whose own {ratio:.3f} lies outside 1 to {_MOST_FACTOR:.0f}"
    classes = _fitted_classes(drives, factor, base, evidence)
    constants = Constants(road_factor=round(factor, 4), classes=classes)
    old_m, old_min = estimates(drives.straight_m, base)
    new_m, new_min = estimates(drives.straight_m, constants)
    percent = 100 / np.maximum(drives.road_m, 1.0)
    return Fit(
        constants=constants,
        evidence=tuple(evidence),
        minutes_before=spread(old_min - drives.minutes),
        minutes_after=spread(new_min - drives.minutes),
        metres_percent_before=spread((old_m - drives.road_m) * percent),
        metres_percent_after=spread((new_m - drives.road_m) * percent),
    )


def spread(differences: FloatTable) -> Spread:
    """Return the distribution of `differences`, estimate minus observation (at least one)."""
    p05, median, p95 = (round(float(q), 3) for q in np.quantile(differences, [0.05, 0.5, 0.95]))
    return Spread(
        pairs=len(differences),
        mean=round(float(differences.mean()), 3),
        p05=p05,
        median=median,
        p95=p95,
        mean_absolute=round(float(np.abs(differences).mean()), 3),
        share_short=round(float((differences < 0).mean()), 4),
    )


def _fitted_classes(drives: Drives, factor: float, base: Constants, evidence: list[str]) -> tuple[SpeedClass, ...]:
    """Fit the classes that enough drives cross by half or more: a few hundred metres into a class say little of it."""
    road_km = factor * drives.straight_m / 1000
    starts = [c.from_km for c in base.classes]
    ends = [*starts[1:], starts[-1] + LAST_CLASS_KM]
    crossing = [int((road_km >= (s + e) / 2).sum()) for s, e in zip(starts, ends, strict=True)]
    count = sum(n >= MIN_PAIRS for n in crossing)  # they fall from class to class, so these are the first ones
    speeds: list[float] = []
    if count:
        last_km = ends[count - 1] if count < len(starts) else np.inf
        inside = road_km <= last_km  # the way beyond is driven at a speed that is not fitted here
        spans = list(zip(starts[:count], [*ends[: count - 1], np.inf], strict=True))
        parts_km = np.stack([np.clip(road_km[inside] - s, 0, e - s) for s, e in spans], axis=1)
        paces = _falling_paces(parts_km, drives.minutes[inside])
        speeds = [round(min(max(60 / pace, _SLOWEST_KMH), _FASTEST_KMH), 2) for pace in paces]
    classes: list[SpeedClass] = []
    for n, old in enumerate(base.classes):
        kmh = speeds[n] if n < count else max([old.kmh, *speeds])
        how = "fitted" if n < count else "assumed"
        evidence.append(
            f"{kmh:.1f} km/h from {old.from_km:g} km of road on: {how}; {crossing[n]} drives cross half of it"
        )
        if n >= count and kmh > old.kmh:
            evidence[-1] += f"; raised from {old.kmh:g}, speeds must not fall"
        classes.append(SpeedClass(old.from_km, kmh))
    return tuple(classes)


def _falling_paces(parts_km: FloatTable, minutes: FloatTable) -> list[float]:
    """Return minutes a kilometre for each class by least squares, none negative and none above the one before.

    With steps d ≥ 0 such that pace[k] = d[k] + d[k+1] + … this is least squares in steps that are not negative. There
    are few classes, so every choice of the steps that are not 0 is tried and the best admissible one kept: exact.
    """
    steps = np.cumsum(parts_km, axis=1)
    gram, target = steps.T @ steps, steps.T @ minutes
    size = len(gram)
    best, best_loss = np.zeros(size), 0.0
    for many in range(1, size + 1):
        for chosen in map(list, combinations(range(size), many)):
            part = np.linalg.lstsq(gram[np.ix_(chosen, chosen)], target[chosen], rcond=None)[0]
            loss = float(part @ gram[np.ix_(chosen, chosen)] @ part - 2 * part @ target[chosen])
            if (part >= 0).all() and loss < best_loss:
                best, best_loss = np.zeros(size), loss
                best[chosen] = part
    paces = np.cumsum(best[::-1])[::-1]
    return [max(float(p), 60 / _FASTEST_KMH) for p in paces]


def _weighted_median(values: FloatTable, weights: FloatTable) -> float:
    order = np.argsort(values, kind="stable")
    share = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(share, share[-1] / 2)])
