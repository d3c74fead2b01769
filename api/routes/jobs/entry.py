"""Forms for the rows of the work: a new job with its customer, site and awning, and each row changed by itself."""

from __future__ import annotations

import datetime
import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Annotated, Any, Literal, get_args

import msgspec
from fastapi import Query, Request
from fastapi.responses import RedirectResponse, Response
from sqlmodel import Session, col, select

from api import tables
from api.access.accounts import Role
from api.access.guards import Who, allow, found
from api.clock import Now, local_day, local_moments
from api.fields.addresses.streets import question_of
from api.fields.files.cells import usual_date
from api.fields.files.columns import COLUMNS
from api.fields.files.sheets import BadFiles
from api.fields.ids import new_id
from api.fields.limits import limit
from api.http import versions
from api.http.pages import Database, SentTexts, page
from api.http.problems import Problem, responses
from api.http.subject import Subject
from api.jobs import callbacks, entry, models
from api.jobs.entry import ROWS, Section
from api.jobs.in_a_row import DAYS, MINUTES, OF_FORM, in_a_row, row_faults, row_of
from api.jobs.numbers import called_after, job_number
from api.jobs.racks import rack_follows
from api.jobs.taken_away import call_off_services
from api.languages import gettext, to_say
from api.ledger.history import in_words, note
from api.office import keeping
from api.office.gates import begin_gates
from api.office.hanging import Hanging
from api.office.kinds import KINDS
from api.office.work_kinds import COST, offered
from api.places.form import Placing, blank, placed
from api.places.pins import pin_text
from api.routes.office.kinds import what_hangs
from api.routes.records import Words
from scheduler.errors import BadInput

router = Subject(tags=("visits",))
Office = Annotated[Who, allow(Role.manager, Role.office)]
Table = Literal["customers", "sites", "orders", "awnings", "visits"]
Id = Annotated[Words, Query(max_length=80)]
STATES = {"open": "open: it waits for its day", "done": "done", "cancelled": "cancelled: nobody goes there"}
_LETTERS = {"customers": "C", "sites": "S", "orders": "O", "awnings": "A", "visits": "J"}
_TITLES = {
    "customers": to_say("Customer"), "sites": to_say("Site"), "orders": to_say("Order"), "awnings": to_say("Awning"),
    "visits": to_say("Visit"),
}  # fmt: skip
_NEW_TITLES = {"awnings": "Awning that was sold", "visits": "What is to be done"}
# What the form fills in by itself: which row belongs to which.
_OWN = {
    "customers": ("customer",), "sites": ("customer",), "orders": ("site", "ordered_on"), "awnings": ("order",),
    "visits": ("site", "order", "awning"),
}  # fmt: skip


_PIN = "sites."  # what the names of the fields of a site's place begin with
# What a new job is asked for: a model that is known brings the rest of its awning, and what hangs one says no fault.
_ASKED = {
    "customers": ("name", "phone"), "sites": ("address", "town"), "visits": ("kind", "fault"),
    "awnings": ("model", "width_mm", "projection_mm"),
}  # fmt: skip


@router.get("/jobs/new")
def new_job(
    request: Request, session: Database, _: Office, customer: Id = "", site: Id = "", awning: Id = "", kind: Id = "",
    of: Id = "",
) -> Response:  # fmt: skip
    """Show the form for a new job: at another site of a known `customer`, a known `site`, or for a known `awning`.

    `kind` is its kind of work; of a callback, `of` is the visit that it comes back to.
    """
    cells = {table: entry.empty_cells(table) for table in ROWS}
    for table in ROWS:
        cells[table][entry.key_column(table)] = new_id(_LETTERS[table])
    cells["visits"]["kind"] = kind or ("repair" if awning else "install")
    cells["sites"]["storeys"] = "1"
    yards = _yards(session)
    cells["awnings"]["yard"] = yards[0][0] if yards else ""
    known = {"customer": customer, "site": site, "awning": awning}
    if awning:
        known["site"] = _site_of(session, awning)
    return _new_page(request, session, cells, known, sent={callbacks.OF: of})


