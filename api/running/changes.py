"""What can be done for the rest of a crew's day, in words and money, and what is done of it."""

from __future__ import annotations

import datetime
from collections.abc import Mapping

import msgspec
from sqlmodel import Session, col, select

from api import tables
from api.falls.today import Days
from api.fields.items import item_name
from api.fields.shown import clock, crew_begins, crew_goes_on, day_name
from api.http.names import crew_called, crew_names
from api.http.problems import Problem
from api.languages import gettext, ngettext
from api.languages.core import refused_says
from api.rebooking.put_off import OtherDay, other_day
from api.running.ground import DayGround, day_ground
from api.weeksheet.names import JobLabel, jobs_by_id
from api.weeksheet.odds import PLAYS, SEED, time_doubts
from scheduler.price import RETIME_FROM_MIN
from scheduler.under_way.chances import promise_chances
from scheduler.under_way.frozen import never_met
from scheduler.under_way.ways import AT_RISK_MIN, DayCents, DayWay, TodayNow, go_on, ways

FIRST = 3  # ways that are shown without asking for more
MOST = 8


class WayLine(msgspec.Struct, frozen=True):
    """One way to go on, as people read it. Cents by kind are beside the day as posted; `later_cents` the other day's.

    `disturbed` says whom it disturbs, `van` what must change vans and where, `odds` how likely each promise still to be
    kept by the crews that it touches is kept within half an hour, in words. `total_cents` is None where nobody knows
    yet: a visit put off to a day that is to be found. `weighs` are the cents for promises, late or lost.
    """

    key: str
    kind: str
    title: str
    overtime_cents: int
    drive_cents: int
    lateness_cents: int
    lost_cents: int
    other_crew_cents: int
    later_cents: int | None
    total_cents: int | None
    weighs: int
    disturbed: tuple[str, ...]
    van: str
    odds: tuple[str, ...]


class Ways(msgspec.Struct, frozen=True):
    """What can be done for `crew`'s rest of the day: to go on and tell, and the other ways, the cheapest first.

    `seen` names the moment of all this: whoever takes a way hands it back. `fault` says why there is no other way,
    `stays` what is left as it is, and why.
    """

    crew: str
    name: str
    seen: int
    stay: WayLine | None
    ways: tuple[WayLine, ...]
    fault: str
    stays: tuple[str, ...] = ()


def ways_of(session: Session, days: Days, day: datetime.date, now: datetime.datetime, crew_id: str) -> Ways:
    """Return what can be done for the rest of a crew's day; answers 404 where the crew is not out today.

    To be asked before anything is written in `session`.
    """
    name, seen = crew_called(session, crew_id), newest_line(session)
    try:
        ground = day_ground(session, days, day, now, crew_id)
    except Problem as problem:
        if problem.status == 404:
            raise
        return Ways(crew_id, name, seen, None, (), refused_says(problem.detail))
    labels = jobs_by_id(session, [job.id for one in ground.crews.values() for job in one.plan.jobs], ())
    words = _Words(session, ground, labels, crew_id)
    lines = []
    for way in ways(ground.now, crew_id, most=MOST):
        other = other_day(session, ground.today, way.visit) if way.kind == "put off" else None
        lines.append(words.line(way, other))
    lines.sort(key=lambda line: (line.total_cents is None, line.total_cents or 0, line.key))
    fault = "" if lines else no_other_way(ground.now, crew_id, words.crews)
    stay = words.line(go_on(ground.now, crew_id), None)
    return Ways(crew_id, name, seen, stay, tuple(lines), fault, stays(session, ground, crew_id))


