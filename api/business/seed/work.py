"""The files on the work: customers, sites, orders, awnings, surveys, visits and bench counts."""

from __future__ import annotations

import datetime
import functools
from typing import Any

import msgspec

from api import tables
from api.business.seed.reader import Reader, at, has_place, skills_in, under
from api.fields.assists import check_assist
from api.fields.files.sheets import NO_HOURS, Row, hours, one_of, read_yaml, time_of_day
from api.fields.limits import limit
from api.fields.rules import KINDS
from scheduler.documents import convert
from scheduler.errors import BadInput
from scheduler.layout.documents import survey_from_data


class _SurveyFile(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """surveys/NAME.yaml: who measured which awning's place when, and the survey document itself."""

    surveyed_on: datetime.date
    surveyed_by: str
    awning: str
    survey: Any


class WorkFiles(Reader):
    """Reads them, one method a file; the files on the business are read already."""

    def counts_as(self, work: str) -> str:
        """Return what a kind of work counts as; raises `BadInput` for one that there is not."""
        return one_of(work, KINDS)

    def unplaced(self, key: str, address: str, town: str) -> dict[str, Any]:
        """Return the place of a site that gives none: a yard's stands in until somebody puts its address on the map."""
        yard = next((one for one in self.known_ids("yard").values() if one is not None), None)
        return {"lat": yard.lat if yard else 0.0, "lon": yard.lon if yard else 0.0, "placed": False}

    def customers(self) -> None:
        for row in self.sheet("customers.csv", "customer name phone email note language?"):
            customer = tables.Customer(
                id=self.new(row, "customer"),
                name=row.value("name", limit("customer.name")),
                phone=row.value("phone", limit("customer.phone")),
                email=row.value("email", limit("customer.email")),
                note=row.value("note", limit("customer.note")),
                **row.given("language", limit("customer.language")),
            )
            self.add(row, customer)

    def sites(self) -> None:
        for row in self.sheet("sites.csv", "site customer town address lat? lon? storeys built access"):
            key, customer = self.new(row, "site"), self.known(row, "customer")
            town, address = row.value("town", limit("site.town")), row.value("address", limit("site.address"))
            site = tables.Site(
                id=key,
                customer_id=customer,
                town=town,
                address=address,
                storeys=row.value("storeys", limit("site.storeys")),
                access=row.value("access", limit("site.access")),
                built=row.value_or_none("built", limit("site.built")),
                **({**at(row), "placed": True} if has_place(row) else self.unplaced(key, address, town)),
            )
            self.ids["site"][site.id] = site
            self.add(row, site)

    def orders(self) -> None:
        for row in self.sheet("orders.csv", "order site ordered_on note"):
            site_id = self.known(row, "site")
            site = self.ids["site"].get(site_id)
            order = tables.Order(
                id=self.new(row, "order"),
                customer_id=site.customer_id if site else "?",
                site_id=site_id,
                ordered_on=row.date("ordered_on"),
                note=row.value("note", limit("sales_order.note")),
            )
            self.ids["order"][order.id] = order
            self.add(row, order)

    def awnings(self) -> None:
        measures = "width_mm projection_mm weight_kg box_mm boxes"
        columns = f"awning order model {measures} motor cloth yard arrives_on"
        for row in self.sheet("awnings.csv", columns):
            sizes: dict[str, Any] = {name: row.value(name, limit(f"awning.{name}")) for name in measures.split()}
            awning = tables.Awning(
                id=self.new(row, "awning"),
                order_id=self.known(row, "order"),
                model=row.value("model", limit("awning.model")),
                motor=row.value_or_none("motor", limit("awning.motor")),
                cloth=row.value("cloth", limit("awning.cloth")),
                yard_id=self.known(row, "yard"),
                arrives_on=row.date_or_none("arrives_on"),
                **sizes,
            )
            self.ids["awning"][awning.id] = awning
            self.add(row, awning)

    def maker_parts(self) -> None:
        for row in self.sheet("maker_parts.csv", "awning item quantity"):
            awning, item = self.known(row, "awning"), row.value("item", limit("maker_part.item"))
            self.unique(row, "item", "maker's part", f"{item} of {awning}")
            quantity = row.value("quantity", limit("maker_part.quantity"))
            self.add(row, tables.MakerPart(awning_id=awning, item=item, quantity=quantity))

    def surveys(self) -> None:
        for path in sorted((self.folder / "surveys").glob("*.yaml")):
            file = f"surveys/{path.name}"
            data = read_yaml(self.folder, file, self.faults)
            if data is None:
                continue
            try:
                head = convert(data, _SurveyFile, "survey file")
                survey = under("survey", functools.partial(survey_from_data, head.survey))
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
                    id=survey.id,
                    site_id=order.site_id if order else "?",
                    awning_id=awning.id,
                    surveyed_on=head.surveyed_on,
                    surveyed_by=head.surveyed_by,
                    document=msgspec.to_builtins(survey),
                )
            )

    def visits(self) -> None:
        booked = "booked_crew booked_on booked_at hold told_how told_words"
        assist = "assist_hands? assist_minutes? assist_from? assist_to? assist_skills?"
        columns = f"visit kind site order awning due_on hours {booked} minutes hands skills fault note {assist}"
        for row in self.sheet("visits.csv", columns):
            visit = tables.Visit(
                id=self.new(row, "visit"),
                kind=row.read("kind", self.counts_as, "?"),
                work_id=row.text("kind"),
                site_id=self.known(row, "site"),
                order_id=row.known_or_none("order", self.known_ids("order"), "orders.csv"),
                awning_id=row.known_or_none("awning", self.known_ids("awning"), "awnings.csv"),
                due_on=row.date_or_none("due_on"),
                minutes=row.value_or_none("minutes", limit("visit.minutes")),
                hands=row.value_or_none("hands", limit("visit.hands")),
                skills=skills_in(row),
                fault=row.value("fault", limit("visit.fault")),
                note=row.value("note", limit("visit.note")),
                **_assist(row),
            )
            self._check_assist(row, visit)
            if visit.kind == "install" and visit.awning_id is None and not row.text("awning"):
                row.fault("awning", "must name the awning that is to be installed")
            self.add(row, visit)
            for day, (start, end) in row.read("hours", hours, NO_HOURS):
                when: dict[str, Any] = {"weekday": day} if isinstance(day, int) else {"day": day}
                self.add(row, tables.VisitHours(visit_id=visit.id, start=start, end=end, **when))
            if row.text("booked_crew") or row.text("hold"):
                self.add(row, self._booking(row, visit.id))

    def _check_assist(self, row: Row, visit: tables.Visit) -> None:
        numbers = visit.assist_minutes, visit.assist_hands, visit.assist_from, visit.assist_to
        if row.bad:
            return  # what is no number is said already
        try:
            check_assist(*numbers, visit.assist_skills, visit.minutes)
        except BadInput as fault:
            row.fault(fault.where, fault.problem)

    def follows(self) -> None:
        for row in self.sheet("follows.csv", "first then min_days max_days same_crew"):
            follow = tables.VisitFollows(
                first_id=self.known(row, "first", "visit"),
                then_id=self.known(row, "then", "visit"),
                min_days=row.value("min_days", limit("visit_follows.min_days")),
                max_days=row.value_or_none("max_days", limit("visit_follows.max_days")),
                same_crew=row.one_of("same_crew", ("yes", "no")) == "yes",
            )
            self.add(row, follow)

    def counts(self) -> None:
        for row in self.sheet("bench_counts.csv", "visit item counted damaged counted_on counted_by"):
            count = tables.BenchCount(
                visit_id=self.known(row, "visit"),
                item=row.value("item", limit("bench_count.item")),
                counted=row.value("counted", limit("bench_count.counted")),
                damaged=row.value("damaged", limit("bench_count.damaged")),
                counted_on=row.date("counted_on"),
                counted_by=row.value("counted_by", limit("bench_count.counted_by")),
            )
            self.add(row, count)

    def shorts(self) -> None:
        for row in self.sheet("shorts.csv", "visit item missing ordered_on expected_on"):
            short = tables.Short(
                visit_id=self.known(row, "visit"),
                item=row.value("item", limit("short.item")),
                missing=row.value("missing", limit("short.missing")),
                ordered_on=row.date_or_none("ordered_on"),
                expected_on=row.date_or_none("expected_on"),
            )
            self.add(row, short)

    def _booking(self, row: Row, visit_id: str) -> tables.Booking:
        return tables.Booking(
            visit_id=visit_id,
            crew_id=self.known(row, "booked_crew", "crew"),
            day=row.date("booked_on"),
            start=row.read("booked_at", time_of_day, 0),
            hold=row.value("hold", limit("booking.hold")),
            told_how=row.value("told_how", limit("booking.told_how")),
            told_words=row.value("told_words", limit("booking.told_words")),
        )


def _assist(row: Row) -> dict[str, Any]:
    """Return what a row says of a second crew, without columns that are missing."""
    found: dict[str, Any] = {}
    for name in ("assist_hands", "assist_minutes", "assist_from", "assist_to"):
        if name in row.cells:
            found[name] = row.value_or_none(name, limit(f"visit.{name}"))
    if "assist_skills" in row.cells:
        found["assist_skills"] = skills_in(row, "assist_skills")
    return found
