"""Rows of the work as somebody types them: the columns of a table that comes as a file, with the same checks.

A form has sections, each a row of one table; its fields are called "visits.due_on". Nothing is kept while one cell
cannot stand.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from sqlmodel import Session, SQLModel, col, select

from api import tables
from api.exchange import exporting
from api.exchange.importing import Imported, import_tables
from api.fields.column_limits import Date, Text
from api.fields.files.cells import lines_joined
from api.fields.files.columns import COLUMNS
from api.fields.files.sheets import BadFiles
from api.fields.limits import LIMITS
from api.fields.measures import in_bounds, office_length, office_weight
from api.ledger.fingerprint import fingerprint
from api.ledger.told import told_now
from api.places.pins import pin_text
from api.uploads.reading import CellFault, Upload, typed_row
from scheduler.errors import BadInput
from scheduler.units import exact_length, exact_number

ROWS: dict[str, type[SQLModel]] = {
    "customers": tables.Customer,
    "sites": tables.Site,
    "orders": tables.Order,
    "awnings": tables.Awning,
    "visits": tables.Visit,
}
# What the customer was told is changed where it is told: by posting, rebooking and holding.
_TOLD = ("booked_crew", "booked_on", "booked_at", "hold", "told_how", "told_words")
_LABELS = {
    "pin": "Pin", "box_mm": "Box length", "ordered_on": "Ordered on",
    "arrives_on": "Arrives on", "due_on": "Due", "hours": "Hours allowed", "hands": "People",
    "fault": "Work to be done", "built": "Year built", "email": "E-mail", "minutes": "Minutes on site",
    "assist_hands": "Second crew: people", "assist_minutes": "Second crew: minutes",
    "assist_from": "Second crew: at the earliest", "assist_to": "Second crew: at the latest",
    "assist_skills": "Second crew: skills",
}  # fmt: skip
# Where a label says it all, and where a file's column says less than a form can: a form takes any usual writing.
_PLAIN = frozenset({"name", "phone", "email", "town", "address", "kind", "model", "cloth", "motor"})
_MEANINGS = {
    "pin": "latitude, longitude as any map gives them, such as 41.0213, -91.0305; the map moves with it",
    "width_mm": """sold width, such as 14 ft, 12' 6" or 3810 mm""",
    "projection_mm": "how far it comes out, such as 10 ft or 3.1 m",
    "box_mm": """of the longest box, such as 14' 10" or 4520 mm""",
    "weight_kg": "with its brackets, such as 130 lb or 59 kg",
    "boxes": "how many long boxes",
    "due_on": "the day by which it should be done, such as April 20, 2027; empty: none",
    "arrives_on": "the day on which the crates come or came; empty: none named",
    "minutes": "overrules the estimate; empty: as estimated",
    "hands": "overrules the estimate; empty: as estimated",
    "skills": "masonry, stucco, roof-mount, motor-setup, with blanks between; what the wall asks for comes by itself",
    "note": "what whoever plans or goes there should know",
    "access": "what the crew must know: the gate, the dog, where the van stands",
    "fault": "what a repair is for",
    "language": "in which the customer is written to",
    "hours": "such as Mon-Fri 8:00-17:00; Sat 9:00-12:00; empty: any",
    "assist_hands": "how many of another crew come for the lift; empty: none",
    "assist_minutes": "for how long they come",
    "assist_from": "minutes after the work begins; empty: from its beginning",
    "assist_to": "minutes after the work begins; empty: as late as the work allows",
    "assist_skills": "what one of them has to know, as above; empty: nothing",
}
_CHOICES = {
    "language": (("", "the business's language"), ("en", "English"), ("es", "Spanish")),
    "motor": (("", "a crank"), ("left", "motor left"), ("right", "motor right")),
}
_PLACE = ("lat", "lon")  # one field on a form, the pin
_MOST_PIN = 60
_MOST_CHANGES = 10
BESIDE = ("state", "from_on")  # of a visit, beside its cells
_MOST_WRITING = 400  # letters of a length, a day or hours, however they are written
_LINES, _WIDE = ("note", "access", "fault"), ("address", "hours")


