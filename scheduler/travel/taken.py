"""Fitting drive times to drives that crews made: a factor and a constant, with the error on drives held back."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated

import msgspec
import numpy as np
from msgspec import Meta

from scheduler.errors import BadInput

LEAST_DRIVES = 20
LEAST_FACTOR, MOST_FACTOR = 0.5, 2.0
MOST_MIN = 20.0  # of the constant: getting out of the yard and finding the door
_FOLDS = 5


class DriveFit(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A drive takes `factor` times what its source says and `constant_min` more.

    `error_min` and `error_before_min` are the middle errors in minutes on `held_back` drives, with the fit and without.
    """

    factor: Annotated[float, Meta(ge=LEAST_FACTOR, le=MOST_FACTOR)]
    constant_min: Annotated[float, Meta(ge=0, le=MOST_MIN)]
    drives: int
    held_back: int
    error_min: float
    error_before_min: float


def fit_drives(said_min: Sequence[float], took_min: Sequence[float]) -> DriveFit:
    """Return the line through drives as their source says them and as they were, in minutes, in a lasting order.

    The slope is the median of those between all pairs (Theil 1950, Sen 1968), which a third of odd drives does not
    turn, the constant the median of what is left. Every fifth drive is held back for the error. Raises `BadInput` for
    fewer than `LEAST_DRIVES` drives.
    """
    if len(said_min) < LEAST_DRIVES:
        raise BadInput("drives", f"needs at least {LEAST_DRIVES} drives, has {len(said_min)}")
    said, took = np.asarray(said_min, float), np.asarray(took_min, float)
    held = np.arange(len(said)) % _FOLDS == _FOLDS - 1
    factor, constant = _line(said[~held], took[~held])
    error = float(np.median(np.abs(took[held] - (factor * said[held] + constant))))
    before = float(np.median(np.abs(took[held] - said[held])))
    factor, constant = _line(said, took)
    return DriveFit(round(factor, 4), round(constant, 2), len(said), int(held.sum()), error, before)


def _line(said: np.ndarray, took: np.ndarray) -> tuple[float, float]:
    first, second = np.triu_indices(len(said), 1)
    apart = said[second] - said[first]
    wide = np.abs(apart) >= 1.0  # the slope between drives of one length says nothing
    slopes = (took[second] - took[first])[wide] / apart[wide]
    factor = float(np.clip(np.median(slopes), LEAST_FACTOR, MOST_FACTOR)) if slopes.size else 1.0
    constant = float(np.clip(np.median(took - factor * said), 0.0, MOST_MIN))
    if constant == 0.0:  # the line then goes through nothing: its slope is that of the middle drive
        driven = said > 0
        if driven.any():
            factor = float(np.clip(np.median(took[driven] / said[driven]), LEAST_FACTOR, MOST_FACTOR))
    return factor, constant