@router.post("/jobs/new")
def make_job(request: Request, session: Database, now: Now, who: Office, sent: SentTexts) -> Response:
    """Make a job of the form, all of its rows or none; what cannot stand is told beside its field."""
    known = {name: sent.get(f"known.{name}", "") for name in ("customer", "site", "awning")}
    place = None
    if not known["site"]:
        address, town = (sent.get(f"sites.{name}", "") for name in ("address", "town"))
        sent, place = placed(session, request.app.state.places, sent, _PIN, address, town, may_wait=True)
    cells = {}
    for table in ROWS:
        key = entry.key_column(table)
        cells[table] = entry.typed(table, sent, entry.empty_cells(table))
        if not re.fullmatch(f"{_LETTERS[table]}-[a-z0-9]{{6}}", cells[table][key]):
            raise Problem(422, "The form has lost the numbers of its rows: open it again.", kind="bad-input")
    visit = cells["visits"]["visit"] = job_number(session, cells["visits"]["visit"])
    if session.get(tables.Visit, visit) is not None:
        return RedirectResponse(f"/jobs/{visit}", 303)  # sent twice
    form = {**cells, "visits": {**cells["visits"], "visit": sent["visits.visit"]}}
    try:
        cells["awnings"], parts = models.filled(session, cells["awnings"], _units(session))
    except BadInput as fault:
        return _new_page(request, session, form, known, {f"awnings.{fault.where}": fault.problem}, 422, place, sent)
    site = _site_of(session, known["awning"]) if known["awning"] else known["site"]
    if faults := callbacks.callback_faults(session, sent, site) | row_faults(session, sent):
        return _new_page(request, session, form, known, faults, 422, place, sent)
    for table in ("customers", "sites", "orders", "awnings"):  # whatever the form called them, none is there yet
        own = called_after(session, visit, ROWS[table], _LETTERS[table])
        cells[table] = {**cells[table], entry.key_column(table): own}
    rows = _linked(session, cells, known, local_day(session, now).isoformat())
    try:
        entry.keep(session, rows, by=who.name, now=now, pin=place.fault if place else "")
    except BadFiles as bad:
        return _new_page(request, session, form, known, entry.faults_by_field(bad), 422, place, sent)
    if (callback := callbacks.callback_of(sent, visit)) is not None:
        kind = KINDS["callbacks"]
        keeping.keep(session, kind, None, keeping.read(session, kind, callback), by=who.name, now=now)
    begin_gates(session, session.get_one(tables.Visit, visit), by=who.name, now=now)
    if (days := row_of(sent)) is not None:
        in_a_row(session, session.get_one(tables.Visit, visit), days, by=who.name, now=now)
    if "awnings" in rows:
        models.pack(session, cells["awnings"]["awning"], parts, by=who.name, now=now)
    return RedirectResponse(f"/jobs/{visit}", 303)


def _site_of(session: Session, awning_id: str) -> str:
    awning = found(session, tables.Awning, awning_id, "awning")
    return found(session, tables.Order, awning.order_id, "order").site_id


def _linked(
    session: Session, cells: Mapping[str, dict[str, str]], known: Mapping[str, str], today: str
) -> dict[str, dict[str, str]]:
    """Return the rows to be kept, in order, each naming those that it belongs to."""
    rows: dict[str, dict[str, str]] = {}
    site, order, awning = known["site"], "", known["awning"]
    if not site:
        customer = known["customer"] or cells["customers"]["customer"]
        if not known["customer"]:
            rows["customers"] = cells["customers"]
        rows["sites"] = cells["sites"] | {"customer": customer}
        site = cells["sites"]["site"]
    if awning:
        order = found(session, tables.Awning, awning, "awning").order_id
    elif cells["awnings"]["model"] or cells["awnings"]["width_mm"] or _hangs(session, cells["visits"]["kind"]):
        order, awning = cells["orders"]["order"], cells["awnings"]["awning"]
        rows["orders"] = cells["orders"] | {"site": site, "ordered_on": today}
        rows["awnings"] = cells["awnings"] | {"order": order}
    rows["visits"] = cells["visits"] | {"site": site, "order": order, "awning": awning}
    return rows


def _hangs(session: Session, work_id: str) -> bool:
    """Say whether a kind of work hangs an awning that is new."""
    work = session.get(tables.WorkKind, work_id) if "\0" not in work_id else None
    return work is not None and work.counts_as == "install"


