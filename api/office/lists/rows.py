"""One line taken in: the rows that it means found or made, with the checks of the forms, all of them or none."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from sqlmodel import Session, col, select

from api import tables
from api.business.part import BadValues
from api.clock import local_day
from api.exchange.importing import WAITS, Imported
from api.fields.files.cells import usual_date, usual_time
from api.fields.files.sheets import BadFiles, time_of_day
from api.fields.ids import new_id
from api.fields.limits import LIMITS
from api.jobs import entry, models
from api.jobs.in_a_row import DAYS, InARow, in_a_row
from api.jobs.numbers import is_tried, job_number, take_turn
from api.ledger.days.day_rows import days_of
from api.ledger.told import told_now
from api.office.gates import begin_gates
from api.office.kind import Kind
from api.office.lists.columns import BOOKED
from api.office.lists.reading import Texts, joined
from api.office.lists.recognize import customer_of, site_of
from api.places.kept import kept_answer
from api.uploads.reading import CellFault
from scheduler.errors import BadInput
from scheduler.units import exact_length

Cells = dict[str, str]
_FIRST = {"customers": "C-1001", "sites": "S-1001", "orders": "O-1001", "awnings": "A-1001"}
_TABLES: dict[str, Any] = {
    "customers": tables.Customer,
    "sites": tables.Site,
    "orders": tables.Order,
    "awnings": tables.Awning,
}
_ONLY_OURS = ("customer_id", "site_id", "order_id", "awning_id", "lat", "lon", "placed", "ordered_on", "state")


@dataclass(frozen=True)
class LineTaken:
    """What a line did: `name` the row that it is about, `new`: it was made, `fields` (before, after) by label.

    `made` are all rows that it made, as (table, id).
    """

    name: str
    new: bool
    fields: dict[str, tuple[str, str]]
    made: tuple[tuple[str, str], ...] = ()


@dataclass
class WorkLines:
    """Takes the lines of one file in, one after the other."""

    session: Session
    kind: Kind
    units: str
    by: str
    now: datetime.datetime
    _last: dict[str, str] = field(default_factory=dict)
    _claimed: set[str] = field(default_factory=set)  # jobs that lines further up mean
    _met: set[str] = field(default_factory=set)

    def go_on(self, session: Session) -> None:
        """Take the next lines in by another session. Others may have made rows since: numbers are looked up anew.

        The turn is taken here, before any line: one that is refused would give it back while its number counts on.
        """
        self.session = session
        self._last.clear()
        take_turn(session)

    def take(self, texts: Texts) -> LineTaken:
        """Take one line in; raises `BadValues` where something of it cannot stand."""
        try:
            said = joined({("customers.customer" if self._own("customers", n) else n): t for n, t in texts.items()})
            return self._taken(said)
        except BadValues:
            raise
        except BadInput as fault:
            raise BadValues([(self._column(fault.where), fault.problem)]) from None

    def _own(self, table: str, name: str) -> bool:
        return self.kind.by_lines == table and name == "id"

    def _column(self, where: str) -> str:
        return "id" if self._own("customers", "id") and where == "customers.customer" else where

    def _taken(self, said: Texts) -> LineTaken:
        main, number = self.kind.by_lines, said.pop("id", "")
        held = self._held(number) if main != "customers" else None
        customer, site, awning = self._whose(held, said)
        rows: dict[str, Cells] = {}
        rows["customers"] = self._cells("customers", customer, said)
        key = rows["customers"]["customer"]
        if held is None and site is None and main != "sites":
            site = site_of(self.session, key, said) if customer is not None else None
        if main == "sites" and held is None and customer is not None:
            site = site_of(self.session, key, said) if said.get("sites.address") else None
        if site is not None or said.get("sites.address") or main != "customers":
            rows["sites"] = self._placed(self._cells("sites", site, said, number if main == "sites" else ""), site)
            rows["sites"]["customer"] = key
        parts: dict[str, int] = {}
        if main == "visits":
            held = held or self._same_job(site, said)
            parts = self._job(rows, held, awning, number, said)
        try:
            done = entry.keep(self.session, rows, by=self.by, now=self.now)
        except BadFiles as bad:
            raise BadValues(list(_faults(bad, rows))) from None
        return self._outcome(done, rows, made_job=main == "visits" and held is None, parts=parts,
                             days=said.get("visits.days", ""))  # fmt: skip

    def _held(self, number: str) -> Any:
        """Return the site or the job that a line names by its number, None where there is none yet."""
        if not number:
            return None
        column = "site.id" if self.kind.by_lines == "sites" else "visit.id"
        try:
            return self.session.get(self.kind.table, LIMITS[column].parse(number))
        except BadInput as fault:
            raise BadInput("id", fault.problem) from None

    def _whose(
        self, held: Any, said: Texts
    ) -> tuple[tables.Customer | None, tables.Site | None, tables.Awning | None]:  # fmt: skip
        """Return the customer, the site and the awning of a line whose row is known, else the customer it names."""
        if held is None:
            return customer_of(self.session, said, "customers.customer"), None, None
        site = held if isinstance(held, tables.Site) else self.session.get_one(tables.Site, held.site_id)
        awning_id = getattr(held, "awning_id", None)
        awning = self.session.get_one(tables.Awning, awning_id) if awning_id else None
        return self.session.get_one(tables.Customer, site.customer_id), site, awning

    def _cells(self, table: str, row: Any, said: Texts, number: str = "") -> Cells:
        """Return the cells of a row as they are, or of a new one, with what a line says.

        An empty cell empties what the list is about; of the rows beside it, it says nothing.
        """
        cells = entry.empty_cells(table) if row is None else entry.cells_of(self.session, table, row, self.units)
        for column in cells:
            text = said.get(f"{table}.{column}")
            if text or (text is not None and table == self.kind.by_lines):
                cells[column] = text
        key = entry.key_column(table)
        if row is not None:
            cells[key] = row.id
        elif number or (cells[key] and cells[key].casefold() != "new"):
            cells[key] = number or cells[key]
        else:
            cells[key] = self._next(table)
        return cells

    def _next(self, table: str) -> str:
        """Return the next number of a table: C-1001, or one after the highest."""
        if is_tried(self.session):
            return new_id(_FIRST[table][0])
        if table not in self._last:
            letter, best = _FIRST[table][0], ""
            for one in self.session.exec(select(_TABLES[table].id)):
                if re.fullmatch(rf"{letter}-[0-9]{{1,8}}", one) and (best == "" or int(one[2:]) > int(best[2:])):
                    best = one
            self._last[table] = best or f"{letter}-{int(_FIRST[table][2:]) - 1}"
        last = self._last[table]
        self._last[table] = f"{last[:2]}{int(last[2:]) + 1:0{len(last) - 2}}"
        return self._last[table]

    def _placed(self, cells: Cells, site: tables.Site | None) -> Cells:
        """Return a site's cells with where its address is; without a place where that is not known for sure yet."""
        cells["storeys"] = cells["storeys"] or "1"
        moved = site is None or (cells["address"], cells["town"]) != (site.address, site.town)
        if not moved or (site is None and cells["lat"] and cells["lon"]):
            return cells
        if not cells["address"] or not cells["town"]:
            missing = "address" if not cells["address"] else "town"
            raise BadInput(f"sites.{missing}", "must not be empty")
        answer = kept_answer(self.session, cells["address"], cells["town"])
        sure = answer.sure if answer else None
        cells["lat"], cells["lon"] = (f"{sure.lat:.6f}", f"{sure.lon:.6f}") if sure else ("", "")
        return cells

    def _same_job(self, site: tables.Site | None, said: Texts) -> tables.Visit | None:
        """Return the job that a line without a number means: the next one at its site of that kind and that awning.

        Lines further up have each theirs; what is done counts only where the line says the same of its due day.
        """
        if site is None:
            return None
        visit = tables.Visit
        wanted = select(visit).where(visit.site_id == site.id, visit.kind == (said.get("visits.kind") or "install"))
        for one in self.session.exec(wanted.order_by(col(visit.id))):
            if one.id in self._claimed or not self._fits(one, said):
                continue
            if one.state == "open" or (said.get("visits.due_on") and self._due(said) == one.due_on):
                return one
        return None

    def _fits(self, one: tables.Visit, said: Texts) -> bool:
        awning = self.session.get(tables.Awning, one.awning_id) if one.awning_id else None
        sold = {name: said.get(f"awnings.{name}", "") for name in ("model", "width_mm", "projection_mm")}
        if awning is None:
            return not any(sold.values())
        if sold["model"] and sold["model"].casefold() != awning.model.casefold():
            return False
        try:
            return all(
                not sold[name] or entry.stored(name, sold[name], self.units) == str(getattr(awning, name))
                for name in ("width_mm", "projection_mm")
            )
        except BadInput:
            return True  # told as a fault of its cell

    @staticmethod
    def _due(said: Texts) -> datetime.date | None:
        try:
            return usual_date(said["visits.due_on"])
        except BadInput:
            return None

    def _job(
        self, rows: dict[str, Cells], held: tables.Visit | None, awning: tables.Awning | None, number: str, said: Texts
    ) -> dict[str, int]:  # fmt: skip
        """Add the cells of order, awning and visit; return the parts that the maker packs with a new awning."""
        parts: dict[str, int] = {}
        if held is not None and awning is None and held.awning_id:
            awning = self.session.get_one(tables.Awning, held.awning_id)
        kind = said.get("visits.kind") or (held.kind if held else "install")
        order_id, awning_id = (held.order_id or "", held.awning_id or "") if held else ("", "")
        if awning is not None:
            rows["awnings"] = self._cells("awnings", awning, said)
        elif held is None and (said.get("awnings.model") or said.get("awnings.width_mm") or kind == "install"):
            rows["orders"] = self._cells("orders", None, said)
            order_id = rows["orders"]["order"]
            rows["orders"] |= {
                "site": rows["sites"]["site"],
                "ordered_on": local_day(self.session, self.now).isoformat(),
            }
            cells = self._cells("awnings", None, said) | {"order": order_id}
            cells["yard"] = cells["yard"] or self._only_yard()
            for name in ("width_mm", "projection_mm"):  # else all that the model would bring is told as missing
                try:
                    entry.stored(name, cells[name], self.units)
                except BadInput as fault:
                    raise BadInput(f"awnings.{name}", fault.problem) from None
            try:
                rows["awnings"], parts = models.filled(self.session, cells, self.units)
            except BadInput as fault:
                raise BadInput(f"awnings.{fault.where}", fault.problem) from None
            awning_id = rows["awnings"]["awning"]
        visit = self._cells(
            "visits", held, said, number or (held.id if held else job_number(self.session, new_id("J")))
        )
        visit["kind"] = visit["kind"] or "install"
        visit |= {"site": rows["sites"]["site"], "order": order_id, "awning": awning_id}
        rows["visits"] = visit | self._told(held, said)
        return parts

    def _only_yard(self) -> str:
        yards = self.session.exec(select(tables.Yard.id).limit(2)).all()
        return yards[0] if len(yards) == 1 else ""

    def _told(self, held: tables.Visit | None, said: Texts) -> Cells:
        """Return the cells of what the customer was told, empty where the line says nothing new of it."""
        crew, on, at, hold = (said.get(name, "") for name in BOOKED)
        if not crew and not on:
            return {}
        told = told_now(self.session, held.id) if held else None
        if told is not None:
            try:
                same = (crew, usual_date(on), time_of_day(usual_time(at)), hold or told.hold)
                if same == (told.crew_id, told.day, told.start, told.hold):
                    return {}
            except BadInput:
                pass  # told as a fault of its cell
        return {"booked_crew": crew, "booked_on": on, "booked_at": at, "hold": hold or "firm"}

    def _shown(self, column: str, text: str) -> str:
        """Return a stored value as the office measures it."""
        return exact_length(float(text), self.units) if text and column.endswith("_mm") else text

    def _outcome(
        self, done: Imported, rows: dict[str, Cells], *, made_job: bool, parts: dict[str, int], days: str
    ) -> LineTaken:  # fmt: skip
        main = self.kind.by_lines
        name = rows[main][entry.key_column(main)]
        labels = {"visits.work": "Kind of work"} | {column.name: column.head for column in self.kind.columns}
        kinds = {change.table: change.kind for change in done.changes}
        fields = {
            labels.get(
                f"{change.table}.{column.removesuffix('_id')}",
                f"{change.table.removesuffix('s').capitalize()} {column}",
            ): (self._shown(column, pair[0]), self._shown(column, pair[1]))
            for change in done.changes
            if change.kind != "unchanged" and change.table != "orders"
            for column, pair in change.fields.items()
            if column not in _ONLY_OURS
        }
        if any(c.table == "sites" and c.fields.get("placed", ("", ""))[1] == WAITS for c in done.changes):
            fields["Place"] = ("", "not on the map yet: it is asked for on the page Addresses")
        if name in self._met and kinds[main] == "changed":
            raise BadInput("id" if main != "customers" else "customers.customer", f"{name} stands already further up")
        self._met.add(name)
        if main == "visits":
            self._claimed.add(name)
        made = [(change.table, change.key) for change in done.changes if change.kind == "new"]
        if main == "visits" and days:
            visit = self.session.get_one(tables.Visit, name)
            before = {one.id for one in days_of(self.session, visit)}
            fields |= self._in_a_row(visit, days)
            made += [("visits", one.id) for one in days_of(self.session, visit) if one.id not in before]
        if made_job:
            begin_gates(self.session, self.session.get_one(tables.Visit, name), by=self.by, now=self.now)
            if kinds.get("awnings") == "new":
                models.pack(self.session, rows["awnings"]["awning"], parts, by=self.by, now=self.now)
        return LineTaken(name, kinds[main] == "new", fields, tuple(made))

    def _in_a_row(self, visit: tables.Visit, text: str) -> dict[str, tuple[str, str]]:
        """Make a job so many days in a row; one that is so already stays as it is. Returns what was changed."""
        try:
            days = DAYS.parse(text)
            if len(days_of(self.session, visit)) == days:
                return {}
            if visit.minutes is None:
                raise BadInput("visits.minutes", "must say how many minutes it takes on each of its days")
            in_a_row(self.session, visit, InARow(days, visit.minutes), by=self.by, now=self.now)
        except BadInput as fault:
            raise BadInput(
                "visits.minutes" if fault.where == "visits.minutes" else "visits.days", fault.problem
            ) from None
        return {"Days in a row": ("", text)}


def _faults(bad: BadFiles, rows: dict[str, Cells]) -> Iterator[tuple[str, str]]:
    """Yield each column that cannot stand, once, and why."""
    told = set[str]()
    for fault in bad.faults:
        named = isinstance(fault, CellFault) and fault.column
        column = f"{fault.file}.{fault.column}" if isinstance(fault, CellFault) and named else ""
        if column in told and column:
            continue
        told.add(column)
        empty = isinstance(fault, CellFault) and named and not rows[fault.file].get(fault.column or "", "")
        yield column, "must not be empty" if empty else fault.problem
