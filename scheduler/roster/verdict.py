"""The verdict on a roster: each broken rule in one sentence, which crews stay in the yard, and what is left undone."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

from scheduler.roster.seating import can
from scheduler.roster.seats import HALVES, Rides, RosterCase, Seat
from scheduler.week import crew_begins, crew_goes_on


@dataclass(frozen=True)
class RosterVerdict:
    """`broken`: rules that a roster may not break; `stays_in`: by seat why no pair goes out; `undone`: work by id."""

    broken: tuple[str, ...]
    stays_in: dict[Seat, str]
    undone: dict[str, str]


def verdict(case: RosterCase, rides: Rides) -> RosterVerdict:
    """Judge who rides with whom. Riders of a seat may be too few, or have no lead: then the crew stays in the yard."""
    broken = [*_each_seat(case, rides), *_one_van_each(case, rides), *_weekly(case, rides)]
    stays_in = {key: why for key in case.seats() if (why := stays_in_for(case, rides, key)) is not None}
    return RosterVerdict(tuple(broken), stays_in, _undone(case, rides, stays_in))


def stays_in_for(case: RosterCase, rides: Rides, key: Seat) -> str | None:
    """Return why nobody goes out in a crew's van that half day; None where a pair with a lead does."""
    crew, riders = case.crew(key[2]), [case.rider(who) for who in rides.get(key, ())]
    if len(riders) < len(crew.usual):
        gone = [
            f"{case.rider(who).name} {why}"
            for who in crew.usual
            if (why := case.absent(case.rider(who), *key[:2])) is not None
        ]
        there = f"only {riders[0].name} rides in it" if riders else "nobody rides in it"
        return "; ".join([*gone, there])
    if not any(rider.lead and not rider.learner for rider in riders):
        return (
            f"neither {' nor '.join(r.name for r in riders)} leads"
            if len(riders) > 1
            else f"{riders[0].name} does not lead"
        )
    return None


def _when(case: RosterCase, day: int, half: int) -> str:
    return f"{case.day_name(day)}, {HALVES[half]}"


def _each_seat(case: RosterCase, rides: Rides) -> list[str]:
    found = []
    for key, names in rides.items():
        crew, when = case.crew(key[2]), _when(case, *key[:2])
        riders = [case.rider(who) for who in names]
        if riders and key[:2] not in crew.minutes:
            why = crew.shut.get(key[0], "it has no hours then")
            found.append(f"{crew_begins(crew.name)} does not go out on {when}: {why}.")
        if len(riders) > len(crew.usual):
            listed = ", ".join(rider.name for rider in riders)
            room = f"{len(crew.usual)} people" if len(crew.usual) != 1 else "one"
            found.append(f"{len(riders)} ride with {crew.name} on {when} ({listed}), and it goes out with {room}.")
        for rider in riders:
            if rider.yard != crew.yard:
                found.append(f"{rider.name} is of {rider.yard}, and {crew_goes_on(crew.name)} starts from {crew.yard}.")
            if (gone := case.absent(rider, *key[:2])) is not None:
                found.append(f"{rider.name} {gone}, and rides with {crew.name} on {when}.")
            if (
                rider.learner
                and len(riders) > 1
                and not any(r.lead and r.experienced and not r.learner for r in riders)
            ):
                found.append(f"{rider.name} is learning, and on {when} nobody in {crew.name} is an experienced lead.")
    return found


def _one_van_each(case: RosterCase, rides: Rides) -> list[str]:
    crews: dict[tuple[int, int, str], list[str]] = defaultdict(list)
    for (day, half, crew_id), names in rides.items():
        for who in names:
            crews[day, half, who].append(case.crew(crew_id).name)
    return [
        f"{case.rider(who).name} rides with {' and '.join(names)} at once on {_when(case, day, half)}."
        for (day, half, who), names in crews.items()
        if len(names) > 1
    ]


def _weekly(case: RosterCase, rides: Rides) -> list[str]:
    hours: dict[tuple[str, int], int] = defaultdict(int)
    for (day, half, crew_id), names in rides.items():
        for who in names:
            hours[who, day // 7] += case.crew(crew_id).minutes.get((day, half), 0)
    found = []
    for (who, week), minutes in hours.items():
        most = case.rider(who).weekly_min
        if most is not None and minutes > most:
            monday = case.day_name(7 * week)
            hours_worked = f"works {minutes / 60:g} hours in the week of {monday}"
            found.append(f"{case.rider(who).name} {hours_worked}, and {most / 60:g} is the most.")
    return found


def _undone(case: RosterCase, rides: Rides, stays_in: dict[Seat, str]) -> dict[str, str]:
    """Return the work that its own crew cannot do with those who ride, and why."""
    found = {}
    for work in case.works:
        crew = case.crew(work.crew)
        for half in sorted(work.halves):
            if (why := stays_in.get((work.day, half, work.crew))) is not None:
                found[work.id] = (
                    f"{work.name}: {crew_goes_on(crew.name)} is in the yard on {_when(case, work.day, half)}: {why}."
                )
                break
        else:
            out = [
                rides[key] for half in range(2) if (key := (work.day, half, work.crew)) in rides and key not in stays_in
            ]
            missing = [
                skill
                for skill in sorted(work.skills)
                if not all(any(can(case, w, skill) for w in pair) for pair in out)
            ]
            if missing:
                names = " nor ".join(case.rider(who).name for who in dict.fromkeys(w for pair in out for w in pair))
                needs, day = f"{work.name} needs {missing[0].replace('-', ' ')}", case.day_name(work.day)
                found[work.id] = f"{needs}, and neither {names} can do that on {day}."
    return found
