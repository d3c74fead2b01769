"""The chances that the promises of a running day are kept, by each way in which it can go on.

A visit that goes on, or is being driven to, may take longer than it is expected to; what is over stands as it is noted.
"""

from __future__ import annotations

import numpy as np

from scheduler.price import outings
from scheduler.reports.odds import LATE_MIN, Doubts, play_day
from scheduler.under_way.frozen import frozen_week, route_in
from scheduler.under_way.ways import DayWay, TodayNow


def promise_chances(today: TodayNow, way: DayWay, doubts: Doubts, *, plays: int, seed: int) -> dict[str, float]:
    """Return for each promised visit still to begin the chance that it is begun half an hour late at most, and done.

    Of the crews that `way` touches, in the order of their days. doubts: of the visits by the crew that does them in
    this way; the same `seed` gives the same.
    """
    touched = {crew: today.crews[crew] for crew in way.days}
    week, _ = frozen_week(today.week, today.day, touched)
    routes = [route_in(week, today.day, crew, today.crews[crew], day) for crew, day in way.days.items()]
    found: dict[str, float] = {}
    for outing in outings(week, tuple(route for route in routes if route is not None)):
        chance = np.random.default_rng(seed)
        expected = {one.job: one for one in way.days[outing.route.crew].visits}
        begun = {
            one.job: one.end if one.state == "over" else None
            for one in expected.values() if one.state in ("over", "there", "on the way")
        }  # fmt: skip
        day = play_day(week.rest, outing, doubts, chance.random(plays), chance, begun, today.now)
        for (stop, _), begins, done in zip(outing.stops, day.begun, day.done, strict=True):
            told = today.promised.get(stop.job)
            if told is not None and told.day == today.day and stop.job not in begun:
                found[stop.job] = float((done & (begins <= told.start + LATE_MIN)).mean())
    return found
