"""Changes of the roster: filled by the solver, set by hand with the verdict at once, and taken back."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, col, select

from api import tables
from api.http import versions
from api.http.problems import Problem
from api.ledger.history import note
from api.roster.ground import RosterGround, ground_of, standing
from scheduler.errors import BadInput
from scheduler.roster.seating import Seated, in_order
from scheduler.roster.seats import HALVES, Rides
from scheduler.roster.told import reasons
from scheduler.roster.verdict import verdict
from scheduler.week import crew_begins

NOTHING: Mapping[str, int] = {}


@dataclass(frozen=True)
class TriedPlace:
    """What a change by hand would do: rules that it breaks, and in sentences what else follows from it."""

    broken: tuple[str, ...]
    follows: tuple[str, ...]
    words: str


@dataclass(frozen=True)
class RosterPlace:
    """Where somebody is to ride: with `crew` ("": nobody) on `day` in `halves`; `instead` of whom, who then trades."""

    person: str
    crew: str
    day: datetime.date
    halves: tuple[int, ...]
    instead: str = ""


class RosterChangedMeanwhileError(Exception):
    """Somebody else has changed a day of the roster since it was read: what was begun is to be taken back."""


def keep_filled(session: Session, ground: RosterGround, seated: Seated, now: datetime.datetime, by: str) -> None:
    """Keep a roster that the solver has made of `ground`; raises `RosterChangedMeanwhileError`."""
    because = reasons(ground.case, seated)
    before, after = {}, {}
    for day in ground.days():
        if day < ground.today:
            continue
        old = ground.rows.get(ground.date(day))
        made = _day(ground, day, seated.rides, because, {} if old is None else old.fixed)
        wanted = made if made["because"] or made["fixed"] else None
        if wanted == _content(old):
            continue
        name = ground.date(day).isoformat()
        before[name], after[name] = _content(old), wanted
    _write(session, ground.rows, after)
    words = f"filled the roster: {_count(len(after), 'day')} anew"
    figures = {"cents": seated.cents, "bound": seated.bound, "seen": ground.seen}
    _note(session, "filled", words, before, after, now, by, figures)


def try_by_hand(session: Session, place: RosterPlace, now: datetime.datetime) -> tuple[TriedPlace, RosterGround, Rides]:
    """Return what putting somebody somewhere would do; raises `BadInput` naming the field that cannot stand."""
    ground = ground_of(session, now)
    case, day = ground.case, (place.day - ground.case.start_date).days
    people = {rider.id: rider for rider in case.riders}
    if place.person not in people:
        raise BadInput("person", f'nobody who rides with a crew has the id "{place.person}"')
    if place.crew and place.crew not in ground.crews:
        raise BadInput("crew", f'no crew has the id "{place.crew}"')
    if not ground.today <= day < case.days:
        first, last = ground.date(ground.today), ground.date(case.days - 1)
        raise BadInput("day", f"must be a day from {first} to {last}, is {place.day}")
    if place.instead and place.instead not in people:
        raise BadInput("instead", f'nobody who rides with a crew has the id "{place.instead}"')
    now_rides = standing(session, ground)
    rides = dict(now_rides)
    place = _in_its_hours(ground, place, day)
    for half in place.halves:
        was = _crew_of(rides, day, half, place.person)
        _move(ground, rides, (day, half), place.person, place.crew)
        if place.instead:
            _move(ground, rides, (day, half), place.instead, was)
    old, new = verdict(case, now_rides), verdict(case, rides)
    broken = tuple(rule for rule in new.broken if rule not in old.broken)
    closed = [
        f"{crew_begins(case.crew(key[2]).name)} is in the yard on {case.day_name(key[0])}, {HALVES[key[1]]}: {why}."
        for key, why in new.stays_in.items()
        if key not in old.stays_in
    ]
    opened = [
        f"{case.crew(key[2]).name} goes out on {case.day_name(key[0])}, {HALVES[key[1]]}."
        for key in old.stays_in
        if key not in new.stays_in
    ]
    undone = [why for work, why in new.undone.items() if work not in old.undone]
    where = f"with {case.crew(place.crew).name}" if place.crew else "with nobody"
    part = "" if len(place.halves) == 2 else f", {HALVES[place.halves[0]]}"
    words = f"{people[place.person].name} {where} on {case.day_name(day)}{part}"
    if place.instead:
        words += f", in place of {people[place.instead].name}"
    return TriedPlace(broken, (*closed, *undone, *opened), words), ground, rides


def put_by_hand(session: Session, place: RosterPlace, version: int, now: datetime.datetime, by: str) -> TriedPlace:
    """Put somebody with a crew; `version` is that of the day as it was read, 0 where the roster did not have it.

    `Problem` 409 where a rule would be broken (`breaks-rule`, `rules`), 412 where the day has been changed since.
    """
    tried, ground, rides = try_by_hand(session, place, now)
    old = ground.rows.get(place.day)
    if version != (0 if old is None else old.version):
        raise _changed(place, old)
    if tried.broken:
        raise Problem(409, " ".join(tried.broken), kind="breaks-rule", rules=list(tried.broken))
    fixed = {half: dict(people) for half, people in (old.fixed if old is not None else {}).items()}
    day = (place.day - ground.case.start_date).days
    for half in _in_its_hours(ground, place, day).halves:
        for who in (place.person, place.instead):
            if who:
                fixed.setdefault(str(half), {})[who] = _crew_of(rides, day, half, who)
    case = replace(
        ground.case, fixed={(day, int(h), w): crew for h, names in fixed.items() for w, crew in names.items()}
    )
    stays = verdict(case, rides).stays_in
    out = {key: names for key, names in rides.items() if key not in stays and key[0] == day}
    because = reasons(case, Seated(out, {w.id: w.crew for w in case.works}, 0, 0))
    name = place.day.isoformat()
    after = {name: _day(ground, day, rides, because, fixed)}
    try:
        _write(session, ground.rows, after)
    except RosterChangedMeanwhileError:
        raise _changed(place, old) from None
    _note(session, "by hand", f"put {tried.words}", {name: _content(old)}, after, now, by)
    return tried


def undo(session: Session, change: tables.RosterChange, now: datetime.datetime, by: str) -> None:
    """Take a change back; `Problem` 409 where it has been taken back, or one of its days was changed since."""
    if change.undone:
        raise Problem(409, "It has been taken back already.", kind="changed-meanwhile")
    dates = [datetime.date.fromisoformat(name) for name in change.after]
    found = {date: row for date in dates if (row := session.get(tables.RosterDay, date)) is not None}
    for name, made in change.after.items():
        if _content(found.get(datetime.date.fromisoformat(name))) != made:
            raise Problem(409, f"{name} has been changed since: take that back first.", kind="changed-meanwhile")
    try:
        if not versions.update(session, change, {"undone": True}):
            raise RosterChangedMeanwhileError
        _write(session, found, change.before)
    except RosterChangedMeanwhileError:
        detail = "Somebody else has changed the roster at this moment: look again."
        raise Problem(409, detail, kind="changed-meanwhile") from None
    note(session, now, by, f"took back: {change.words}", "roster", str(change.id), {})


def changes(session: Session, most: int = 12) -> list[tables.RosterChange]:
    """Return the last changes, the newest first."""
    row = tables.RosterChange
    return list(session.exec(select(row).order_by(col(row.id).desc()).limit(most)).all())


def _in_its_hours(ground: RosterGround, place: RosterPlace, day: int) -> RosterPlace:
    """Return the place in those of its halves in which the crew works, where it works in any of them."""
    minutes = ground.case.crew(place.crew).minutes if place.crew else {}
    return replace(place, halves=tuple(half for half in place.halves if (day, half) in minutes) or place.halves)


def _crew_of(rides: Rides, day: int, half: int, who: str) -> str:
    return next((key[2] for key, names in rides.items() if key[:2] == (day, half) and who in names), "")


def _move(ground: RosterGround, rides: Rides, at: tuple[int, int], who: str, crew: str) -> None:
    """Put somebody into a crew at a half day, "" into none; they leave the one in which they are."""
    for key in [key for key, names in rides.items() if key[:2] == at and who in names]:
        rides[key] = tuple(name for name in rides[key] if name != who)
    if crew:
        key = (*at, crew)
        rides[key] = in_order(ground.case, crew, (*rides.get(key, ()), who))


def _day(
    ground: RosterGround, day: int, rides: Rides, because: Mapping[tuple[int, int, str], str], fixed: Mapping[str, Any]
) -> dict[str, Any]:
    crews = [crew for crew in ground.case.crews if any((day, half) in crew.minutes for half in range(2))]
    words: dict[str, dict[str, str]] = {}
    for (of, half, crew_id), why in because.items():
        if of == day:
            words.setdefault(crew_id, {})[str(half)] = why
    pairs = {crew.id: [list(rides.get((day, half, crew.id), ())) for half in range(2)] for crew in crews}
    return {"rides": pairs, "because": words, "fixed": dict(fixed)}


def _content(row: tables.RosterDay | None) -> dict[str, Any] | None:
    return None if row is None else {"rides": row.rides, "because": row.because, "fixed": row.fixed}


def _write(
    session: Session, rows: Mapping[datetime.date, tables.RosterDay], wanted: Mapping[str, dict[str, Any] | None]
) -> None:
    """Make these days so; raises `RosterChangedMeanwhileError` where one is no longer in its version of `rows`."""
    for name, content in wanted.items():
        date = datetime.date.fromisoformat(name)
        known, row = rows.get(date), session.get(tables.RosterDay, date)
        if (known is None) != (row is None) or (row is not None and known is not None and row.version != known.version):
            raise RosterChangedMeanwhileError
        held = True
        if row is not None:
            held = versions.delete(session, row) if content is None else versions.update(session, row, content)
        elif content is not None:
            session.add(tables.RosterDay(day=date, **content))
            try:
                session.flush()
            except IntegrityError:  # another has made this day at the same moment
                held = False
        if not held:
            raise RosterChangedMeanwhileError


def _note(
    session: Session, how: str, words: str, before: dict[str, Any], after: dict[str, Any], now: datetime.datetime,
    by: str, figures: Mapping[str, int] = NOTHING,
) -> None:  # fmt: skip
    row = tables.RosterChange(
        made_at=now, made_by=by, how=how, words=words, before=before, after=after,
        cents=figures.get("cents"), bound=figures.get("bound"), seen=figures.get("seen"),
    )  # fmt: skip
    session.add(row)
    session.flush()
    note(session, now, by, words, "roster", str(row.id), {"days": sorted(after)[:6]})


def _changed(place: RosterPlace, row: tables.RosterDay | None) -> Problem:
    version = 0 if row is None else row.version
    current = {"version": version, "rides": {} if row is None else row.rides}
    sent = {"person": place.person, "crew": place.crew, "halves": [HALVES[half] for half in place.halves]}
    return versions.changed(version, current, sent)


def _count(number: int, thing: str) -> str:
    return f"{number} {thing}{'' if number == 1 else 's'}"