def _new_page(
    request: Request, session: Session, cells: Mapping[str, Mapping[str, str]], known: Mapping[str, str],
    faults: Mapping[str, str] | None = None, status: int = 200, place: Placing | None = None,
    sent: Mapping[str, str] | None = None,
) -> Response:  # fmt: skip
    left_out = {"customers"} if known["customer"] or known["site"] else set()
    left_out |= ({"sites"} if known["site"] else set()) | ({"awnings"} if known["awning"] else set())
    titles = _TITLES | _NEW_TITLES
    known_models = models.model_names(session)
    asked: dict[str, tuple[str, ...] | None] = _ASKED | ({} if known_models else {"awnings": None})  # nothing brings it
    shown = [
        entry.section(table, titles[table], cells[table], without=_OWN[table], asked=asked[table])
        for table in ("customers", "sites", "visits", "awnings")
        if table not in left_out
    ]
    words = {
        "awnings": gettext(
            "A model that is entered brings weight, box and parts. Empty: a survey or repair of another awning."
        ),
    }
    values: dict[str, Any] = {
        "title": gettext("New job"),
        "sections": shown,
        "words": words,
        "known": known,
        "action": "/jobs/new",
        "models": known_models,
        "hangs": set(session.exec(select(tables.WorkKind.id).where(tables.WorkKind.counts_as == "install")).all()),
        "earlier": callbacks.earlier_visits(session, known["site"]) if known["site"] else [],
        "costs": COST,
        "callback": {name: (sent or {}).get(name, "") for name in (callbacks.OF, callbacks.COST)},
        "row": {name: (sent or {}).get(name, "") for name in OF_FORM},
        "row_limits": {OF_FORM[0]: DAYS.attributes(), OF_FORM[1]: MINUTES.attributes()},
    }
    if known["customer"]:
        values["customer"] = found(session, tables.Customer, known["customer"], "customer")
    if known["site"]:
        values["site"] = found(session, tables.Site, known["site"], "site")
    hidden = {f"{table}.{entry.key_column(table)}": row[entry.key_column(table)] for table, row in cells.items()}
    if "sites" not in left_out:
        values["place"] = place or blank(session, _PIN, may_wait=True)
    return _page(request, session, values | {"hidden": hidden}, faults, status)


@router.get("/records/{table}/{key}")
def one(
    request: Request, session: Database, _: Office, table: Table, key: str, job: Id = "",
    before: Annotated[int, Query(ge=0, lt=2**31, description="a change: the form as it was before it")] = 0,
) -> Response:  # fmt: skip
    """Show the form of one row; `job`: the job whose page one comes from and goes back to.

    `before`: a line of its history, which is taken back by keeping the form.
    """
    row: Any = found(session, ROWS[table], key, entry.key_column(table))
    cells = entry.cells_of(session, table, row, _units(session))
    line = next((line for line in entry.changes_of(session, table, key) if line.id == before), None)
    if line is not None:
        was = entry.as_before(table, cells, line)
        state, from_on = (line.detail[n][0] or "" if n in line.detail else None for n in entry.BESIDE)
        both = entry.section(table, _TITLES[table], was, cells)
        return _row_page(request, session, row, both, entry.mark_of(cells), job, state=state, from_on=from_on,
                         before=line)  # fmt: skip
    return _row_page(request, session, row, entry.section(table, _TITLES[table], cells), entry.mark_of(cells), job)


@router.post("/records/{table}/{key}", responses=responses(409, 412))
def change(
    request: Request, session: Database, now: Now, who: Office, table: Table, key: str, sent: SentTexts
) -> Response:
    """Take one row in from its form; posted visits that would fall by it are shown first.

    Answers 412 with both versions where somebody else has changed it meanwhile.
    """
    row: Any = found(session, ROWS[table], key, entry.key_column(table))
    kept, job = entry.cells_of(session, table, row, _units(session)), sent.get("job", "")
    own = {entry.key_column(table): key}
    place = None
    if isinstance(row, tables.Site):
        address, town = (sent.get(f"{_PIN}{name}", kept[name]) for name in ("address", "town"))
        moved = question_of(address, town) != question_of(row.address, row.town)
        sent, place = placed(session, request.app.state.places, sent, _PIN, address, town,
                             was=_pin_of(row), moved=moved, but=row.id, may_wait=True)  # fmt: skip
    cells = entry.typed(table, sent, kept) | own
    state = sent.get("state", getattr(row, "state", ""))
    mark = entry.mark_of(kept)
    if sent.get("mark") != mark:
        both = entry.section(table, _TITLES[table], cells, kept)
        return _row_page(request, session, row, both, mark, job, other=True, status=412, place=place)
    from_on = getattr(row, "from_on", None)
    try:
        from_on = _day_of(sent["from_on"]) if "from_on" in sent else from_on
    except BadInput as fault:
        same = entry.section(table, _TITLES[table], cells)
        return _row_page(request, session, row, same, mark, job, {"from_on": fault.problem}, status=422, place=place,
                         from_on=sent["from_on"])  # fmt: skip

    def do(session: Session) -> None:
        if cells != kept:
            entry.keep(session, {table: cells}, by=who.name, now=now, pin=place.fault if place else "")
        if table == "visits":
            visit = session.get_one(tables.Visit, key)
            _set_beside(session, visit, {"state": state, "from_on": from_on}, who, now)

    try:
        beside = (state, from_on) != (getattr(row, "state", ""), getattr(row, "from_on", None))
        falls = _falls(request, now, table, key, sent, do) if cells != kept or beside else None
        if falls is not None:
            same = entry.section(table, _TITLES[table], cells)
            return _row_page(request, session, row, same, mark, job, status=409, place=place, falls=falls, state=state,
                             from_on=sent.get("from_on"))  # fmt: skip
        do(session)
    except BadFiles as bad:
        faults = entry.faults_by_field(bad)
        return _row_page(
            request, session, row, entry.section(table, _TITLES[table], cells), mark, job, faults, status=422,
            place=place,
        )  # fmt: skip
    visit = key if table == "visits" else job
    if visit and "\0" not in visit and session.get(tables.Visit, visit) is not None:
        return RedirectResponse(f"/jobs/{visit}", 303)
    return RedirectResponse(f"/records/{table}/{key}", 303)


