"""How a job and its assist meet, and the starts of both that are yet to be tried."""

from __future__ import annotations

from dataclasses import dataclass

from scheduler.engine.model.starts import Half


@dataclass(frozen=True)
class Meets:
    """One way in which an assist and its job meet: minutes from start to start, and when the assist can begin.

    `pause`: whether the job's crew rests within the job, before or after the assist.
    """

    pause: bool
    least: int
    most: int
    first: int
    last: int


@dataclass(frozen=True)
class StartsToTry:
    """Starts of job and assist yet to be tried at a place of route k each; `second` -1: at the best of any route."""

    half: Half
    k: int
    place: int
    meets: Meets
    second: int
    at: int
    starts: tuple[int, int]
    begins: tuple[int, int]