def no_other_way(now: TodayNow, crew_id: str, called: Mapping[str, str]) -> str:
    """Say why there is no other way for a crew: what is to be noted or put right first, of whom it meets too."""
    met = now.with_met(crew_id)
    for crew in (crew_id, *(other for other in met if other != crew_id)):
        if silent := [one.job for one in met[crew].day.visits if one.state == "passed by"]:
            words = gettext("{crew} noted nothing of {visits} and drove on: ask first, and note how it went.")
            return words.format(crew=called[crew], visits=", ".join(silent))
    calls = {(one.kind, one.job): one for each in met.values() for one in each.day.calls}
    for visit in never_met(now.week, met):
        own, lift = calls["visit", visit], calls["lift", visit]
        there = gettext("from {begun} on") if own.state == "there" else "{begun}–{ended}"
        words = gettext(
            "By what is noted the second crew was at {visit} {came}–{left} and its own crew {there}, never together: "
            "ask them, and have what is wrong taken back on the day sheet."
        )
        there = there.format(begun=clock(own.start), ended=clock(own.end))
        return words.format(visit=visit, came=clock(lift.start), left=clock(lift.end), there=there)
    return gettext("Nothing else that can still be changed keeps the rules.")


def stays(session: Session, ground: DayGround, crew_id: str) -> tuple[str, ...]:
    """Say what of the rest of a crew's day is not changed, and why: lifts of two crews, and what is in another load."""
    ahead = ground.now.crews[crew_id].calls_ahead
    called = crew_names(session)
    helped = [(stop.assist, name) for name, one in ground.crews.items() for stop in one.plan.route.stops if stop.assist]
    names = {visit: called[name] for visit, name in helped}
    found = []
    for call in ahead:
        if call.kind == "visit" and call.job in names:
            words = gettext("{visit} keeps its crew and its hour: {crew} comes for the lift.")
            found.append(words.format(visit=call.job, crew=crew_goes_on(names[call.job])))
    visits = [n for n, call in enumerate(ahead) if call.kind == "visit"]
    if any(call.kind == "load" and visits and visits[0] < n < visits[-1] for n, call in enumerate(ahead)):
        found.append(gettext("Visits of different loads do not change places: each needs its own on the van."))
    return tuple(found)