def _falls(
    request: Request, now: datetime.datetime, table: str, key: str, sent: Mapping[str, str],
    do: Callable[[Session], None],
) -> Hanging | None:  # fmt: skip
    """Return which posted visits fall by a change, where somebody has to see it first: not the one that is called off.

    What a customer is called makes none fall.
    """
    falls = what_hangs(request, now, sent, do) if table != "customers" else None
    if falls is None or table != "visits" or sent.get("state") != "cancelled":
        return falls
    others = tuple(one for one in falls.fall if one.visit_id != key)
    return replace(falls, fall=others) if others or falls.lost else None


def _pin_of(site: tables.Site) -> str:
    return pin_text(site.lat, site.lon) if site.placed else ""


def _day_of(text: str) -> datetime.date | None:
    return limit("visit.from_on").check(usual_date(text.strip())) if text.strip() else None


def _set_beside(
    session: Session, row: tables.Visit, wanted: Mapping[str, Any], who: Who, now: datetime.datetime
) -> None:  # fmt: skip
    """Keep what stands in no file: the state of a visit, and the day from which it is wanted."""
    if wanted["state"] not in STATES:
        words = f'must be one of {", ".join(STATES)}, is "{wanted["state"]}"'
        raise Problem(422, f"state: {words}", kind="bad-input")
    before = {name: getattr(row, name) for name in wanted}
    changes = {name: value for name, value in wanted.items() if before[name] != value}
    if not changes:
        return
    if not versions.update(session, row, changes):
        raise Problem(409, "Somebody changed this at the same moment; read it again.", kind="changed-meanwhile")
    detail = msgspec.to_builtins({name: [before[name], value] for name, value in changes.items()})
    note(session, now, who.name, "changed", "visit", row.id, detail)
    if "done" in (before["state"], changes.get("state")):
        day = local_day(session, now)
        rack_follows(session, row, done=row.state == "done", day=day, by=who.name, now=now)
        if row.state == "done":
            call_off_services(session, row, by=who.name, now=now)


def _row_page(
    request: Request, session: Session, row: Any, shown: Section, mark: str, job: str,
    faults: Mapping[str, str] | None = None, *, other: bool = False, status: int = 200, place: Placing | None = None,
    from_on: str | None = None, falls: Hanging | None = None, state: str | None = None,
    before: tables.History | None = None,
) -> Response:  # fmt: skip
    values = {
        "title": f"{gettext(_TITLES[shown.table])} {shown.key}", "sections": [shown], "words": {},
        "other": other, "job": job,
        "action": f"/records/{shown.table}/{shown.key}", "hidden": {"mark": mark, "job": job},
        "states": STATES if isinstance(row, tables.Visit) else {},
        "state": getattr(row, "state", "") if state is None else state, "falls": falls,
        "before": before, "moment": local_moments(session),
        "changes": [(line, in_words(line, shown.key)) for line in entry.changes_of(session, shown.table, shown.key)],
        "from_on": getattr(row, "from_on", None) if from_on is None else from_on,
        "work_now": getattr(row, "work_id", ""),
    }  # fmt: skip
    if isinstance(row, tables.Site):
        values["place"] = place or blank(session, _PIN, _pin_of(row), row.id, may_wait=True)
    return _page(request, session, values, faults, status)


def _page(
    request: Request, session: Session, values: dict[str, Any], faults: Mapping[str, str] | None, status: int
) -> Response:
    choices = {"awnings.yard": _yards(session), "visits.kind": offered(session, values.get("work_now", ""))}
    names = {field.name for section in values["sections"] for field in section.fields}
    names |= {callbacks.OF, callbacks.COST, "from_on", *OF_FORM}
    loose = [problem for name, problem in (faults or {}).items() if name not in names]
    shown = (
        {"hangs": set(), "falls": None, "before": None, "changes": ()}
        | values
        | {"faults": faults or {}, "loose": loose, "choices": choices}
    )
    return page(request, "jobs/entry.html", shown, status)


def _yards(session: Session) -> list[tuple[str, str]]:
    return [(yard.id, yard.name) for yard in session.exec(select(tables.Yard).order_by(col(tables.Yard.id)))]


def _units(session: Session) -> str:
    return session.exec(select(tables.Business.units)).first() or "imperial"


assert set(get_args(Table)) == set(ROWS) <= set(COLUMNS)
