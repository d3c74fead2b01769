"""A season played day by day: crews work and tap, the world interferes, the office reacts (or the wires are cut)."""

from __future__ import annotations

import datetime
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sqlmodel import col, select

from api import tables
from api.database import transaction
from api.fields.rules import rules_from_data
from api.fields.shown import clock
from api.ledger.told import window_told
from tests.steps import CHECKS
from tests.wires.agree import nobody_lost, pages_agree, posted_documents
from tests.wires.doors import Doors, moment
from tests.wires.office import Office
from tests.wires.world import STORMY, World, forecast_csv

MONDAY = datetime.date(2027, 4, 12)
FORECAST = Path(__file__).parents[2] / "seeds" / "demo" / "forecast.csv"
EVENING, LAST_MIN = 18 * 60, 19 * 60 + 30
IN_TIME_MIN = 30
HOME_MIN = 25  # the drive home, on which a visit may still be given to a crew
LOOK_MIN = 15


def _in_time(begun: int, told: int, hold: str) -> bool:
    """Say whether the crew came as the customer's message said: at a minute, or between two."""
    early, late = (told - IN_TIME_MIN, told + IN_TIME_MIN) if hold == "firm" else window_told(told)
    return early <= begun <= late


@dataclass
class Tally:
    """What came of a season: visits, promises as they were first told for their week, and money."""

    days: int = 0
    done: int = 0
    lost: int = 0
    kept: int = 0
    moved: int = 0
    silent: list[str] = field(default_factory=list)
    cents: int = 0
    happened: Counter[str] = field(default_factory=Counter)


@dataclass
class CrewOut:
    """A crew on its day: which visit it is driving to or at, or home, and when it taps next; whether its van stands."""

    name: str
    at: int
    visit: str = ""
    here: bool = False
    homeward: bool = False
    left: int = -1
    done_at: int = 0
    stands: bool = False