@dataclass(frozen=True)
class Field:
    """One cell: `text` as it stands or was typed, `now` what is kept where somebody else has changed it meanwhile.

    `wide` takes a long line, `lines` several; `held` are the attributes by which a browser keeps it to its limit.
    `more`: seldom filled in, asked last.
    """

    name: str
    label: str
    text: str
    meaning: str
    choices: tuple[tuple[str, str], ...] = ()
    wide: bool = False
    lines: bool = False
    now: str | None = None
    held: Mapping[str, str] = field(default_factory=dict)
    more: bool = False


@dataclass(frozen=True)
class Section:
    """One row of a table, `key` its id."""

    table: str
    title: str
    key: str
    fields: tuple[Field, ...]


def key_column(table: str) -> str:
    """Return the column that names a table's rows: customers are told apart by "customer"."""
    return table.removesuffix("s")


def cells_of(session: Session, table: str, row: Any, units: str) -> dict[str, str]:
    """Return the cells of a stored row as a form shows them, by column; lengths as the business measures them."""
    if isinstance(row, tables.Visit):
        hours = select(tables.VisitHours).where(tables.VisitHours.visit_id == row.id)
        spans = session.exec(hours.order_by(col(tables.VisitHours.id))).all()
        cells = exporting.visit_cells(row, spans, told_now(session, row.id))
    else:
        write: Mapping[str, Callable[[Any], exporting.Cells]] = {
            "customers": exporting.customer_cells, "sites": exporting.site_cells,
            "orders": exporting.order_cells, "awnings": exporting.awning_cells,
        }  # fmt: skip
        cells = write[table](row)
    return {
        column: _shown(column, value, units) for column, value in zip(COLUMNS[table], cells, strict=True)
        if column not in _TOLD
    }  # fmt: skip


def empty_cells(table: str) -> dict[str, str]:
    """Return the cells of a row that is to be made."""
    return {column: "" for column in COLUMNS[table] if column not in _TOLD}


def section(
    table: str, title: str, cells: Mapping[str, str], kept: Mapping[str, str] | None = None,
    without: Sequence[str] = (), asked: Sequence[str] | None = None,
) -> Section:  # fmt: skip
    """Return the section for a row with `cells`, but for its key and the columns `without`; `kept`: as stored now.

    `asked` are the columns that are always filled in (None: all are shown alike); they come first.
    """
    fields = [
        Field(
            name=f"{table}.{column}",
            label=_LABELS.get(column) or column.removesuffix("_mm").removesuffix("_kg").replace("_", " ").capitalize(),
            text=text,
            meaning="" if column in _PLAIN else _MEANINGS.get(column, COLUMNS[table][column]),
            choices=_CHOICES.get(column, ()),
            wide=column in _WIDE,
            lines=column in _LINES,
            held=_held(table, column),
            more=asked is not None and column not in asked,
            now=kept[column] if kept is not None and kept[column] != text else None,
        )
        for column, text in cells.items()
        if column != key_column(table) and column not in (*without, *_PLACE)
    ]
    if table == "sites":
        fields.append(_pin(cells, kept))
    return Section(table, title, cells[key_column(table)], tuple(sorted(fields, key=lambda field: field.more)))


def _pin(cells: Mapping[str, str], kept: Mapping[str, str] | None) -> Field:
    """Return the one field that holds a site's latitude and longitude."""
    text = pin_text(cells["lat"], cells["lon"])
    now = pin_text(kept["lat"], kept["lon"]) if kept is not None else text
    return Field("sites.pin", _LABELS["pin"], text, _MEANINGS["pin"], held={"maxlength": str(_MOST_PIN)}, more=True,
                 now=now if now != text else None)  # fmt: skip


def _held(table: str, column: str) -> dict[str, str]:
    """Return the attributes of a cell's input, by the table of limits; lengths, weights and days take any writing."""
    limit = LIMITS.get(f"{ROWS[table].__tablename__}.{column}")
    if limit is None or isinstance(limit, Date) or column.endswith(("_mm", "_kg", "skills")):
        return {"maxlength": str(_MOST_WRITING)}
    held = limit.attributes()
    if isinstance(limit, Text) and limit.least and table != "awnings":  # a job may be of no awning
        held["required"] = ""
    return held


