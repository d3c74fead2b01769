"""Why those ride together who usually do not, and why a crew stays in the yard: a sentence for each half day."""

from __future__ import annotations

from collections import defaultdict

from scheduler.roster.seating import Seated, can
from scheduler.roster.seats import HALVES, Rider, Rides, RosterCase, Seat
from scheduler.roster.verdict import stays_in_for
from scheduler.week import crew_begins


def reasons(case: RosterCase, seated: Seated) -> dict[Seat, str]:
    """Return the reason of each seat that is not as usual, as (day, half, crew) → sentence."""
    riding: dict[tuple[int, int], dict[str, str]] = defaultdict(dict)
    for (day, half, crew_id), names in seated.rides.items():
        riding[day, half] |= dict.fromkeys(names, crew_id)
    found = {}
    for key in case.seats():
        there = riding[key[:2]]
        if key not in seated.rides:
            found[key] = _stays_in(case, seated.rides, there, key)
        elif set(seated.rides[key]) != set(case.crew(key[2]).usual):
            found[key] = _other_pair(case, seated, there, key)
    return found


def changed(case: RosterCase, rides: Rides) -> list[Seat]:
    """Return the seats in which others ride than usual, or nobody."""
    return [key for key in case.seats() if set(rides.get(key, ())) != set(case.crew(key[2]).usual)]


def _gone(case: RosterCase, there: dict[str, str], key: Seat) -> list[str]:
    """Return for each usual rider who is not in this crew where they are instead."""
    words = []
    for who in case.crew(key[2]).usual:
        rider, crew = case.rider(who), there.get(who)
        if (why := case.absent(rider, *key[:2])) is not None:
            words.append(f"{rider.name} {why}")
        elif crew is not None and crew != key[2]:
            words.append(f"{rider.name} rides with {case.crew(crew).name}")
    return words


def _stays_in(case: RosterCase, rides: Rides, there: dict[str, str], key: Seat) -> str:
    crew = case.crew(key[2])
    free = [
        rider
        for rider in case.riders
        if rider.yard == crew.yard and rider.id not in there and case.absent(rider, *key[:2]) is None
    ]
    gone = _gone(case, there, key) or [stays_in_for(case, rides, key) or "nobody rides in it"]
    leads = [rider for rider in free if rider.lead and not rider.learner]
    if not leads:
        why = "nobody else who leads is free"
    elif len(free) < len(crew.usual):
        why = f"nobody is free to ride with {leads[0].name}"
    else:
        why = f"{_names(free)} could not go out within their hours, or as a learner with an experienced lead"
    day, half = case.day_name(key[0]), HALVES[key[1]]
    return f"{crew_begins(crew.name)} is in the yard on {day}, {half}: {', '.join(gone)}, and {why}."


def _other_pair(case: RosterCase, seated: Seated, there: dict[str, str], key: Seat) -> str:
    crew, riders = case.crew(key[2]), [case.rider(who) for who in seated.rides[key]]
    lead, rest = riders[0], riders[1:]
    new = [rider for rider in riders if rider.id not in crew.usual]
    gone = _gone(case, there, key)
    words = (
        f"{_names(rest)} {'ride' if len(rest) > 1 else 'rides'} with {lead.name}, who leads"
        if rest
        else f"{lead.name} leads"
    )
    kept = _kept(case, seated, key, new)
    set_by_hand = any(case.fixed.get((key[0], key[1], rider.id)) == crew.id for rider in riders)
    if kept:
        words += f"; it keeps {kept}"
    elif set_by_hand:
        words += "; put there by hand"
    return f"{', '.join(gone)}: {words}." if gone else f"{words[0].upper()}{words[1:]}."


def _kept(case: RosterCase, seated: Seated, key: Seat, new: list[Rider]) -> str:
    """Return the work that this crew does that day only because of those who are not usually in it."""
    day, half, crew_id = key
    all_day = seated.rides.get((day, 1 - half, crew_id)) == seated.rides[key]
    mine = [w for w in case.works if seated.done.get(w.id) == crew_id and w.day == day]
    mine = [w for w in mine if all_day or half in w.halves]
    stay = [who for who in seated.rides[key] if who in case.crew(crew_id).usual]
    skilled = [w for w in mine if any(not any(can(case, who, skill) for who in stay) for skill in w.skills)]
    by_skill = [w for w in skilled if any(can(case, r.id, skill) for r in new for skill in w.skills)]
    if by_skill:
        return _some([f"{w.name} ({', '.join(sorted(w.skills)).replace('-', ' ')})" for w in by_skill])
    return _some([w.name for w in mine])


def _some(names: list[str]) -> str:
    return " and ".join(names) if len(names) <= 2 else f"{names[0]} and {len(names) - 1} more jobs"


def _names(riders: list[Rider]) -> str:
    names = [rider.name for rider in riders]
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
