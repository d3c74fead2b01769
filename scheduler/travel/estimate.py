"""Travel times without any data of roads: great-circle distance, a road factor, and speeds by distance class.

road distance = `road_factor` × great-circle distance. The drive is paid out class by class, like a tax: the first
kilometres of road at the first class's speed, the next at the second's, and so on. So a longer drive never takes less
time, and as speeds rise from class to class a detour through a third place never looks quicker than the direct way.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated

import msgspec
import numpy as np
from msgspec import Meta

from scheduler.errors import BadInput
from scheduler.travel.interface import FloatTable, Matrices, Point, checked_points, rounded

EARTH_RADIUS_M = 6_371_008.8  # mean radius R1 of the IUGG (GRS 80); a sphere is within 0.56 % of the ellipsoid


class SpeedClass(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """From `from_km` kilometres of road on (until the next class begins) the drive goes at `kmh`."""

    from_km: Annotated[float, Meta(ge=0, le=20_000)]
    kmh: Annotated[float, Meta(ge=5, le=200)]


class Constants(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """The estimate's numbers: metres of road for each metre of great circle, and the speed classes in order."""

    road_factor: Annotated[float, Meta(ge=1, le=3)]
    classes: Annotated[tuple[SpeedClass, ...], Meta(min_length=1, max_length=8)]


# Assumptions of ours, none fitted. Road factor: published ratios of road to straight-line distance run from about 1.2
# (Newell 1980, random points of a town; as cited by others) to 1.417 (Boscoe, Henry and Zdeb 2012, to hospitals in the
# United States; from memory), and 1.4 is near the upper one. Speeds: a loaded van on residential streets with junctions
# (first 2 km, the two ends of the drive together), town streets (to 10 km), rural and arterial roads (to 40 km),
# highways with their feeders (beyond). Evidence there is for the first class alone: in a real city centre of 1 × 1.7 km
# routed drives gave 23 km/h and a factor of 1.6, there 71 % of drives took longer than estimated (by 0.7 min on
# average). Its edge cuts ways off, and 1.7 km say nothing of longer drives, so neither number was taken over: the other
# speeds and the factor stay assumptions until `fit.fitted` has seen a business's own roads.
DEFAULT = Constants(
    road_factor=1.4,
    classes=(SpeedClass(0, 25), SpeedClass(2, 40), SpeedClass(10, 60), SpeedClass(40, 80)),
)


def matrices(points: Sequence[Point], *, constants: Constants = DEFAULT, slowdown: float = 1.0) -> Matrices:
    """Return estimated travel between all `points`, symmetric, in their order.

    points: (latitude, longitude) in degrees; any number, none included. slowdown: factor on all minutes before they are
    rounded up (`slowdown.week_factor` gives one). Places that coincide are 0 minutes apart, and
    places a metre or more apart at least 1. Raises `BadInput` for a coordinate out of range and for constants whose
    classes are out of order.
    """
    metres, minutes = estimates(great_circle_m(points), constants)
    return rounded(slowdown * minutes, metres)


def great_circle_m(points: Sequence[Point]) -> FloatTable:
    """Return the n × n great-circle distances in metres: haversine on the sphere of `EARTH_RADIUS_M`."""
    lat, lon = np.radians(checked_points(points)).T
    half = np.sin((lat[:, None] - lat) / 2) ** 2
    half += np.cos(lat)[:, None] * np.cos(lat) * np.sin((lon[:, None] - lon) / 2) ** 2
    return np.asarray(2 * EARTH_RADIUS_M * np.arcsin(np.sqrt(np.minimum(half, 1.0))))


def estimates(straight_m: FloatTable, constants: Constants) -> tuple[FloatTable, FloatTable]:
    """Return (road metres, minutes), not rounded, for great-circle distances in metres of any shape."""
    checked_constants(constants)
    road_m = constants.road_factor * straight_m
    minutes = np.zeros_like(road_m)
    ends_km = [c.from_km for c in constants.classes[1:]] + [np.inf]
    for speed, end_km in zip(constants.classes, ends_km, strict=True):
        part_m = np.clip(road_m - 1000 * speed.from_km, 0, 1000 * (end_km - speed.from_km))
        minutes += part_m * (60 / (1000 * speed.kmh))
    return road_m, minutes


def checked_constants(constants: Constants) -> Constants:
    """Return `constants` where the first class begins at 0 and the others rise; raises `BadInput` otherwise."""
    starts = [c.from_km for c in constants.classes]
    if not starts or starts[0] != 0:
        raise BadInput("classes[0].from_km", "must be 0: the first class begins with the drive")
    for n in range(1, len(starts)):
        if starts[n] <= starts[n - 1]:
            raise BadInput(f"classes[{n}].from_km", f"must be more than {starts[n - 1]}, is {starts[n]}")
    return constants