def changes_of(session: Session, table: str, key: str) -> list[tables.History]:
    """Return the last changes of a row that its form can take back, the newest first."""
    line = tables.History
    mine = (line.noun == key_column(table), line.noun_id == key, line.did == "changed")
    lines = session.exec(select(line).where(*mine).order_by(col(line.id).desc()).limit(_MOST_CHANGES)).all()
    return [one for one in lines if _texts_before(table, one)]


def as_before(table: str, cells: Mapping[str, str], line: tables.History) -> dict[str, str]:
    """Return the cells of a row with what it said before a change, where the change is one of `changes_of`."""
    return {**cells, **{name: text for name, text in _texts_before(table, line).items() if name in cells}}


def _texts_before(table: str, line: tables.History) -> dict[str, str]:
    """Return by column what a row said before a change; empty where the history does not say it."""
    found = {}
    for name, pair in line.detail.items():
        if not isinstance(pair, list) or len(pair) != 2 or (name == "kind" and "work_id" in line.detail):
            continue
        column, was = {"work_id": "kind"}.get(name, name.removesuffix("_id")), pair[0]
        if isinstance(was, list | dict) or (column not in COLUMNS[table] and column not in BESIDE):
            continue
        text = "" if was is None else str(was)
        unit = "mm" if column.endswith("_mm") else "kg" if column.endswith("_kg") else ""
        found[column] = f"{text} {unit}".strip() if text else ""
        if column.endswith("skills"):
            found[column] = text.replace(",", " ")
    return found


def mark_of(cells: Mapping[str, str]) -> str:
    """Return what tells this state of a row from any other."""
    return fingerprint(dict(cells))[:16]


def typed(table: str, form: Mapping[str, str], cells: Mapping[str, str]) -> dict[str, str]:
    """Return `cells` with what a form says of them."""
    return {column: lines_joined(form.get(f"{table}.{column}", text)).strip() for column, text in cells.items()}


def keep(
    session: Session, rows: Mapping[str, Mapping[str, str]], *, by: str, now: datetime.datetime, pin: str = ""
) -> Imported:  # fmt: skip
    """Take rows in, one of each table that is named; raises `BadFiles` with every cell that cannot stand.

    pin: what is wrong with the place of the site.
    """
    uploads, faults = list[Upload](), list[BadInput]()
    if pin:
        faults.append(CellFault("sites", pin, row=1, column="pin"))
        rows = {**rows, "sites": {**rows["sites"], "lat": "0", "lon": "0"}}
    business = session.get(tables.Business, 1)
    units = business.units if business else "imperial"
    for table, cells in rows.items():
        ready = {}
        for column, text in cells.items():
            try:
                ready[column] = stored(column, text, units)
            except BadInput as fault:
                ready[column] = "500"  # some measure that stands: what is wrong with the text is told already
                faults.append(CellFault(table, fault.problem, row=1, column=column))
        uploads.append(typed_row(table, {column: ready.get(column, "") for column in COLUMNS[table]}))
    try:
        done = import_tables(session, uploads, keep=not faults, now=now, by=by, by_hand=True)
    except BadFiles as bad:
        raise BadFiles([*faults, *bad.faults]) from None
    if faults:
        raise BadFiles(faults)
    return done


def faults_by_field(bad: BadFiles) -> dict[str, str]:
    """Return what is wrong by the name of the field; under "" what is wrong with no single one."""
    found: dict[str, str] = {}
    for fault in bad.faults:
        cell = isinstance(fault, CellFault) and fault.column is not None
        name = f"{fault.file}.{fault.column}" if isinstance(fault, CellFault) and cell else ""
        found[name] = f"{found[name]}; {fault.problem}" if name in found else fault.problem
    return found


def _shown(column: str, value: Any, units: str) -> str:
    if value is None:
        return ""
    if column.endswith("_mm"):
        return exact_length(value, units)
    if column.endswith("_kg"):
        return f"{exact_number(value)} kg"
    return str(exporting.plain(value))


def stored(column: str, text: str, units: str) -> str:
    """Return what was typed as a table's cell holds it: whole millimetres and kilograms."""
    if text and column.endswith("_mm"):
        return str(in_bounds(LIMITS[f"awning.{column}"], office_length(text, units), units))
    if text and column.endswith("_kg"):
        return str(in_bounds(LIMITS[f"awning.{column}"], office_weight(text, units), units, "kg"))
    return text