class _Words:
    """The names of a day, to put its ways into words."""

    def __init__(self, session: Session, ground: DayGround, labels: Mapping[str, JobLabel], crew_id: str) -> None:
        self.session, self.ground, self.labels, self.crew_id = session, ground, labels, crew_id
        self.crews = crew_names(session)

    def line(self, way: DayWay, other: OtherDay | None) -> WayLine:
        cents = way.cents
        later = None if way.kind == "put off" and other is None else 0 if other is None else other.cents
        return WayLine(
            key=way.key,
            kind=way.kind,
            title=self.title(way, other),
            overtime_cents=cents.overtime,
            drive_cents=cents.drive,
            lateness_cents=cents.lateness,
            lost_cents=cents.lost,
            other_crew_cents=cents.other_crew,
            later_cents=later,
            total_cents=None if later is None else cents.total + later,
            weighs=weighs(cents),
            disturbed=tuple(self.disturbed(way)),
            van=self.van(way),
            odds=tuple(self.odds(way)),
        )

    def odds(self, way: DayWay) -> list[str]:
        """Return for each promise that can still be kept by the crews of a way how likely it is, in words."""
        now = self.ground.now
        crew_of = {one.job: crew for crew, day in way.days.items() for one in day.visits}
        planned = {
            stop.job: (stop.end - stop.start, crew_of[stop.job])
            for one in now.crews.values() for stop in one.plan.route.stops if stop.job in crew_of
        }  # fmt: skip
        found = promise_chances(now, way, time_doubts(self.session, planned), plays=PLAYS, seed=SEED)
        return [f"{self.labels[visit].customer} {chance:.0%}" for visit, chance in found.items()]

    def name(self, visit: str) -> str:
        label = self.labels[visit]
        return f"{label.customer}, {label.town} ({visit})"

    def title(self, way: DayWay, other: OtherDay | None) -> str:
        if way.kind == "go on":
            return gettext("Go on as it is, and tell the customers")
        if way.kind == "swap":
            first = next(one.job for one in way.days[self.crew_id].visits if one.job in (way.visit, way.other))
            second = way.other if first == way.visit else way.visit
            return gettext("{visit} before {other}").format(visit=self.name(first), other=self.name(second))
        visit = self.name(way.visit)
        if way.kind == "hand over":
            at = next(one.start for one in way.days[way.crew].visits if one.job == way.visit)
            words = gettext("{crew} takes {visit}, at {time}")
            return words.format(crew=crew_begins(self.crews[way.crew]), visit=visit, time=clock(at))
        if other is None:
            words = gettext("Put {visit} off: no time is left this week, the next one is searched")
            return words.format(visit=visit)
        words, crew = gettext("Put {visit} off to {day}, {time}, {crew}"), self.crews[other.offer["crew"]]
        return words.format(visit=visit, day=day_name(other.date), time=clock(other.offer["start"]), crew=crew)

    def disturbed(self, way: DayWay) -> list[str]:
        """Return whose hour or crew becomes another one than they know of, and which other crew works longer."""
        promised, found = self.ground.now.promised, []
        if way.kind == "put off" and way.visit in promised:
            found.append(gettext("{customer}: another day").format(customer=self.labels[way.visit].customer))
        for crew, day in way.days.items():
            for one in day.visits:
                told, customer = promised.get(one.job), self.labels[one.job].customer
                if not one.in_window:
                    words = gettext("{customer}: at {time}, outside its work window")
                    found.append(words.format(customer=customer, time=clock(one.start)))
                if told is None or one.state in ("over", "there"):
                    continue
                late = one.start - told.start
                hour = abs(late) > RETIME_FROM_MIN or (told.hold == "firm" and late > AT_RISK_MIN)
                who = gettext("{crew} comes").format(crew=crew_goes_on(self.crews[crew])) if crew != told.crew else ""
                when = gettext("{time} becomes {later}") if hour else ""
                when = when.format(time=clock(told.start), later=clock(one.start))
                if who or when:
                    found.append(f"{customer}: {', '.join(w for w in (when, who) if w)}")
            before = self.ground.now.crews[crew].day.back
            if crew != self.crew_id and day.back != before:
                words = gettext("{crew}: back at {time}, not {before}")
                found.append(words.format(crew=self.crews[crew], time=clock(day.back), before=clock(before)))
        return found

    def van(self, way: DayWay) -> str:
        """Return what changes vans and where, in words; empty where nothing does."""
        if way.van is None:
            return ""
        boxes = way.van.boxes
        kit = ngettext("the kit ({n} box)", "the kit ({n} boxes)", boxes) if boxes else gettext("the kit")
        tools = (f"{count} × {item_name(item)}" for item, count in way.van.equipment.items())
        words = gettext("To take on: {things}, in the yard, about {time}.")
        if way.van.stop is not None:
            words = gettext("To take on: {things}, from {crew}'s van, they meet at {place}, about {time}.")
        return words.format(
            things=", ".join([kit.format(n=boxes), *tools]), crew=self.crews[self.crew_id],
            place="" if way.van.stop is None else self.name(way.van.stop), time=clock(way.van.at),
        )  # fmt: skip


def weighs(cents: DayCents) -> int:
    """Return what a way costs in promises, late or lost."""
    return cents.lateness + cents.lost


def newest_line(session: Session) -> int:
    """Return the number of the newest line of the history."""
    return session.exec(select(tables.History.id).order_by(col(tables.History.id).desc()).limit(1)).first() or 0


def changed_since(session: Session, seen: int, day: datetime.date, crews: set[str]) -> list[str]:
    """Return in words what has happened since the line `seen` of the history that changes the day of these crews."""
    rows = select(tables.History).where(col(tables.History.id) > seen).order_by(col(tables.History.id))
    found = []
    for row in session.exec(rows):
        detail = row.detail if isinstance(row.detail, dict) else {}
        if row.noun == "week" and row.did in ("posted", "withdrew"):
            found.append(f"{row.by} {row.did} the week")
        elif row.noun == "visit" and detail.get("crew") in crews:
            found.append(f"{row.by} noted “{row.did}” of {row.noun_id}")
        elif row.noun == "route" and row.noun_id in {f"{crew} {day}" for crew in crews}:
            found.append(f"{row.by} noted “{row.did}”")
    return found
