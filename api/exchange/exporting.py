"""Everything in the database as tables: CSV and XLSX in one ZIP file, with a page on what each column is.

`edit/` holds the tables that can be taken in again, in the form in which they are; `tables/` every table as it is
stored. Passwords, sessions and links are left out: a copy of the export opens nothing.
"""

from __future__ import annotations

import csv
import datetime
import io
import json
import re
import zipfile
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa
from sqlmodel import Session, SQLModel, col, select

from api import tables
from api.fields.files.cells import clock_text, harmless, hours_text, lines_joined, weekdays_text
from api.fields.files.columns import COLUMNS, INTRODUCTION, TABLE_WORDS
from api.ledger.facts.week import facts
from api.papers.shown.job_page import span_of

Cells = tuple[Any, ...]  # one row, a value for each column of its table

# Tables and columns that hold what signs people in, with the reason that stands in the page on columns.
LEFT_OUT = {
    "sign_in": "who is signed in at the moment",
    "sign_in_try": "failed tries to sign in",
    "calendar_address": "private addresses of calendars",
    "busy_calendar": "private addresses of calendars that are fetched",
    "program_token": "tokens by which programs use the service",
    "day_link": "links that open a crew's day without signing in",
    "kept_answer": "answers kept for repeated requests",
    "second_factor": "keys of second factors",
    "recovery_code": "codes that stand for a second factor",
    "webhook": "addresses of other programs, with what their calls are signed with",
    "webhook_call": "calls to them",
    "text_gateway": "the gateway that sends text messages, with what it asks for",
}
SECRETS = {("account", "password")}
LONGEST_XLSX_CELL = 32_767
_NOT_IN_XML = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")


@dataclass(frozen=True)
class Table:
    """A table for people: `rows` hold one text or number for each name of `head`; None is an empty cell."""

    name: str
    head: tuple[str, ...]
    rows: tuple[tuple[str | int | float | None, ...], ...]


def export_zip(session: Session, now: datetime.datetime) -> bytes:
    """Return the ZIP file with all tables; the same database at the same moment gives the same bytes."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        put_tables(packed, session, now)
    return out.getvalue()


def put_tables(
    packed: zipfile.ZipFile, session: Session, now: datetime.datetime, one_more: Callable[[], None] = lambda: None
) -> None:
    """Put all tables into a ZIP file, for people: CSV and XLSX, and README.txt on what they are.

    `one_more` is called after each table that is put there as it is stored.
    """
    edit, stored = edit_tables(session), stored_tables(session)

    def put(name: str, data: bytes) -> None:
        packed.writestr(zipfile.ZipInfo(name, now.timetuple()[:6]), data, zipfile.ZIP_DEFLATED)

    put("README.txt", column_page(edit, stored, now).encode())
    for folder, group in (("edit", edit), ("tables", stored)):
        for table in group:
            put(f"{folder}/{table.name}.csv", to_csv(table))
            if group is stored:
                one_more()
        put(f"{folder}/{folder}.xlsx", to_xlsx(group, now))


def customer_cells(c: tables.Customer) -> Cells:
    return c.id, c.name, c.phone, c.email, c.note, c.language


def site_cells(s: tables.Site) -> Cells:
    place: Cells = (s.lat, s.lon) if s.placed else (None, None)
    return s.id, s.customer_id, s.town, s.address, *place, s.storeys, s.built, s.access


def order_cells(o: tables.Order) -> Cells:
    return o.id, o.site_id, o.ordered_on, o.note


def awning_cells(a: tables.Awning) -> Cells:
    sizes = a.width_mm, a.projection_mm, a.weight_kg, a.box_mm, a.boxes
    return a.id, a.order_id, a.model, *sizes, a.motor, a.cloth, a.yard_id, a.arrives_on


def visit_cells(v: tables.Visit, hours: Iterable[tables.VisitHours], booking: tables.Booking | None) -> Cells:
    told: Cells = (None,) * 6
    if booking is not None:
        start = clock_text(booking.start)
        told = (booking.crew_id, booking.day, start, booking.hold, booking.told_how, booking.told_words)
    allowed = hours_text(span_of(h) for h in hours)
    own = v.minutes, v.hands, " ".join(v.skills), v.fault, v.note
    assist = v.assist_hands, v.assist_minutes, v.assist_from, v.assist_to, " ".join(v.assist_skills)
    return v.id, v.work_id, v.site_id, v.order_id, v.awning_id, v.due_on, allowed, *told, *own, *assist


def edit_tables(session: Session) -> tuple[Table, ...]:
    """Return the tables that `api.exchange.importing` takes in, in its order and form."""
    known = facts(session)
    orders = session.exec(select(tables.Order).order_by(col(tables.Order.id)))
    return (
        _table("people", known.people.values(), lambda p: (
            p.id, p.name, p.yard_id, p.role, p.phone, " ".join(p.skills),
            weekdays_text(int(day) for day in p.weekdays), p.day_cents, p.language,
        )),
        _table("stock", known.stock, lambda s: (s.item, s.yard_id, s.name, s.on_hand, s.counted_on)),
        _table("customers", known.customers.values(), customer_cells),
        _table("sites", known.sites.values(), site_cells),
        _table("orders", orders, order_cells),
        _table("awnings", known.awnings.values(), awning_cells),
        _table("maker_parts", (p for parts in known.maker_parts.values() for p in parts.values()), lambda p: (
            p.awning_id, p.item, p.quantity,
        )),
        _table("visits", known.visits.values(), lambda v: visit_cells(
            v, known.hours.get(v.id, []), known.bookings.get(v.id)
        )),
    )  # fmt: skip


def _table(name: str, values: Iterable[Any], cells: Callable[[Any], tuple[Any, ...]]) -> Table:
    return Table(name, tuple(COLUMNS[name]), tuple(tuple(plain(cell) for cell in cells(value)) for value in values))


def stored_tables(session: Session) -> tuple[Table, ...]:
    """Return every table of the database but `LEFT_OUT`, with every column but `SECRETS`, rows by key."""
    found = []
    for table in sorted(SQLModel.metadata.tables.values(), key=lambda table: table.name):
        if table.name in LEFT_OUT:
            continue
        columns = [column for column in table.columns if (table.name, column.name) not in SECRETS]
        rows = session.execute(sa.select(*columns).order_by(*table.primary_key.columns)).all()
        head = tuple(column.name for column in columns)
        found.append(Table(table.name, head, tuple(tuple(plain(cell) for cell in row) for row in rows)))
    return tuple(found)


def plain(value: Any) -> str | int | float | None:
    """Return a stored value as text or number: dates and moments as ISO 8601, yes and no, lists and maps as JSON."""
    if value is None:
        return None
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return value
    if isinstance(value, datetime.datetime):
        return value.astimezone(datetime.UTC).isoformat().replace("+00:00", "Z")
    if isinstance(value, datetime.date):
        return value.isoformat()
    if isinstance(value, bytes):
        return value.hex()
    if isinstance(value, list | dict):
        return json.dumps(value, ensure_ascii=False, sort_keys=True)
    return lines_joined(str(value))


def to_csv(table: Table) -> bytes:
    """Return a table as CSV (RFC 4180), UTF-8 with a byte order mark, which spreadsheets need to see that it is."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(table.head)
    writer.writerows([harmless(cell) if isinstance(cell, str) else cell for cell in row] for row in table.rows)
    return out.getvalue().encode("utf-8-sig", "replace")


