"""The files on the business itself: its rules, yards, people, crews, vans, equipment and shelf stock."""

from __future__ import annotations

import datetime
import functools
from typing import Any

import msgspec

from api import tables
from api.business.seed.reader import Reader, at, from_to, has_place, skills_in, under
from api.fields.files.sheets import NO_HOURS, Row, amounts, hours, read_yaml, weekdays
from api.fields.limits import limit
from api.fields.rules import FirstWeek, rules_from_data
from scheduler.documents import convert
from scheduler.errors import BadInput
from scheduler.times.durations import read_times
from scheduler.weather.climate import climate_from_csv, climate_to_csv
from scheduler.weather.forecast import forecast_from_csv, forecast_to_csv
from scheduler.weather.limits import read_limits


class _Head(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """business.yaml."""

    name: str
    town: str
    timezone: str
    units: str
    first_week: FirstWeek
    rules: Any
    phone: str = ""
    clock: str = "24"
    currency: str = "$"
    language: str = "en"


def first_count(stock: tables.StockItem) -> tables.StockMove:
    """Return the move that a shelf out of a file begins with: the count that it stands by."""
    counted_at = datetime.datetime.combine(stock.counted_on, datetime.time(12), datetime.UTC)  # that day anywhere
    return tables.StockMove(
        item=stock.item,
        yard_id=stock.yard_id,
        kind="count",
        pieces=stock.on_hand,
        on_hand_after=stock.on_hand,
        at=counted_at,
        by="files",
    )


class YardFiles(Reader):
    """Reads them, one method a file."""

    def business(self) -> None:
        data = read_yaml(self.folder, "business.yaml", self.faults)
        limits, times = self.file("limits.csv", read_limits), self.file("times.csv", read_times)
        try:
            head = convert(data or {}, _Head, "business file")
            rules = under("rules", functools.partial(rules_from_data, head.rules))
            for name in ("phone", "clock", "currency", "language"):
                under(name, functools.partial(limit(f"business.{name}").check, getattr(head, name)))
            if head.first_week.start_date.weekday():
                raise BadInput("first_week.start_date", f"must be a Monday, {head.first_week.start_date} is none")
        except BadInput as fault:
            if data is not None:
                self.faults.append(BadInput(f"business.yaml, {fault.where}", fault.problem))
            return
        self.name, self.first_week = head.name, head.first_week
        first = head.first_week
        forecast = self.file(
            "forecast.csv", lambda text: forecast_from_csv(text, first.forecast_source, first.forecast_issued)
        )
        climate = ""
        if (self.folder / "climate.csv").exists():  # a business may have none
            months = self.file("climate.csv", climate_from_csv)
            climate = "" if months is None else climate_to_csv(months)
        if limits is None or times is None or forecast is None:
            return
        self.rows.append(
            tables.Business(
                name=head.name,
                town=head.town,
                timezone=head.timezone,
                units=head.units,
                phone=head.phone,
                clock=head.clock,
                language=head.language,
                currency=head.currency,
                rules=msgspec.to_builtins(rules),
                limits=(self.folder / "limits.csv").read_text("utf-8-sig"),
                times=(self.folder / "times.csv").read_text("utf-8-sig"),
                climate=climate,
            )
        )
        self.rows.append(
            tables.StoredForecast(source=forecast.source, issued=forecast.issued, hours=forecast_to_csv(forecast))
        )

    def yards(self) -> None:
        for row in self.sheet("yards.csv", "yard name lat? lon? address?"):
            yard = tables.Yard(
                id=self.new(row, "yard"), name=row.value("name", limit("yard.name")),
                **row.given("address", limit("yard.address")), **self.yard_place(row),
            )  # fmt: skip
            self.ids["yard"][yard.id] = yard
            self.add(row, yard)

    def yard_place(self, row: Row) -> dict[str, Any]:
        """Return the coordinates of a yard: those that it gives, else those of its address."""
        address = row.cells.get("address", "").strip()
        if has_place(row) or not address or self.find is None:
            return at(row)
        try:
            lat, lon = self.find(address)
        except BadInput as fault:
            row.fault("address", fault.problem)
            return {"lat": 0.0, "lon": 0.0}
        return {"lat": lat, "lon": lon}

    def people(self) -> None:
        for row in self.sheet("people.csv", "person name yard role phone skills weekdays day_cents language?"):
            person = tables.Person(
                id=self.new(row, "person"),
                name=row.value("name", limit("person.name")),
                yard_id=self.known(row, "yard"),
                role=row.value("role", limit("person.role")),
                phone=row.value("phone", limit("person.phone")),
                skills=skills_in(row),
                weekdays="".join(str(d) for d in row.read("weekdays", weekdays, list[int]())),
                day_cents=row.value("day_cents", limit("person.day_cents")),
                **row.given("language", limit("person.language")),
            )
            self.add(row, person)

    def days_off(self) -> None:
        for row in self.sheet("days_off.csv", "person first last why"):
            first, last = from_to(row, "first", "last")
            why = row.value("why", limit("day_off.why"))
            self.add(row, tables.DayOff(person_id=self.known(row, "person"), first=first, last=last, why=why))

    def vans(self) -> None:
        for row in self.sheet("vans.csv", "van yard payload_kg rack_mm boxes onboard"):
            van = tables.Van(
                id=self.new(row, "van"),
                yard_id=self.known(row, "yard"),
                payload_kg=row.value("payload_kg", limit("van.payload_kg")),
                rack_mm=row.value("rack_mm", limit("van.rack_mm")),
                boxes=row.value("boxes", limit("van.boxes")),
                onboard=row.read("onboard", amounts, {}),
            )
            self.add(row, van)

    def crews(self) -> None:
        money = "day_cents minute_cents overtime_minute_cents km_cents"
        for row in self.sheet("crews.csv", f"crew name yard lead helper van hours overtime_min {money}"):
            amounts_of: dict[str, Any] = {name: row.value(name, limit(f"crew.{name}")) for name in money.split()}
            crew = tables.Crew(
                id=self.new(row, "crew"),
                name=row.value("name", limit("crew.name")),
                yard_id=self.known(row, "yard"),
                lead_id=self.known(row, "lead", "person"),
                helper_id=row.known_or_none("helper", self.known_ids("person"), "people.csv"),
                van_id=self.known(row, "van"),
                **amounts_of,
            )
            self.add(row, crew)
            overtime, seen = row.value("overtime_min", limit("crew_hours.overtime")), set[int]()
            for day, (start, end) in row.read("hours", hours, NO_HOURS):
                if not isinstance(day, int) or day in seen:
                    row.fault("hours", "must give each weekday once, and no dates")
                    break
                seen.add(day)
                self.add(row, tables.CrewHours(crew_id=crew.id, weekday=day, start=start, end=end, overtime=overtime))

    def equipment(self) -> None:
        for row in self.sheet("equipment.csv", "equipment kind yard name out_first out_last out_why"):
            item = tables.Equipment(
                id=self.new(row, "equipment"),
                kind=row.value("kind", limit("equipment.kind")),
                yard_id=self.known(row, "yard"),
                name=row.value("name", limit("equipment.name")),
            )
            self.add(row, item)
            if row.text("out_first") or row.text("out_last"):
                first, last = from_to(row, "out_first", "out_last")
                why = row.value("out_why", limit("out_of_service.why"))
                self.add(row, tables.OutOfService(equipment_id=item.id, first=first, last=last, why=why))

    def stock(self) -> None:
        counts = []
        for row in self.sheet("stock.csv", "item yard name on_hand counted_on"):
            yard = self.known(row, "yard")
            item = row.value("item", limit("stock_item.item"))
            self.unique(row, "item", "stock", f"{item} at {yard}")
            stock = tables.StockItem(
                item=item,
                yard_id=yard,
                name=row.value("name", limit("stock_item.name")),
                on_hand=row.value("on_hand", limit("stock_item.on_hand")),
                counted_on=row.date("counted_on"),
            )
            self.add(row, stock)
            counts.append((row, stock))
        for row, stock in counts:
            self.add(row, first_count(stock))

    def deliveries(self) -> None:
        for row in self.sheet("deliveries.csv", "item yard quantity due_on"):
            yard = self.known(row, "yard")
            if f"{row.name('item')} at {yard}" not in self.known_ids("stock"):
                row.fault("item", f"{row.text('item')} at yard {yard} does not stand in stock.csv")
            quantity = row.value("quantity", limit("delivery.quantity"))
            item = row.text("item")
            delivery = tables.Delivery(item=item, yard_id=yard, quantity=quantity, due_on=row.date("due_on"))
            self.add(row, delivery)
