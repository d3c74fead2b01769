"""What a roster weighs beside the work that it lets be done: pairs apart, changes of vans at noon, weekend turns."""

from __future__ import annotations

from scheduler.roster.seats import WEEKEND, Rides, RosterCase
from scheduler.roster.verdict import stays_in_for


def apart_cents(case: RosterCase, rides: Rides) -> int:
    """Return by how many cents `scheduler.roster.seating` holds these rides dearer than everybody in their own crew.

    Crews that stay in the yard weigh nothing here: what they leave undone is a plan's cost.
    """
    prices, cents = case.prices, 0
    out = {key: names for key, names in rides.items() if names and stays_in_for(case, rides, key) is None}
    for (day, half, crew_id), names in out.items():
        for who in names:
            home = case.home(who)
            if home is not None and home.id != crew_id and (day, half) in home.minutes:
                cents += prices.move_cents
            works_on = (day, 1) in case.crew(crew_id).minutes and case.absent(case.rider(who), day, 1) is None
            if half == 0 and works_on and who not in out.get((day, 1, crew_id), ()):
                cents += prices.midday_cents
    return cents + _weekends(case, out)


def _weekends(case: RosterCase, out: Rides) -> int:
    """Return what it weighs that somebody of each yard comes to have most weekend days."""
    cents = 0
    for yard in dict.fromkeys(crew.yard for crew in case.crews):
        days = {who: set[int]() for key, names in out.items() if case.crew(key[2]).yard == yard for who in names}
        for (day, _, crew_id), names in out.items():
            if day % 7 in WEEKEND and case.crew(crew_id).yard == yard:
                for who in names:
                    days[who].add(day)
        turns = [rider for rider in case.riders if rider.yard == yard]
        before = max((rider.turns for rider in turns), default=0)
        most = max((rider.turns + len(days.get(rider.id, ())) for rider in turns), default=0)
        cents += case.prices.weekend_cents * (most - before)
    return cents
