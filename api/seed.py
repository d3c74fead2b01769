"""Reading a business from a folder of files (such as seeds/demo) into rows of the database.

Every fault is found in one pass and told with file, row and column; nothing is loaded unless all files are right.
"""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import Any

import msgspec
from sqlmodel import Session, SQLModel

from api import tables
from api.rules import FirstWeek, rules_from_data
from api.sheets import BadFiles, Row, amounts, hours, read_sheet, read_yaml, time_of_day, weekdays
from scheduler.documents import convert
from scheduler.errors import BadInput
from scheduler.layout.documents import survey_from_data
from scheduler.weather.forecast import forecast_from_csv, forecast_to_csv
from scheduler.weather.limits import read_limits

SKILLS = ("masonry", "stucco", "roof-mount", "motor-setup", "lift-operator")


class _Head(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """business.yaml."""

    name: str
    town: str
    timezone: str
    units: str
    first_week: FirstWeek
    rules: Any


class _SurveyFile(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """surveys/NAME.yaml: who measured which awning's place when, and the survey document itself."""

    surveyed_on: datetime.date
    surveyed_by: str
    awning: str
    survey: Any


class Business(msgspec.Struct):
    """What the files hold: `rows` in an order in which they can be added, and the week they were laid out for."""

    first_week: FirstWeek
    rows: list[SQLModel]


def load(session: Session, business: Business) -> None:
    """Add all rows of `business` to an empty database."""
    for row in business.rows:
        session.add(row)
        session.flush()


def read_business(folder: Path) -> Business:
    """Return the business in `folder`; raises `BadFiles` with every fault of every file."""
    reader = _Reader(folder)
    for step in (
        reader.business, reader.yards, reader.people, reader.days_off, reader.vans, reader.crews, reader.equipment,
        reader.stock, reader.deliveries, reader.customers, reader.sites, reader.orders, reader.awnings,
        reader.surveys, reader.visits, reader.follows, reader.counts, reader.shorts,
    ):  # fmt: skip
        step()
    if reader.faults or reader.first_week is None:
        raise BadFiles(reader.faults)
    return Business(reader.first_week, reader.rows)


class _Reader:
    """Walks the files in the order in which they refer to each other."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.faults: list[BadInput] = []
        self.rows: list[SQLModel] = []
        self.first_week: FirstWeek | None = None
        self.ids: dict[str, dict[str, Any]] = {}

    def business(self) -> None:
        data = read_yaml(self.folder, "business.yaml", self.faults)
        limits = self._file("limits.csv", read_limits)
        try:
            head = convert(data or {}, _Head, "business file")
            rules = rules_from_data(head.rules)
            if head.first_week.start_date.weekday():
                raise BadInput("first_week.start_date", f"must be a Monday, {head.first_week.start_date} is none")
        except BadInput as fault:
            if data is not None:
                self.faults.append(BadInput(f"business.yaml, {fault.where}", fault.problem))
            return
        self.first_week = first = head.first_week
        forecast = self._file(
            "forecast.csv", lambda text: forecast_from_csv(text, first.forecast_source, first.forecast_issued)
        )
        if limits is None or forecast is None:
            return
        self.rows.append(
            tables.Business(
                name=head.name, town=head.town, timezone=head.timezone, units=head.units,
                rules=msgspec.to_builtins(rules), limits=(self.folder / "limits.csv").read_text("utf-8-sig"),
            )
        )  # fmt: skip
        self.rows.append(
            tables.StoredForecast(source=forecast.source, issued=forecast.issued, hours=forecast_to_csv(forecast))
        )

    def yards(self) -> None:
        for row in self._sheet("yards.csv", "yard name lat lon"):
            self._add(row, tables.Yard(id=self._new(row, "yard"), name=row.name("name"), **_at(row)))

    def people(self) -> None:
        for row in self._sheet("people.csv", "person name yard role phone skills weekdays day_cents"):
            skills = row.text("skills").split()
            for skill in skills:
                if skill not in SKILLS:
                    row.fault("skills", f'"{skill}" is none of {", ".join(SKILLS)}')
            person = tables.Person(
                id=self._new(row, "person"), name=row.name("name"), yard_id=self._known(row, "yard"),
                role=row.one_of("role", ("lead", "helper", "extra", "office")), phone=row.text("phone"), skills=skills,
                weekdays="".join(str(d) for d in row.read("weekdays", weekdays, [])), day_cents=row.whole("day_cents"),
            )  # fmt: skip
            self._add(row, person)

    def days_off(self) -> None:
        for row in self._sheet("days_off.csv", "person first last why"):
            first, last = _from_to(row, "first", "last")
            self._add(
                row, tables.DayOff(person_id=self._known(row, "person"), first=first, last=last, why=row.name("why"))
            )

    def vans(self) -> None:
        for row in self._sheet("vans.csv", "van yard payload_kg rack_mm boxes onboard"):
            van = tables.Van(
                id=self._new(row, "van"), yard_id=self._known(row, "yard"), payload_kg=row.whole("payload_kg"),
                rack_mm=row.whole("rack_mm"), boxes=row.whole("boxes"), onboard=row.read("onboard", amounts, {}),
            )  # fmt: skip
            self._add(row, van)

    def crews(self) -> None:
        money = "day_cents minute_cents overtime_minute_cents km_cents"
        for row in self._sheet("crews.csv", f"crew name yard lead helper van hours overtime_min {money}"):
            crew = tables.Crew(
                id=self._new(row, "crew"), name=row.name("name"), yard_id=self._known(row, "yard"),
                lead_id=self._known(row, "lead", "person"),
                helper_id=row.known_or_none("helper", self._ids("person"), "people.csv"),
                van_id=self._known(row, "van"), **{name: row.whole(name) for name in money.split()},
            )  # fmt: skip
            self._add(row, crew)
            overtime, seen = row.whole("overtime_min", 0, 600), set[int]()
            for day, (start, end) in row.read("hours", hours, []):
                if not isinstance(day, int) or day in seen:
                    row.fault("hours", "must give each weekday once, and no dates")
                    break
                seen.add(day)
                self._add(row, tables.CrewHours(crew_id=crew.id, weekday=day, start=start, end=end, overtime=overtime))

    def equipment(self) -> None:
        for row in self._sheet("equipment.csv", "equipment kind yard name out_first out_last out_why"):
            item = tables.Equipment(
                id=self._new(row, "equipment"), kind=row.name("kind"), yard_id=self._known(row, "yard"),
                name=row.name("name"),
            )  # fmt: skip
            self._add(row, item)
            if row.text("out_first") or row.text("out_last"):
                first, last = _from_to(row, "out_first", "out_last")
                why = row.name("out_why")
                self._add(row, tables.OutOfService(equipment_id=item.id, first=first, last=last, why=why))

    def stock(self) -> None:
        for row in self._sheet("stock.csv", "item yard name on_hand counted_on"):
            yard = self._known(row, "yard")
            self._unique(row, "item", "stock", f"{row.name('item')} at {yard}")
            stock = tables.StockItem(
                item=row.name("item"), yard_id=yard, name=row.name("name"), on_hand=row.whole("on_hand"),
                counted_on=row.date("counted_on"),
            )  # fmt: skip
            self._add(row, stock)

    def deliveries(self) -> None:
        for row in self._sheet("deliveries.csv", "item yard quantity due_on"):
            yard = self._known(row, "yard")
            if f"{row.name('item')} at {yard}" not in self._ids("stock"):
                row.fault("item", f"{row.text('item')} at yard {yard} does not stand in stock.csv")
            delivery = tables.Delivery(
                item=row.text("item"), yard_id=yard, quantity=row.whole("quantity", 1), due_on=row.date("due_on")
            )
            self._add(row, delivery)

    def customers(self) -> None:
        for row in self._sheet("customers.csv", "customer name phone email note"):
            customer = tables.Customer(
                id=self._new(row, "customer"), name=row.name("name"), phone=row.text("phone"), email=row.text("email"),
                note=row.text("note"),
            )  # fmt: skip
            self._add(row, customer)

    def sites(self) -> None:
        for row in self._sheet("sites.csv", "site customer town address lat lon storeys built access"):
            site = tables.Site(
                id=self._new(row, "site"), customer_id=self._known(row, "customer"), town=row.name("town"),
                address=row.name("address"), storeys=row.whole("storeys", 1, 50), access=row.text("access"),
                built=row.whole_or_none("built", 1500, 2200), **_at(row),
            )  # fmt: skip
            self.ids["site"][site.id] = site
            self._add(row, site)

    def orders(self) -> None:
        for row in self._sheet("orders.csv", "order site ordered_on note"):
            site_id = self._known(row, "site")
            site = self.ids["site"].get(site_id)
            order = tables.Order(
                id=self._new(row, "order"), customer_id=site.customer_id if site else "?", site_id=site_id,
                ordered_on=row.date("ordered_on"), note=row.text("note"),
            )  # fmt: skip
            self.ids["order"][order.id] = order
            self._add(row, order)

    def awnings(self) -> None:
        measures = "width_mm projection_mm weight_kg box_mm boxes"
        columns = f"awning order model {measures} motor cloth yard arrives_on"
        for row in self._sheet("awnings.csv", columns):
            awning = tables.Awning(
                id=self._new(row, "awning"), order_id=self._known(row, "order"), model=row.name("model"),
                motor=row.one_of_or_none("motor", ("left", "right")), cloth=row.text("cloth"),
                yard_id=self._known(row, "yard"), arrives_on=row.date_or_none("arrives_on"),
                **{name: row.whole(name, 1) for name in measures.split()},
            )  # fmt: skip
            self.ids["awning"][awning.id] = awning
            self._add(row, awning)

    def surveys(self) -> None:
        for path in sorted((self.folder / "surveys").glob("*.yaml")):
            file = f"surveys/{path.name}"
            data = read_yaml(self.folder, file, self.faults)
            if data is None:
                continue
            try:
                head = convert(data, _SurveyFile, "survey file")
                survey = survey_from_data(head.survey)
                awning = self.ids["awning"].get(head.awning)
                if awning is None:
                    raise BadInput("awning", f'"{head.awning}" does not stand in awnings.csv')
                if survey.id != path.stem:
                    raise BadInput("survey.id", f'must be the name of the file, "{path.stem}", is "{survey.id}"')
                if survey.awning.width != awning.width_mm:
                    raise BadInput(
                        "survey.awning.width", f"is {survey.awning.width:g}, in awnings.csv {awning.width_mm}"
                    )
            except BadInput as fault:
                self.faults.append(BadInput(f"{file}, {fault.where}", fault.problem))
                continue
            order = self.ids["order"].get(awning.order_id)
            self.rows.append(
                tables.SiteSurvey(
                    id=survey.id, site_id=order.site_id if order else "?", awning_id=awning.id,
                    surveyed_on=head.surveyed_on, surveyed_by=head.surveyed_by, document=msgspec.to_builtins(survey),
                )
            )  # fmt: skip

    def visits(self) -> None:
        booked = "booked_crew booked_on booked_at hold told_how told_words"
        columns = f"visit kind site order awning due_on hours {booked} minutes hands fault note"
        for row in self._sheet("visits.csv", columns):
            visit = tables.Visit(
                id=self._new(row, "visit"), kind=row.one_of("kind", ("install", "survey", "repair")),
                site_id=self._known(row, "site"), order_id=row.known_or_none("order", self._ids("order"), "orders.csv"),
                awning_id=row.known_or_none("awning", self._ids("awning"), "awnings.csv"),
                due_on=row.date_or_none("due_on"), minutes=row.whole_or_none("minutes", 1, 1440),
                hands=row.whole_or_none("hands", 1, 20), fault=row.text("fault"), note=row.text("note"),
            )  # fmt: skip
            if visit.kind == "install" and visit.awning_id is None and not row.text("awning"):
                row.fault("awning", "must name the awning that is to be installed")
            self._add(row, visit)
            for day, (start, end) in row.read("hours", hours, []):
                at = {"weekday": day} if isinstance(day, int) else {"day": day}
                self._add(row, tables.VisitHours(visit_id=visit.id, start=start, end=end, **at))
            if row.text("booked_crew") or row.text("hold"):
                self._add(row, self._booking(row, visit.id))

    def follows(self) -> None:
        for row in self._sheet("follows.csv", "first then min_days max_days same_crew"):
            follow = tables.VisitFollows(
                first_id=self._known(row, "first", "visit"), then_id=self._known(row, "then", "visit"),
                min_days=row.whole("min_days", 0, 60), max_days=row.whole_or_none("max_days", 0, 60),
                same_crew=row.one_of("same_crew", ("yes", "no")) == "yes",
            )  # fmt: skip
            self._add(row, follow)

    def counts(self) -> None:
        for row in self._sheet("bench_counts.csv", "visit item counted damaged counted_on counted_by"):
            count = tables.BenchCount(
                visit_id=self._known(row, "visit"), item=row.name("item"), counted=row.whole("counted"),
                damaged=row.whole("damaged"), counted_on=row.date("counted_on"), counted_by=row.name("counted_by"),
            )  # fmt: skip
            self._add(row, count)

    def shorts(self) -> None:
        for row in self._sheet("shorts.csv", "visit item missing ordered_on expected_on"):
            short = tables.Short(
                visit_id=self._known(row, "visit"), item=row.name("item"), missing=row.whole("missing", 1),
                ordered_on=row.date_or_none("ordered_on"), expected_on=row.date_or_none("expected_on"),
            )  # fmt: skip
            self._add(row, short)

    def _booking(self, row: Row, visit_id: str) -> tables.Booking:
        return tables.Booking(
            visit_id=visit_id, crew_id=self._known(row, "booked_crew", "crew"), day=row.date("booked_on"),
            start=row.read("booked_at", time_of_day, 0), hold=row.one_of("hold", ("firm", "day", "soft")),
            told_how=row.text("told_how"), told_words=row.text("told_words"),
        )  # fmt: skip

    def _sheet(self, file: str, columns: str) -> list[Row]:
        return list(read_sheet(self.folder, file, columns, self.faults))

    def _file(self, file: str, read: Any) -> Any:
        """Return what `read` makes of the text of `file`; None where it is missing or wrong (noted)."""
        try:
            return read((self.folder / file).read_text("utf-8-sig"))
        except FileNotFoundError:
            self.faults.append(BadInput(file, f"is missing from {self.folder}"))
        except BadInput as fault:
            self.faults.append(BadInput(f"{file}, {fault.where}", fault.problem))
        return None

    def _ids(self, noun: str) -> dict[str, Any]:
        return self.ids.setdefault(noun, {})

    def _new(self, row: Row, noun: str) -> str:
        """Return the id of a new `noun`, which must not stand further up."""
        name = row.name(noun)
        self._unique(row, noun, noun, name)
        return name

    def _unique(self, row: Row, column: str, noun: str, key: str) -> None:
        if key in self._ids(noun) and key != "?":
            row.fault(column, f'"{key}" stands already further up')
        self._ids(noun)[key] = None

    def _known(self, row: Row, column: str, noun: str = "") -> str:
        return row.known(column, self._ids(noun or column), FILES[noun or column])

    def _add(self, row: Row, value: SQLModel) -> None:
        if not row.bad:
            self.rows.append(value)


FILES = {
    "yard": "yards.csv", "person": "people.csv", "van": "vans.csv", "crew": "crews.csv", "equipment": "equipment.csv",
    "customer": "customers.csv", "site": "sites.csv", "order": "orders.csv", "awning": "awnings.csv",
    "visit": "visits.csv",
}  # fmt: skip


def _at(row: Row) -> dict[str, float]:
    return {"lat": row.decimal("lat", -90, 90), "lon": row.decimal("lon", -180, 180)}


def _from_to(row: Row, first: str, last: str) -> tuple[datetime.date, datetime.date]:
    a, b = row.date(first), row.date(last)
    if b < a:
        row.fault(last, f"must not come before {first} ({a}), is {b}")
    return a, b
