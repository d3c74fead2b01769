"""Set up: every kind of row of the business as a list, a form and a table, with what hangs on a change and undoing."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Mapping
from typing import Annotated, Any
from urllib.parse import quote, urlencode

import sqlalchemy as sa
from fastapi import Path, Query, Request
from fastapi.responses import RedirectResponse, Response
from sqlmodel import Session, select

from api import tables
from api.access.accounts import Role
from api.access.guards import Who, allow, found
from api.business.part import BadValues
from api.calendars.kept import standing
from api.clock import Now, local_moments
from api.fields.addresses.streets import question_of
from api.http.headers import disposition
from api.http.pages import Database, SentTexts, page
from api.http.problems import Problem, responses
from api.http.subject import Subject
from api.languages import gettext
from api.ledger.history import in_words
from api.office import keeping
from api.office.files import busy, sheets
from api.office.groups import grouped
from api.office.hanging import Hanging, hanging
from api.office.keeping import Record
from api.office.kind import Kind, Values
from api.office.kinds import KINDS
from api.office.lacking import lacking
from api.office.lists.undoing import lists_of
from api.places.form import Placing, blank, placed
from api.places.pins import pin_text
from scheduler.errors import BadInput

router = Subject(prefix="/set-up", tags=("set up",))
Office = Annotated[Who, allow(Role.manager, Role.office)]
KindId = Annotated[str, Path(max_length=40, description=f"one of {', '.join(KINDS)}")]
Key = Annotated[list[str], Query(max_length=3, description="the key of the row, each part once")]
MOST_SHOWN = 200


@router.get("")
def overview(request: Request, session: Database, now: Now, _: Office) -> Response:
    """Show what is missing before a week can be planned, and all kinds with how many rows each has."""
    counts = {
        kind.id: session.exec(select(sa.func.count()).select_from(kind.table)).one() for kind in KINDS.values()
    }  # fmt: skip
    titles = {kind.id: kind.title for kind in KINDS.values()}
    values = {"groups": grouped(), "titles": titles, "counts": counts, "lacks": lacking(session, now)}
    return page(request, "office/overview.html", values)


@router.get("/{kind_id}")
def listed(request: Request, session: Database, _: Office, kind_id: KindId, kept: str = "") -> Response:
    """Show the rows of a kind, and their last changes."""
    return list_page(request, session, kind_called(kind_id), kept=kept[:200])


@router.get("/{kind_id}/table.csv", response_class=Response)
def table_csv(session: Database, _: Office, kind_id: KindId) -> Response:
    """Give the rows of a kind as CSV, in the words of its form; it can be taken in again."""
    kind = kind_called(kind_id)
    rows = [[record.texts[c.name] for c in kind.columns] for record in keeping.records(session, kind)]
    return csv_answer(sheets.to_csv([c.head for c in kind.columns], rows), f"{kind.id}.csv")


@router.get("/{kind_id}/blank.csv", response_class=Response)
def blank_csv(_: Office, kind_id: KindId) -> Response:
    """Give an empty table of a kind, to be filled in."""
    kind = kind_called(kind_id)
    return csv_answer(sheets.to_csv([c.head for c in kind.columns], []), f"{kind.id}-blank.csv")


@router.get("/{kind_id}/new")
def new(request: Request, session: Database, _: Office, kind_id: KindId, of: str = "") -> Response:
    """Show the form of a new row; `of` is what it belongs to."""
    kind = kind_called(kind_id)
    if kind.by_lines:
        return RedirectResponse(kind.new_at, 303)
    texts = {c.name: of[:80] if c.owner and of else c.start for c in kind.columns}
    for name, rows in keeping.choices(session, kind).items():
        if len(rows) == 1 and not texts[name] and not kind.column(name).may_be_empty:
            texts[name] = rows[0][0]
    return _form(request, session, kind, None, texts)


@router.post("/{kind_id}/new", responses=responses(409))
def make(
    request: Request, session: Database, now: Now, who: Office, kind_id: KindId, sent: SentTexts
) -> Response:  # fmt: skip
    """Make a row from its form, or show what would fall by it first."""
    return _take(request, session, _with_a_form(kind_id), None, sent, who, now)


@router.get("/{kind_id}/row")
def row(request: Request, session: Database, _: Office, kind_id: KindId, key: Key) -> Response:
    """Show the form of a row, and its last changes."""
    kind = kind_called(kind_id)
    record = _record(session, kind, key)
    if kind.by_lines:
        return RedirectResponse(_address(kind, record), 303)
    return _form(request, session, kind, record, record.texts)


@router.post("/{kind_id}/row", responses=responses(409, 412))
def change(
    request: Request, session: Database, now: Now, who: Office, kind_id: KindId, key: Key, sent: SentTexts
) -> Response:  # fmt: skip
    """Change or delete a row from its form; what would fall by it is shown first, and what was typed is kept."""
    kind = _with_a_form(kind_id)
    return _take(request, session, kind, _record(session, kind, key), sent, who, now)


@router.post("/{kind_id}/undo/{line_id}", responses=responses(409))
def undo(
    request: Request, session: Database, now: Now, who: Office, kind_id: KindId, sent: SentTexts,
    line_id: Annotated[int, Path(ge=1, le=2**31 - 1)],
) -> Response:  # fmt: skip
    """Take one change back; what would fall by it is shown first."""
    kind = kind_called(kind_id)
    line = found(session, tables.History, line_id, "line of the history")

    def do(session: Session) -> None:
        keeping.undo(session, keeping.undoing(session, line), by=who.name, now=now)

    try:
        hangs = what_hangs(request, now, sent, do)
        if hangs is not None:
            values = {"home": f"/set-up/{kind.id}", "title": kind.title, "hangs": hangs,
                      "action": str(request.url.path), "what": "Undo it anyway"}  # fmt: skip
            return page(request, "office/hangs.html", values, status=409)
        do(session)
    except BadValues as fault:
        return list_page(request, session, kind, fault="; ".join(problem for _, problem in fault.faults), status=409)
    except BadInput as fault:
        return list_page(request, session, kind, fault=fault.problem, status=409)
    return _on(kind, "Undone.")


def kind_called(kind_id: str) -> Kind:
    """Return the kind that an address names; answers 404 where there is none."""
    if kind_id not in KINDS:
        raise Problem(404, f'There is no "{kind_id}" to set up; there is {", ".join(KINDS)}.')
    return KINDS[kind_id]


def _with_a_form(kind_id: str) -> Kind:
    kind = kind_called(kind_id)
    if kind.by_lines:
        raise Problem(404, f"{kind.title} are made at {kind.new_at} and changed on the pages that their list leads to.")
    return kind


def _record(session: Session, kind: Kind, key: list[str]) -> Record:
    record = keeping.record_of(session, kind, key)
    if record is None:
        raise Problem(404, f"There is no {kind.noun} {', '.join(key)}.")
    return record


def _take(
    request: Request, session: Session, kind: Kind, old: Record | None, sent: dict[str, str], who: Who,
    now: datetime.datetime,
) -> Response:  # fmt: skip
    """Keep or delete a row as its form says; show the form again where it cannot be, or where visits would fall."""
    place = None
    if kind.table is tables.Yard:
        sent, place = _placed(request, session, old, sent)
    job = _job_of(session, sent)
    texts = {c.name: sent.get(c.name, old.texts[c.name] if old else "").strip() for c in kind.columns}
    if old is not None and sent.get("mark") != old.mark:
        return _form(request, session, kind, old, texts, other=True, status=412, place=place, job=job)
    deleted = old is not None and sent.get("do") == "delete"
    if place is not None and place.fault and not deleted:
        return _form(request, session, kind, old, texts, faults={"pin": place.fault}, status=422, place=place)
    try:
        values: Values = {} if deleted else keeping.read(session, kind, texts, old)

        def do(session: Session) -> None:
            mine = keeping.record_of(session, kind, [str(part) for part in old.key]) if old else None
            if deleted and mine is not None:
                keeping.remove(session, kind, mine, by=who.name, now=now)
            else:
                keeping.keep(session, kind, mine, values, by=who.name, now=now)

        hangs = what_hangs(request, now, sent, do)
        if hangs is not None:
            return _form(request, session, kind, old, texts, hangs=hangs, deleting=deleted, status=409, place=place,
                         job=job)  # fmt: skip
        do(session)
    except BadValues as fault:
        return _form(request, session, kind, old, texts, faults=dict(fault.faults), status=422, place=place, job=job)
    except BadInput as fault:
        return _form(request, session, kind, old, texts, faults={fault.where: fault.problem}, status=409, place=place,
                     job=job)  # fmt: skip
    if job:
        return RedirectResponse(f"/jobs/{quote(job, safe='')}#in-order", 303)
    name = keeping.title(kind, texts) or texts.get("name", "")
    again = f"/set-up/{kind.id}/new" if sent.get("do") == "more" else ""
    return _on(kind, f"{name} {'deleted' if deleted else 'kept'}.", again)


def _job_of(session: Session, sent: dict[str, str]) -> str:
    """Return the job whose page a form was sent from, and goes back to; empty: none."""
    job = sent.get("job", "")
    return job if job and "\0" not in job and session.get(tables.Visit, job) is not None else ""


def _placed(
    request: Request, session: Session, old: Record | None, sent: dict[str, str]
) -> tuple[dict[str, str], Placing]:  # fmt: skip
    """Return what was sent of a yard with latitude and longitude in place of its pin, and how its place stands."""
    before = old.row.address if old else ""
    address = sent.get("address", before)
    moved = bool(before) and question_of(address, "") != question_of(before, "")
    was, but = (pin_text(old.row.lat, old.row.lon), old.row.id) if old else ("", "")
    return placed(session, request.app.state.places, sent, "", address, "", was=was, moved=moved, but=but)


def what_hangs(
    request: Request, now: datetime.datetime, sent: Mapping[str, str], do: Callable[[Session], None]
) -> Hanging | None:
    """Return what falls by a change, where somebody has to see it first."""
    if sent.get("anyway"):
        return None
    hangs = hanging(request.app.state.searches.days, now, do)
    return hangs if hangs.fall or hangs.lost else None


def _on(kind: Kind, words: str, again: str = "") -> RedirectResponse:
    return RedirectResponse(f"{again or f'/set-up/{kind.id}'}?{urlencode({'kept': words})}", 303)


def csv_answer(data: bytes, name: str) -> Response:
    """Return a table as a file to be kept."""
    headers = {"Content-Disposition": disposition("attachment", name)}
    return Response(data, media_type="text/csv; charset=utf-8", headers=headers)


def _address(kind: Kind, record: Record) -> str:
    if kind.row_at:
        return kind.row_at.format(quote(str(record.key[0]), safe=""))
    return f"/set-up/{kind.id}/row?{urlencode([('key', str(part)) for part in record.key])}"


def _history(session: Session, kind: Kind, record: Record | None = None) -> list[dict[str, Any]]:
    """Return the last changes in words, each with whether it can be undone."""
    business = session.get(tables.Business, 1)
    of, told = keeping.title(kind, record.texts)[:80] if record else "", []
    for line in keeping.changes_of(session, kind, record):
        try:
            keeping.undoing(session, line)
            can = True
        except BadInput:
            can = False
        told.append({"id": line.id, "at": line.at, "words": in_words(line, of), "can_undo": can})
    return [{**one, "timezone": business.timezone if business else "UTC"} for one in told]


def list_page(
    request: Request, session: Session, kind: Kind, *, kept: str = "", fault: str = "", status: int = 200
) -> Response:
    """Return the page of a kind: its rows, its table, its last changes."""
    newest: Any = select(kind.table).order_by(getattr(kind.table, kind.primary[0]).desc()).limit(MOST_SHOWN)
    found_rows = keeping.records(session, kind, session.exec(newest).all() if kind.by_lines else None)
    values = {
        "kind": kind, "kinds": KINDS.values(), "columns": [c for c in kind.columns if c.short_list],
        "rows": [(record, _address(kind, record)) for record in found_rows], "kept": kept, "fault": fault,
        "named": _in_words(session, kind),
        "history": _history(session, kind), "most": MOST_SHOWN, "lists": lists_of(session, kind.id),
        "whose": _whose(session, kind), "calendars": standing(session, kind.id), "moment": local_moments(session),
    }  # fmt: skip
    return page(request, "office/list.html", values, status=status)


def _whose(session: Session, kind: Kind) -> list[tuple[str, str]]:
    """Return whose a calendar can be of which rows of a kind are made; empty where none are."""
    if kind.table is tables.VanOut:
        return busy.van_choices(session)
    return busy.choices(session) if kind.table is tables.DayOff else []


def _in_words(session: Session, kind: Kind) -> dict[str, dict[str, str]]:
    """Return by column what its values are called: rows of other kinds by their names, choices by their words."""
    picked = {column.name: {value: gettext(words) for value, words in column.choices} for column in kind.columns}
    return picked | {name: dict(rows) for name, rows in keeping.choices(session, kind).items()}


def _form(
    request: Request, session: Session, kind: Kind, old: Record | None, texts: dict[str, str], *,
    faults: dict[str, str] | None = None, hangs: Hanging | None = None, deleting: bool = False, other: bool = False,
    status: int = 200, place: Placing | None = None, job: str = "",
) -> Response:  # fmt: skip
    names = {column.name for column in kind.columns} | {"pin"}
    values = {
        "kind": kind, "kinds": KINDS.values(), "old": old, "texts": texts, "faults": faults or {},
        "loose": [problem for where, problem in (faults or {}).items() if where not in names],
        "hangs": hangs, "deleting": deleting, "other": other, "choices": keeping.choices(session, kind),
        "action": _address(kind, old) if old else f"/set-up/{kind.id}/new",
        "kept": request.query_params.get("kept", ""),
        "history": _history(session, kind, old) if old else [],
        "belongs": _belongs(session, kind, old) if old else [],
        "title": keeping.title(kind, old.texts) if old else "", "place": place,
        "job": job,
    }  # fmt: skip
    if kind.table is tables.Yard and place is None:
        values["place"] = blank(session, "", pin_text(texts["lat"], texts["lon"]), str(old.key[0]) if old else "")
    return page(request, "office/form.html", values, status=status)


def _belongs(session: Session, kind: Kind, old: Record) -> list[dict[str, Any]]:
    """Return the kinds whose rows belong to a row, with these rows: a person's days off."""
    found_kinds = []
    for inner in KINDS.values():
        column = next((c for c in inner.columns if c.owner and c.of == kind.id), None)
        if column is None:
            continue
        wanted = select(inner.table).where(getattr(inner.table, column.name) == old.key[0])
        order = [getattr(inner.table, name) for name in inner.key]
        rows = keeping.records(session, inner, session.exec(wanted.order_by(*order)).all())
        found_kinds.append({
            "kind": inner, "rows": [(record, _address(inner, record)) for record in rows],
            "columns": [c for c in inner.columns if not c.owner], "named": _in_words(session, inner),
            "more": f"/set-up/{inner.id}/new?of={quote(str(old.key[0]), safe='')}",
        })  # fmt: skip
    return found_kinds