class Season:
    """One season on one service.

    wired: whether anybody hears of what happens, and does something about it. thorough: whether every page is read
    after each tap too, not only after what the world does and at the end of the day. look_min: how often the office
    looks at the page of today, when nothing makes it look sooner.
    """

    def __init__(
        self, doors: Doors, world: World, *, wired: bool, thorough: bool = True, look_min: int = LOOK_MIN
    ) -> None:
        self.doors, self.world, self.wired, self.thorough, self.look_min = doors, world, wired, thorough, look_min
        self.office, self.tally = Office(doors), Tally()
        self.promised: dict[str, tuple[datetime.date, int, str]] = {}
        self.began: dict[str, tuple[datetime.date, int]] = {}
        self.broken: dict[datetime.date, str] = {}

    def begin(self) -> None:
        """Set the forecasts to come by file, and have the first week's customers told."""
        read = self.doors.manager.get("/settings/forecast")
        values = {"values": {"kind": "file", "address": "", "contact": ""}}
        answer = self.doors.manager.put("/settings/forecast", json=values, headers={"If-Match": read.headers["etag"]})
        assert answer.status_code == 200, answer.text
        self.office.tell()
        self._promises(MONDAY)

    def week(self, monday: datetime.date, new: int, seconds: float) -> None:
        """Take new work in, plan the week that comes, post it, and tell everybody."""
        self.doors.set_clock(monday - datetime.timedelta(days=2), 12 * 60)
        sites = sorted(one["id"] for one in self.doors.get("/sites", limit=200)["items"])
        dice = self.world.chance("new", monday)
        for _ in range(new):
            kind = dice.choice(["repair", "repair", "survey"])
            fault = "arm squeaks" if kind == "repair" else ""
            self.doors.send("/visits", {"kind": kind, "site_id": dice.choice(sites), "fault": fault})
        self._forecast(monday - datetime.timedelta(days=1))
        self.doors.plan(monday, seconds)
        nobody_lost(self.doors, monday)
        self.office.tell()
        self._promises(monday)

    def day(self, date: datetime.date) -> None:
        """Play one day."""
        monday = date - datetime.timedelta(days=date.weekday())
        self.morning(date)
        self._work(date, monday)
        self.tally.days += 1
        if self.wired:
            self.office.react()
            pages_agree(self.doors, monday)
        self._judge(date)

    def morning(self, date: datetime.date) -> None:
        """Have happen what happens before the crews leave, and the office deal with it."""
        monday = date - datetime.timedelta(days=date.weekday())
        self.doors.set_clock(date, 5 * 60)
        if self.wired:
            self._forecast(date)
            self._happened("forecast", monday)
        if (dice := self.world.broken(date)) is not None:
            pieces = sorted((one["id"], one["kind"]) for one in self.doors.get("/equipment", limit=200)["items"])
            piece, kind = dice.choice(pieces)
            self.broken[date] = kind
            self.tally.happened["broken"] += 1
            if self.wired:
                span = {"first": date.isoformat(), "last": date.isoformat(), "why": "rung bent"}
                before = self.doors.get(f"/equipment/{piece}")["out_of_service"]
                self.doors.change(f"/equipment/{piece}", out_of_service=[*before, span])
                self._happened("", monday)
        for crew in self.doors.get("/crews", limit=200)["items"]:
            if self.world.sick(crew["id"], date):
                self.tally.happened["sick"] += 1
                if self.wired:
                    span = {"first": date.isoformat(), "last": date.isoformat(), "why": "ill"}
                    before = self.doors.get(f"/people/{crew['lead_id']}")["days_off"]
                    self.doors.change(f"/people/{crew['lead_id']}", days_off=[*before, span])
                    self._happened("", monday)
        if (dice := self.world.call(date)) is not None and date.weekday() < 5:
            _, plan = posted_documents(self.doors, monday)
            offset = (date - monday).days
            names = sorted(stop.job for route in plan.routes if route.day > offset for stop in route.stops)
            if names:
                self.tally.happened["call"] += 1
                if self.wired:
                    self.office.call(dice.choice(names), date + datetime.timedelta(days=2))
                    pages_agree(self.doors, monday)

    def _happened(self, what: str, monday: datetime.date) -> None:
        """Look at every page right after something happened, have the office react, and look again."""
        if what:
            self.tally.happened[what] += 1
        pages_agree(self.doors, monday)
        self.office.react()
        pages_agree(self.doors, monday)

    def _forecast(self, date: datetime.date) -> None:
        days = {n: date + datetime.timedelta(days=n) for n in range(7)}
        looks = {day: self.world.looks(day, n) for n, day in days.items()}
        self.tally.happened["storm"] += looks[date] == STORMY
        self.doors.drop_forecast(forecast_csv(FORECAST.read_text("utf-8"), date, looks))

    def _work(self, date: datetime.date, monday: datetime.date) -> None:
        _, plan = posted_documents(self.doors, monday)
        offset = (date - monday).days
        routes = [route for route in plan.routes if route.day == offset]
        crews = [CrewOut(route.crew, route.depart + self.world.late_min(route.crew, date)) for route in routes]
        looked = min((route.depart for route in routes), default=0)  # a crew that should have left may not have
        while crews:
            crew = min(crews, key=lambda one: (one.at, one.name))
            while self.wired and looked + self.look_min < crew.at:
                looked += self.look_min
                self.doors.set_clock(date, looked)
                self.office.look_at_today()
            self.doors.set_clock(date, crew.at)
            if not self._step(crew, date, monday):
                crews.remove(crew)
                self._paid(crew, date, monday)

    def _step(self, crew: CrewOut, date: datetime.date, monday: datetime.date) -> bool:
        """Have a crew do what it does next; say whether its day goes on."""
        state = self.doors.get(f"/crews/{crew.name}/days/{date}/state")
        left = [one["visit"] for one in state["stops"] if one["visit"] not in state["results"]]
        if not crew.visit:
            if not left:
                return self._homeward(crew, date)
            if not crew.stands and self._breaks_down(crew, date):
                crew.stands = True
                self._van_stands(crew, date, monday)
                return True
            crew.visit, crew.homeward = left[0], False
            if crew.at > LAST_MIN or crew.stands or self.world.sick(crew.name, date):
                why = "crew ill" if self.world.sick(crew.name, date) else "ran out of time"
                why = "the van does not start" if crew.stands else why
                self._not_done(crew, date, why)
                return True
            if crew.left < 0:
                crew.left = crew.at
                self.doors.tap(crew.name, date, "out", overruled_by="Played", overruled_why="Loading is not played.")
            self.doors.tap(crew.name, date, "times", visit=crew.visit, what="on_way")
            if self.wired:
                self.office.look_at_today()  # the page of today is live: who leaves late is seen to do so
            state = self.doors.get(f"/crews/{crew.name}/days/{date}/state")
            crew.at = max(crew.at + 2, state["expected"]["visits"][crew.visit]["start"] + 2)
            return True
        if not crew.here:
            if crew.visit not in left:  # given to somebody else while it drove: cannot be, it is under way
                raise AssertionError(f"{crew.visit} was taken from {crew.name} on its way")
            if why := self._hindrance(crew.visit, date, monday):
                self._not_done(crew, date, why)
                return True
            self.doors.tap(crew.name, date, "times", visit=crew.visit, what="here")
            self.began[crew.visit] = (date, crew.at)
            crew.here = True
            stop = next(one for one in state["stops"] if one["visit"] == crew.visit)
            crew.done_at, crew.at = crew.at, crew.at + self.world.takes(crew.visit, stop["end"] - stop["start"])
            if self.wired:
                self.office.look_at_today()
                if self.thorough:
                    pages_agree(self.doors, monday)
            return True
        for step in CHECKS[self.doors.get(f"/visits/{crew.visit}")["kind"]]:
            self.doors.tap(crew.name, date, "steps", visit=crew.visit, step=step)
        times = {"start": crew.done_at, "end": crew.at}
        self.doors.tap(crew.name, date, "results", visit=crew.visit, outcome="done", **times)
        self.tally.done += 1
        crew.visit, crew.here = "", False
        return True

    def _breaks_down(self, crew: CrewOut, date: datetime.date) -> bool:
        at = self.world.breakdown(crew.name, date)
        return at is not None and crew.left >= 0 and crew.at >= at and not self.world.sick(crew.name, date)

    def _van_stands(self, crew: CrewOut, date: datetime.date, monday: datetime.date) -> None:
        """Have the crew's van stand still, and the office deal with the rest of its day."""
        self.tally.happened["breakdown"] += 1
        if not self.wired:
            return
        van = self.doors.get(f"/crews/{crew.name}")["van_id"]
        span = {"first": date.isoformat(), "last": date.isoformat(), "why": "does not start"}
        before = self.doors.get(f"/vans/{van}")["days_out"]
        self.doors.change(f"/vans/{van}", days_out=[*before, span])
        pages_agree(self.doors, monday)
        self.office.hand_on(crew.name)
        self.office.react()
        pages_agree(self.doors, monday)

    def _homeward(self, crew: CrewOut, date: datetime.date) -> bool:
        """Have a crew with nothing left drive home; say whether it is still out."""
        if crew.left < 0:
            return False
        if not crew.homeward:
            crew.homeward, crew.at = True, crew.at + HOME_MIN
            return True
        self.doors.tap(crew.name, date, "back")
        return False

    def _hindrance(self, visit: str, date: datetime.date, monday: datetime.date) -> str:
        """Return why the visit cannot be done now that the crew stands there, empty where it can."""
        week, _ = posted_documents(self.doors, monday)
        job = next(one for one in week.jobs if one.id == visit)
        kind = self.doors.get(f"/visits/{visit}")["kind"]
        if self.world.storm(date) and kind != "survey":
            return "weather"
        if self.broken.get(date) in job.equipment and self.world.chance("which", visit, date).random() < 0.5:
            return "ladder out of order"
        if self.world.nobody_home(visit, date):
            return "nobody at home"
        if kind == "install" and self.world.missing(visit):
            self.tally.happened["missing"] += 1
            return "part missing"
        return ""

    def _not_done(self, crew: CrewOut, date: datetime.date, why: str) -> None:
        self.doors.tap(crew.name, date, "results", visit=crew.visit, outcome="not_done", why=why)
        self.tally.lost += 1
        self.tally.happened[f"lost: {why}"] += 1
        crew.visit, crew.at = "", crew.at + 5

    def _paid(self, crew: CrewOut, date: datetime.date, monday: datetime.date) -> None:
        """Count what the crew's day cost: its time out, and what is over its hours."""
        if crew.left < 0:
            return
        week, _ = posted_documents(self.doors, monday)
        row = next(one for one in week.crews if one.id == crew.name)
        shift = next(one for one in row.shifts if one.day == (date - monday).days)
        self.tally.cents += row.minute_cents * (crew.at - crew.left)
        self.tally.cents += row.overtime_minute_cents * max(0, crew.at - shift.end)

    def _promises(self, monday: datetime.date) -> None:
        """Keep in mind what customers have been told of a week."""
        after = monday + datetime.timedelta(days=7)
        with transaction(self.doors.app.state.database) as session:
            row = tables.Booking
            rows = select(row).where(row.day >= monday, row.day < after, col(row.withdrawn_at).is_(None))
            for one in session.exec(rows.order_by(col(row.id))):
                self.promised[one.visit_id] = one.day, one.start, one.hold

    def _judge(self, date: datetime.date) -> None:
        """Count the promises of a day: kept, moved with notice, or broken without a word."""
        with transaction(self.doors.app.state.database) as session:
            rules = rules_from_data(session.get_one(tables.Business, 1).rules)
            for visit, (day, start, hold) in self.promised.items():
                if day != date:
                    continue
                begun = self.began.get(visit)
                if begun is not None and begun[0] == date and _in_time(begun[1], start, hold):
                    self.tally.kept += 1
                    continue
                heard = select(tables.Message.id).where(
                    tables.Message.visit_id == visit, tables.Message.state == "told",
                    col(tables.Message.told_at) > moment(date - datetime.timedelta(days=date.weekday()), 0),
                )  # fmt: skip
                there = select(tables.DayResult.id).where(
                    tables.DayResult.visit_id == visit, tables.DayResult.day == date
                )
                crew_was_there = session.exec(there).first() is not None and begun is None
                if session.exec(heard).first() is not None or (self.wired and crew_was_there):
                    self.tally.moved += 1
                else:
                    came = "nobody came" if begun is None else f"the crew came on {begun[0]} at {clock(begun[1])}"
                    self.tally.silent.append(f"{visit}, told {date} at {clock(start)}: {came}")
                    self.tally.cents += rules.prices.broken_cents
        if self.wired:
            assert not self.tally.silent, f"broken without a word: {self.tally.silent}"

    def figures(self) -> dict[str, Any]:
        """Return what came of it, in figures."""
        tally, did = self.tally, self.office.did
        return {
            "days": tally.days, "visits done": tally.done, "visits lost": tally.lost, "promises kept": tally.kept,
            "moved or late, told": tally.moved, "broken without a word": len(tally.silent),
            "messages": did.messages, "visits rebooked": did.moved, "let wait": did.waiting,
            "rain dates kept": did.rain_dates, "rain dates gone to": did.rained,
            "handed over": did.ways["hand over"], "put off": did.ways["put off"], "swapped": did.ways["swap"],
            "cost": tally.cents / 100, "happened": dict(sorted(tally.happened.items())),
        }  # fmt: skip
