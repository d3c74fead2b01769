"""The world of a played season: what happens, drawn from a seed alone, so that two seasons meet the same."""

from __future__ import annotations

import datetime
import math
import random
from dataclasses import dataclass

STORM, SICK, BROKEN, CALL = 0.10, 0.05, 0.12, 0.25  # chances: a day; a crew's day; a day; a day
LATE, NOBODY, MISSING = 0.15, 0.02, 0.05  # a crew's morning; a visit; an install
BREAKDOWN, ROUGH = 0.03, 0.10  # a crew's day; a calm day that looks rough some days before
CALM, UNSURE, STORMY = "calm", "unsure", "storm"
GUSTS = {
    UNSURE: ["6.0", "8.5"],
    STORMY: ["15.0", "25.0"],
}  # wind and gusts in m/s; installs end at 11, from tall ladders at 9
SCATTER = 0.18  # of the logarithm of a visit's time: one in five takes 16 % longer than usual, or more


@dataclass(frozen=True)
class World:
    """Chance by what it is asked about: the same question has the same answer, whatever was asked before."""

    seed: int

    def chance(self, *about: object) -> random.Random:
        """Return the dice of one thing."""
        return random.Random(f"{self.seed} {about}")

    def storm(self, date: datetime.date) -> bool:
        """Say whether a storm keeps everybody off ladders that day; forecasts know it the day before."""
        return self.chance("storm", date).random() < STORM

    def sick(self, crew: str, date: datetime.date) -> bool:
        """Say whether the crew's lead is ill that day, which is known in the morning."""
        return self.chance("sick", crew, date).random() < SICK

    def broken(self, date: datetime.date) -> random.Random | None:
        """Return dice to choose the ladder or tool that breaks that morning, None where none does."""
        dice = self.chance("broken", date)
        return dice if dice.random() < BROKEN else None

    def call(self, date: datetime.date) -> random.Random | None:
        """Return dice to choose the customer who calls that morning for another day, None where nobody does."""
        dice = self.chance("call", date)
        return dice if dice.random() < CALL else None

    def late_min(self, crew: str, date: datetime.date) -> int:
        """Return by how many minutes the crew leaves the yard late."""
        dice = self.chance("late", crew, date)
        return dice.randrange(40, 130) if dice.random() < LATE else dice.randrange(0, 8)

    def breakdown(self, crew: str, date: datetime.date) -> int | None:
        """Return the minute from which on the crew's van does not start any more that day, None where it does."""
        dice = self.chance("breakdown", crew, date)
        return dice.randrange(9 * 60, 14 * 60) if dice.random() < BREAKDOWN else None

    def looks(self, date: datetime.date, ahead: int) -> str:
        """Return how a forecast has a day that is so many days ahead: known the day before, in doubt until then."""
        if ahead < 2:
            return STORMY if self.storm(date) else CALM
        return UNSURE if self.storm(date) or self.chance("rough", date).random() < ROUGH else CALM

    def takes(self, visit: str, planned_min: int) -> int:
        """Return how long a visit really takes."""
        return max(5, round(planned_min * math.exp(self.chance("takes", visit).gauss(-0.1, SCATTER))))

    def nobody_home(self, visit: str, date: datetime.date) -> bool:
        """Say whether nobody opens the gate that day."""
        return self.chance("home", visit, date).random() < NOBODY

    def missing(self, visit: str) -> bool:
        """Say whether a part of the crate turns out to be missing on site."""
        return self.chance("missing", visit).random() < MISSING


def forecast_csv(pattern: str, first: datetime.date, looks: dict[datetime.date, str], days: int = 7) -> str:
    """Return a forecast from the calm hours of `pattern` (a forecast file's first day), other days as they look."""
    head, *lines = pattern.splitlines()
    gust = head.split(",").index("gust_mps")
    by_hour = {line[11:13]: line.split(",") for line in lines[:24]}
    made = [head]
    for n in range(24 * days):
        at = datetime.datetime.combine(first, datetime.time(), datetime.UTC) + datetime.timedelta(hours=n)
        cells = list(by_hour[f"{at:%H}"])
        cells[0] = f"{at:%Y-%m-%dT%H:%MZ}"
        cells[gust - 1 : gust + 1] = GUSTS.get(
            looks.get((at - datetime.timedelta(hours=5)).date(), CALM), cells[gust - 1 : gust + 1]
        )
        made.append(",".join(cells))
    return "\n".join(made) + "\n"
