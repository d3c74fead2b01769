"""What slow hours of the day do to a planned crew day, in words."""

from __future__ import annotations

from collections.abc import Sequence

from api.fields.shown import clock
from api.languages import gettext
from scheduler.travel.by_hour import DriveAtHour

LATE_FROM_MIN = 5  # fewer are made up on the way


def slow_words(stops: int, drives: Sequence[DriveAtHour]) -> tuple[str, ...]:
    """Return a sentence for each drive that takes longer than planned and makes the crew late by that.

    `drives` are those of a day of so many `stops` at their hours, the one home last. In the language spoken.
    """
    said = []
    for number, drive in enumerate(drives, 1):
        if drive.longer_min > 0 and drive.adds_min > 0 and drive.late_min >= LATE_FROM_MIN:
            values = {"clock": clock(drive.leaves), "longer": drive.longer_min, "late": drive.late_min, "stop": number}
            text = gettext(
                "The drive at {clock} takes {longer} min longer than planned: {late} min late at stop {stop}."
            )
            if number > stops:
                text = gettext(
                    "The drive at {clock} takes {longer} min longer than planned: {late} min late back in the yard."
                )
            said.append(text.format(**values))
    return tuple(said)
