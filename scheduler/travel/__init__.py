"""Travel times: one small interface for estimates, a local road extract and table services."""

from scheduler.travel.estimate import DEFAULT, Constants, SpeedClass, great_circle_m, matrices
from scheduler.travel.interface import Matrices, Point, TravelTimes
from scheduler.travel.slowdown import Slowdowns, week_factor

__all__ = [
    "DEFAULT",
    "Constants",
    "Matrices",
    "Point",
    "Slowdowns",
    "SpeedClass",
    "TravelTimes",
    "great_circle_m",
    "matrices",
    "week_factor",
]
