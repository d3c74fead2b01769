"""What can stand in a line of the lists of customers, sites and jobs; a column is called after its table's."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

from sqlmodel import Session, select

from api import tables
from api.fields.measures import by_unit_of_head, office_length, office_weight
from api.jobs import entry
from api.ledger.days.day_rows import days_of
from api.ledger.told import told_now
from api.office.kind import Kind, KindColumn, Values, day, names, plain
from api.office.lists.reading import FIRST, HOUSE, LAST, UNIT

MOTORS = {
    "l": "left", "lh": "left", "left side": "left", "r": "right", "rh": "right", "right side": "right",
    "manual": "", "crank": "", "hand crank": "", "none": "", "no motor": "",
}  # fmt: skip
BOOKED = ("visits.booked_crew", "visits.booked_on", "visits.booked_at", "visits.hold")


def _of(table: str, column: KindColumn) -> KindColumn:
    """Return a column under the name of its table as files have it, customers.phone; its values are texts."""
    return replace(column, name=f"{table}.{column.name}", write=lambda text, _: str(text))


def _text(table: str, name: str, label: str, **more: Any) -> KindColumn:
    return KindColumn(f"{table}.{name}", label, lambda text, _: text, may_be_empty=True, empty="", **more)


def _sized(name: str, label: str, read: Callable[[str, str], Any], **more: Any) -> KindColumn:
    by_head = by_unit_of_head if name.endswith(("_mm", "_kg")) else None
    return KindColumn(f"awnings.{name}", label, read, may_be_empty=True, short_list=False, by_head=by_head, **more)


_PHONE_NAMES = ("telephone", "cell", "cell phone", "mobile", "tel")
_WHO = (
    _of("customers", plain("customer", "name", "Name", aliases=("full name", "customer", "client", "customer name"))),
    _of(
        "customers", plain("customer", "phone", "Phone", hint={"maxlength": "40", "type": "tel"}, aliases=_PHONE_NAMES)
    ),
    _of(
        "customers",
        plain("customer", "email", "E-mail", may_be_empty=True, empty="", aliases=("mail", "email address")),
    ),
)
_WHERE = (
    _of("sites", plain("site", "address", "Address", may_be_empty=True, meaning="street and number, or all in one",
                       aliases=("street", "street address", "address 1", "job address", "site address",
                                "where"), wide=True)),
    _of("sites", plain("site", "town", "Town", may_be_empty=True, aliases=("city", "place"))),
    _of("sites", plain("site", "storeys", "Stories", may_be_empty=True, short_list=False,
                       aliases=("stories", "floors"))),
    _of("sites", plain("site", "built", "Year built", may_be_empty=True, short_list=False)),
    _of("sites", plain("site", "access", "Access", may_be_empty=True, short_list=False,
                       meaning="the gate, the dog, where the van stands", aliases=("directions",))),
)  # fmt: skip
_NAME_PIECES = (
    _text("customers", FIRST.partition(".")[2], "First name", aliases=("given name", "first")),
    _text("customers", LAST.partition(".")[2], "Last name", aliases=("surname", "family name", "last")),
)
_ADDRESS_PIECES = (
    _text("sites", HOUSE.partition(".")[2], "House number", aliases=("house no", "street number", "street no")),
    _text(
        "sites", UNIT.partition(".")[2], "Address, second line", aliases=("address 2", "apt", "unit", "address line 2")
    ),
)
_NUMBER = _text("customers", "customer", "Customer’s number", short_list=False, aliases=("customer id", "customer no"))
_NEW = "/jobs/new"  # a customer and a site are made with their first job
_NOTE = ("notes", "remarks", "comment", "comments")


def _cells(session: Session, table: str, row: Any) -> Values:
    units = session.exec(select(tables.Business.units)).first() or "imperial"
    return {f"{table}.{name}": text for name, text in entry.cells_of(session, table, row, units).items()}


def _customer(session: Session, rows: Sequence[Any]) -> dict[Any, Values]:
    """Return the columns of customers; the address is that of the only site."""
    found = {}
    for row in rows:
        sites = session.exec(select(tables.Site).where(tables.Site.customer_id == row.id).limit(2)).all()
        found[row.id] = _cells(session, "customers", row) | _cells_or_none(session, "sites", sites)
    return found


def _cells_or_none(session: Session, table: str, rows: Sequence[Any]) -> Values:
    """Return the cells of the only row, empty ones where there is none or there are several."""
    if len(rows) == 1:
        return _cells(session, table, rows[0])
    return {f"{table}.{name}": "" for name in entry.empty_cells(table)}


def _site(session: Session, rows: Sequence[Any]) -> dict[Any, Values]:
    return {
        row.id: _cells(session, "sites", row)
        | _cells(session, "customers", session.get_one(tables.Customer, row.customer_id))
        for row in rows
    }


_ASSIST = (
    ("assist_hands", "Second crew: people"), ("assist_minutes", "Second crew: minutes"),
    ("assist_from", "Second crew: at the earliest"), ("assist_to", "Second crew: at the latest"),
)  # fmt: skip


def _job(session: Session, rows: Sequence[Any]) -> dict[Any, Values]:
    found = {}
    for row in rows:
        site = session.get_one(tables.Site, row.site_id)
        awning = [session.get_one(tables.Awning, row.awning_id)] if row.awning_id else []
        found[row.id] = {
            **_cells(session, "customers", session.get_one(tables.Customer, site.customer_id)),
            **_cells(session, "sites", site),
            **_cells_or_none(session, "awnings", awning),
            **_cells(session, "visits", row),
            **booked(told_now(session, row.id)),
            "visits.days": _days(session, row),
        }
    return found


def _days(session: Session, visit: tables.Visit) -> str:
    """Return in how many days in a row a job is done, in the line of the first; empty: in one."""
    row = days_of(session, visit)
    return str(len(row)) if len(row) > 1 and row[0] is visit else ""


def booked(told: tables.Booking | None) -> dict[str, str]:
    """Return what a customer was told as the cells of a line."""
    if told is None:
        return dict.fromkeys(BOOKED, "")
    at = f"{told.start // 60}:{told.start % 60:02}"
    return dict(zip(BOOKED, (told.crew_id, told.day.isoformat(), at, told.hold), strict=True))


WORK = (
    Kind("customers", "Customers", "customer", tables.Customer, "Who buys: name, phone, mail and address.", (
        plain("customer", "id", "Number", may_be_empty=True, aliases=("customer number", "customer id", "id")),
        *_WHO,
        *_WHERE,
        _of("customers", plain("customer", "note", "Note", short_list=False, aliases=_NOTE)),
    ), pieces=_NAME_PIECES + _ADDRESS_PIECES, also=_customer, by_lines="customers", row_at="/records/customers/{}",
        new_at=_NEW),
    Kind("sites", "Sites", "site", tables.Site, "Where the work is; a customer may have several.", (
        plain("site", "id", "Number", may_be_empty=True, aliases=("site number", "site id", "id")),
        *_WHERE,
        _of("sites", plain("site", "lat", "Latitude", may_be_empty=True, short_list=False)),
        _of("sites", plain("site", "lon", "Longitude", may_be_empty=True, short_list=False)),
        _NUMBER, *_WHO,
    ), pieces=_NAME_PIECES + _ADDRESS_PIECES, also=_site, by_lines="sites", row_at="/records/sites/{}",
        new_at=_NEW),
    Kind("jobs", "Jobs", "visit", tables.Visit,
         "What is to be done, where and for whom, with the awning that was sold.", (
        plain("visit", "id", "Job", may_be_empty=True, aliases=("job number", "job id", "number", "id")),
        _of("visits", plain("visit", "kind", "Kind", start="install", aliases=("type", "work", "job type"))),
        _NUMBER, *(replace(column, short_list=column.name != "customers.email") for column in _WHO), *_WHERE,
        _of("visits", day("visit", "due_on", "Due", may_be_empty=True,
                          aliases=("due date", "by", "deadline", "install date", "installation date", "install by"))),
        _text("visits", "hours", "Hours allowed", short_list=False, aliases=("when", "availability")),
        _text("awnings", "model", "Model", short_list=False, aliases=("awning", "product")),
        _sized("width_mm", "Width", office_length, aliases=("wide",)),
        _sized("projection_mm", "Projection", office_length, aliases=("proj", "depth")),
        _sized("weight_kg", "Weight", office_weight, aliases=("lb", "lbs", "pounds")),
        _sized("box_mm", "Box length", office_length),
        _sized("boxes", "Long boxes", lambda text, _: text),
        _text("awnings", "motor", "Motor", short_list=False, words=MOTORS,
              aliases=("motor side", "drive", "operation")),
        _text("awnings", "cloth", "Cloth", short_list=False, aliases=("fabric", "color")),
        _of("awnings", names("yard", "Yard", "yards", may_be_empty=True, short_list=False)),
        _of("awnings", day("awning", "arrives_on", "Arrives on", may_be_empty=True, short_list=False,
                           aliases=("arrival", "crate due"))),
        _of("visits", plain("visit", "minutes", "Minutes on site", may_be_empty=True, short_list=False)),
        _text("visits", "days", "Days in a row", short_list=False,
              meaning="2 to 10, where it takes so many; its minutes are those of each day",
              aliases=("number of days",)),
        _of("visits", plain("visit", "hands", "People", may_be_empty=True, short_list=False)),
        _text("visits", "skills", "Skills", short_list=False),
        *(_of("visits", plain("visit", name, label, may_be_empty=True, short_list=False)) for name, label in _ASSIST),
        _text("visits", "assist_skills", "Second crew: skills", short_list=False),
        _of("visits", plain("visit", "fault", "Work to be done", short_list=False,
                             aliases=("fault", "problem", "what is wrong", "trouble"))),
        _of("visits", names("booked_crew", "Told: crew", "crews", may_be_empty=True, short_list=False,
                            aliases=("crew", "booked crew"))),
        _of("visits", replace(day("booking", "day", "Told: day", short_list=False,
                                  aliases=("booked on", "appointment date")),
                              name="booked_on", may_be_empty=True)),
        _text("visits", "booked_at", "Told: hour", short_list=False, aliases=("booked at", "appointment time", "time")),
        _of("visits", replace(plain("booking", "hold", "Told: how firmly", short_list=False, aliases=("hold",)),
                              may_be_empty=True, empty="")),
        _of("visits", plain("visit", "note", "Note", short_list=False, aliases=_NOTE)),
    ), pieces=_NAME_PIECES + _ADDRESS_PIECES, also=_job, by_lines="visits", row_at="/jobs/{}", new_at=_NEW),
)  # fmt: skip