def to_xlsx(group: Sequence[Table], now: datetime.datetime) -> bytes:
    """Return the tables as one XLSX book, a sheet each; text is text, whatever it begins with.

    A number keeps 15 digits, as spreadsheets do. Characters that XML cannot hold become \ufffd; a text too long for a
    cell is left to the CSV file, and says so.
    """
    import openpyxl  # takes a while to load
    from openpyxl.styles import Font
    from openpyxl.utils import get_column_letter

    book = openpyxl.Workbook()
    book.remove(book.active)
    for table in group:
        sheet = book.create_sheet(table.name[:31])
        sheet.freeze_panes = "A2"
        for n, row in enumerate((table.head, *table.rows), 1):
            for m, cell in enumerate(row, 1):
                if cell is None or cell == "":
                    continue
                written = sheet.cell(n, m)
                if isinstance(cell, str):
                    text = harmless(_NOT_IN_XML.sub("\ufffd", cell))
                    if len(text) > LONGEST_XLSX_CELL:
                        text = f"too long for a cell ({len(text)} characters): see {table.name}.csv"
                    written.value, written.data_type = text, "s"
                else:
                    written.value = cell
                if n == 1:
                    written.font = Font(bold=True)
        for m, name in enumerate(table.head, 1):
            widest = max((len(str(row[m - 1])) for row in table.rows if row[m - 1] is not None), default=0)
            sheet.column_dimensions[get_column_letter(m)].width = min(max(widest, len(name)) + 2, 48)
    book.properties.creator = "Eaveboard"
    book.properties.created = book.properties.modified = now.astimezone(datetime.UTC).replace(tzinfo=None)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def column_page(edit: Sequence[Table], stored: Sequence[Table], now: datetime.datetime) -> str:
    """Return the page on what the files and their columns are."""
    lines = [INTRODUCTION.format(moment=plain(now)), "", "EDIT: these can be changed and imported again", ""]
    for table in edit:
        lines += [f"edit/{table.name}.csv ({len(table.rows)} rows): {TABLE_WORDS[table.name]}"]
        lines += [f"  {name:<22} {COLUMNS[table.name][name]}" for name in table.head] + [""]
    lines += ["TABLES: everything as it is stored", ""]
    for table in stored:
        lines += [f"tables/{table.name}.csv ({len(table.rows)} rows)"]
        columns = SQLModel.metadata.tables[table.name].columns
        lines += [f"  {name:<22} {_column_words(columns[name])}" for name in table.head] + [""]
    lines += ["NOT EXPORTED", ""]
    lines += [f"  {name}: {why}" for name, why in LEFT_OUT.items()]
    lines += [f"  {table}.{column}: lets people sign in" for table, column in sorted(SECRETS)]
    return "\n".join(lines) + "\n"


def _column_words(column: sa.Column[Any]) -> str:
    words = [type(column.type).__name__.lower()]
    words += ["key"] if column.primary_key else []
    words += [f"points to {key.target_fullname}" for key in sorted(column.foreign_keys, key=str)]
    words += ["may be empty"] if column.nullable else []
    return ", ".join(words)
