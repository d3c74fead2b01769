"""The roster as its page shows it: people down, days across, and what is not as usual with its reason."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

from sqlmodel import Session, select

from api import tables
from api.fields.shown import day_name
from api.roster.ground import RosterGround, ground_of, standing
from scheduler.roster.seats import HALVES, Rides
from scheduler.roster.verdict import RosterVerdict, verdict
from scheduler.week import crew_begins

WEEKS = 2  # on one page


@dataclass(frozen=True)
class HalfPlace:
    """Where somebody is for a half day: with a crew ("" none) or away; `out`: that crew goes out then."""

    crew: str
    words: str
    changed: bool
    out: bool


@dataclass(frozen=True)
class DayCell:
    """Somebody's day: one place where both halves are the same, else two."""

    date: datetime.date
    places: tuple[HalfPlace, ...]
    by_hand: bool
    past: bool


@dataclass(frozen=True)
class PersonRow:
    """Somebody with their days."""

    id: str
    name: str
    what: str
    cells: tuple[DayCell, ...]


@dataclass(frozen=True)
class NotAsUsual:
    """A crew that rides otherwise than usual, or not at all, on a day, in a half of it or all day."""

    date: datetime.date
    crew: str
    words: str
    stays_in: bool


@dataclass(frozen=True)
class RosterShown:
    """Two weeks of the roster: yards with their people, and what is to be said of these days; `version` by date."""

    monday: datetime.date
    mondays: tuple[datetime.date, ...]
    dates: tuple[datetime.date, ...]
    yards: tuple[tuple[str, tuple[PersonRow, ...]], ...]
    not_as_usual: tuple[NotAsUsual, ...]
    broken: tuple[str, ...]
    version: dict[datetime.date, int]
    crews: tuple[tuple[str, str], ...]
    today: datetime.date


def roster_shown(session: Session, now: datetime.datetime, monday: datetime.date | None) -> RosterShown:
    """Return two weeks of the roster from the week of `monday` on, None: from the week under way on."""
    ground = ground_of(session, now)
    case, rides = ground.case, standing(session, ground)
    judged = verdict(case, rides)
    first = 0 if monday is None else max(0, min(case.days - 7 * WEEKS, 7 * ((monday - case.start_date).days // 7)))
    days = [day for day in ground.days() if first <= day < first + 7 * WEEKS]
    yards = {row.id: row.name for row in session.exec(select(tables.Yard))}
    rows: dict[str, list[PersonRow]] = {}
    for rider in sorted(case.riders, key=lambda r: (_place(ground, r.id), r.name)):
        cells = tuple(_cell(ground, judged, rides, rider.id, day) for day in days)
        home = case.home(rider.id)
        what = "lead" if rider.lead else "learner" if rider.learner else "helper"
        what = f"{what}, {home.name}" if home is not None else what
        rows.setdefault(rider.yard, []).append(PersonRow(rider.id, rider.name, what, cells))
    return RosterShown(
        monday=ground.date(first),
        mondays=tuple(ground.date(day) for day in range(0, case.days, 7)),
        dates=tuple(ground.date(day) for day in days),
        yards=tuple((yards.get(yard, yard), tuple(people)) for yard, people in rows.items()),
        not_as_usual=tuple(_not_as_usual(ground, judged, rides, days)),
        broken=judged.broken,
        version={ground.date(day): row.version for day in days if (row := ground.rows.get(ground.date(day)))},
        crews=tuple((crew.id, crew.name) for crew in case.crews),
        today=ground.date(ground.today),
    )


def _place(ground: RosterGround, rider_id: str) -> tuple[int, int]:
    """Return where somebody stands in the list: by their crew, the lead first; who has none at the end."""
    home = ground.case.home(rider_id)
    crews = [crew.id for crew in ground.case.crews]
    return (len(crews), 0) if home is None else (crews.index(home.id), home.usual.index(rider_id))


def _cell(ground: RosterGround, judged: RosterVerdict, rides: Rides, rider_id: str, day: int) -> DayCell:
    case, rider = ground.case, ground.case.rider(rider_id)
    home, row = case.home(rider_id), ground.rows.get(ground.date(day))
    found = []
    for half in range(2):
        why = case.absent(rider, day, half)
        crew = next((key[2] for key, names in rides.items() if key[:2] == (day, half) and rider_id in names), "")
        usual = home.id if home is not None and (day, half) in home.minutes else ""
        if (day, half) in rider.away:
            found.append(HalfPlace("", rider.away[day, half] or "away", False, False))
        elif crew:
            out = (day, half, crew) not in judged.stays_in
            found.append(HalfPlace(crew, case.crew(crew).name, crew != usual, out))
        else:
            found.append(HalfPlace("", "" if why or not usual else "no crew", bool(usual) and not why, False))
    places = tuple(found[:1] if found[0] == found[1] else found)
    fixed = row is not None and any(rider_id in people for people in row.fixed.values())
    return DayCell(ground.date(day), places, fixed, day < ground.today)


def _not_as_usual(ground: RosterGround, judged: RosterVerdict, rides: Rides, days: list[int]) -> list[NotAsUsual]:
    found = []
    for day in days:
        row = ground.rows.get(ground.date(day))
        because = row.because if row is not None else {}
        for crew in ground.case.crews:
            told: list[tuple[str, bool]] = []
            for half in range(2):
                key = (day, half, crew.id)
                if (day, half) not in crew.minutes:
                    continue
                stays = key in judged.stays_in
                other = set(rides.get(key, ())) != set(crew.usual)
                if not stays and not other:
                    continue
                why = because.get(crew.id, {}).get(str(half), "")
                when = f"{crew_begins(crew.name)} is in the yard on {day_name(ground.date(day))}, {HALVES[half]}"
                told.append((why or f"{when}: {judged.stays_in.get(key, '')}.", stays))
            if len(told) == 2 and _all_day(told[0][0]) == _all_day(told[1][0]):
                told = [(_all_day(told[0][0]), told[0][1])]
            found += [NotAsUsual(ground.date(day), crew.name, words, stays) for words, stays in told]
    return found


def _all_day(words: str) -> str:
    """Return what is said of half a day as it is said of the whole."""
    return words.replace(f", {HALVES[0]}: ", ": ").replace(f", {HALVES[1]}: ", ": ")
