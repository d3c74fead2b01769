"""Set up: every kind of row of the business as a list, a form and a table, with what hangs on a change and undoing."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from typing import Annotated, Any
from urllib.parse import quote, urlencode

import sqlalchemy as sa
from fastapi import APIRouter, File, Path, Query, Request, UploadFile
from fastapi.responses import RedirectResponse, Response
from sqlmodel import Session, select

from api import tables
from api.access.accounts import Role
from api.access.guards import Who, allow, found
from api.business.part import BadValues
from api.clock import Now
from api.exchange.uploads import MOST_BYTES
from api.http.headers import disposition
from api.http.pages import Database, page
from api.http.problems import Problem, responses
from api.ledger.history import in_words
from api.office import files, keeping, taking
from api.office.groups import grouped
from api.office.hanging import Hanging, hanging
from api.office.keeping import Record
from api.office.kind import Kind, Values
from api.office.kinds import KINDS
from api.office.lacking import lacking
from api.places.answers import question_of
from api.places.form import Placing, blank, placed
from api.places.pins import pin_text
from scheduler.errors import BadInput

router = APIRouter(prefix="/set-up", tags=["set up"])
Office = Annotated[Who, allow(Role.manager, Role.office)]
KindId = Annotated[str, Path(max_length=40, description=f"one of {', '.join(KINDS)}")]
Key = Annotated[list[str], Query(max_length=3, description="the key of the row, each part once")]
MOST_SHOWN = 200
MOST_LOOKED_UP = 8  # addresses of yards, a second each


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
    return _list_page(request, session, _kind(kind_id), kept=kept[:200])


@router.get("/{kind_id}/table.csv", response_class=Response)
def table_csv(session: Database, _: Office, kind_id: KindId) -> Response:
    """Give the rows of a kind as CSV, in the words of its form; it can be taken in again."""
    kind = _kind(kind_id)
    rows = [[record.texts[c.name] for c in kind.columns] for record in keeping.records(session, kind)]
    return _csv(files.to_csv([c.label for c in kind.columns], rows), f"{kind.id}.csv")


@router.get("/{kind_id}/blank.csv", response_class=Response)
def blank_csv(_: Office, kind_id: KindId) -> Response:
    """Give an empty table of a kind, to be filled in."""
    kind = _kind(kind_id)
    return _csv(files.to_csv([c.label for c in kind.columns], []), f"{kind.id}-blank.csv")


@router.get("/{kind_id}/new")
def new(request: Request, session: Database, _: Office, kind_id: KindId, of: str = "") -> Response:
    """Show the form of a new row; `of` is what it belongs to."""
    kind = _kind(kind_id)
    texts = {c.name: of[:80] if c.owner and of else c.start for c in kind.columns}
    for name, rows in keeping.choices(session, kind).items():
        if len(rows) == 1 and not texts[name] and not kind.column(name).may_be_empty:
            texts[name] = rows[0][0]
    return _form(request, session, kind, None, texts)


@router.post("/{kind_id}/new", responses=responses(409))
async def make(request: Request, session: Database, now: Now, who: Office, kind_id: KindId) -> Response:
    """Make a row from its form, or show what would fall by it first."""
    kind, sent = _kind(kind_id), await _sent(request)
    return _take(request, session, kind, None, sent, who, now)


@router.get("/{kind_id}/row")
def row(request: Request, session: Database, _: Office, kind_id: KindId, key: Key) -> Response:
    """Show the form of a row, and its last changes."""
    kind = _kind(kind_id)
    record = _record(session, kind, key)
    return _form(request, session, kind, record, record.texts)


@router.post("/{kind_id}/row", responses=responses(409, 412))
async def change(request: Request, session: Database, now: Now, who: Office, kind_id: KindId, key: Key) -> Response:
    """Change or delete a row from its form; what would fall by it is shown first, and what was typed is kept."""
    kind, sent = _kind(kind_id), await _sent(request)
    return _take(request, session, kind, _record(session, kind, key), sent, who, now)


@router.post("/{kind_id}/undo/{line_id}", responses=responses(409))
async def undo(
    request: Request, session: Database, now: Now, who: Office, kind_id: KindId,
    line_id: Annotated[int, Path(ge=1, le=2**31 - 1)],
) -> Response:  # fmt: skip
    """Take one change back; what would fall by it is shown first."""
    kind, sent = _kind(kind_id), await _sent(request)
    line = found(session, tables.History, line_id, "line of the history")

    def do(session: Session) -> None:
        keeping.undo(session, keeping.undoing(session, line), by=who.name, now=now)

    try:
        hangs = _hangs(request, now, sent, do)
        if hangs is not None:
            values = {"kind": kind, "hangs": hangs, "action": str(request.url.path), "what": "Undo it anyway"}
            return page(request, "office/hangs.html", values, status=409)
        do(session)
    except BadValues as fault:
        return _list_page(request, session, kind, fault="; ".join(problem for _, problem in fault.faults), status=409)
    except BadInput as fault:
        return _list_page(request, session, kind, fault=fault.problem, status=409)
    return _on(kind, "Undone.")


@router.post("/{kind_id}/files", responses=responses(413))
def send(
    request: Request, session: Database, now: Now, who: Office, kind_id: KindId,
    file: Annotated[UploadFile, File(description="a CSV or XLSX file")],
) -> Response:  # fmt: skip
    """Take a file up, to be looked through before anything of it is taken in."""
    kind, name = _kind(kind_id), file.filename or "the file"
    try:
        rows = files.read_rows(file.file.read(MOST_BYTES + 1), name)
        made = taking.send(session, kind, name, rows, by=who.name, now=now)
    except BadInput as fault:
        return _list_page(request, session, kind, fault=f"{name} {fault.problem}", status=422)
    return RedirectResponse(f"/set-up/{kind.id}/files/{made}", 303)


@router.get("/{kind_id}/files/{file_id}")
def look_through(
    request: Request, session: Database, now: Now, who: Office, kind_id: KindId, file_id: str
) -> Response:  # fmt: skip
    """Show how a file's columns are read, and what each of its rows would do."""
    kind = _kind(kind_id)
    sent = _file(session, kind, file_id)
    table = files.table_of(sent.table, kind)
    columns, remembered = taking.columns_of(session, kind, table)
    if kind.table is tables.Yard:
        _look_up(request, table, columns)
    return _file_page(request, session, kind, sent, table, columns, who, now, remembered=remembered)


@router.post("/{kind_id}/files/{file_id}", responses=responses(409))
async def take_in(
    request: Request, session: Database, now: Now, who: Office, kind_id: KindId, file_id: str
) -> Response:  # fmt: skip
    """Read a file by other columns, or take in what can stand of it; the rest is left in a file to mend."""
    kind, form = _kind(kind_id), await _sent(request)
    sent = _file(session, kind, file_id)
    table = files.table_of(sent.table, kind)
    columns = [form.get(f"column-{n}", "") for n in range(len(table.heads))]
    try:
        taking.check_columns(kind, columns)
    except BadInput as fault:
        return _file_page(request, session, kind, sent, table, columns, who, now, fault=fault.problem, status=422)
    if kind.table is tables.Yard:
        _look_up(request, table, columns)
    if form.get("do") != "keep":
        return _file_page(request, session, kind, sent, table, columns, who, now)
    if _tried(request, kind, table, columns, who, now)[0].mark != form.get("mark"):
        words = "The rows would do something else by now than was shown. Nothing was taken in: look again."
        return _file_page(request, session, kind, sent, table, columns, who, now, fault=words, status=409)
    done = taking.take(session, kind, table, columns, by=who.name, now=now)
    taking.remember(session, kind, table, columns)
    return _file_page(request, session, kind, sent, table, columns, who, now, done=done)


@router.get("/{kind_id}/files/{file_id}/refused.csv", response_class=Response)
def refused(
    request: Request, session: Database, now: Now, who: Office, kind_id: KindId, file_id: str
) -> Response:  # fmt: skip
    """Give the rows of a file that are refused, each with what to fix in it, to be mended and sent again."""
    kind = _kind(kind_id)
    sent = _file(session, kind, file_id)
    table = files.table_of(sent.table, kind)
    columns, _ = taking.columns_of(session, kind, table)
    heads, rows = taking.refused_rows(table, _tried(request, kind, table, columns, who, now)[0])
    return _csv(files.to_csv(heads, rows), f"{kind.id}-refused.csv")


def _kind(kind_id: str) -> Kind:
    if kind_id not in KINDS:
        raise Problem(404, f'There is no "{kind_id}" to set up; there is {", ".join(KINDS)}.')
    return KINDS[kind_id]


def _record(session: Session, kind: Kind, key: list[str]) -> Record:
    record = keeping.record_of(session, kind, key)
    if record is None:
        raise Problem(404, f"There is no {kind.noun} {', '.join(key)}.")
    return record


def _file(session: Session, kind: Kind, file_id: str) -> tables.SentFile:
    sent = found(session, tables.SentFile, file_id, "sent file")
    if sent.kind != kind.id:
        raise Problem(404, f"This file was not sent for {kind.title.lower()}.")
    return sent


async def _sent(request: Request) -> dict[str, str]:
    return {name: value for name, value in (await request.form()).multi_items() if isinstance(value, str)}


def _take(
    request: Request, session: Session, kind: Kind, old: Record | None, sent: dict[str, str], who: Who,
    now: datetime.datetime,
) -> Response:  # fmt: skip
    """Keep or delete a row as its form says; show the form again where it cannot be, or where visits would fall."""
    place = None
    if kind.table is tables.Yard:
        sent, place = _placed(request, session, old, sent)
    texts = {c.name: sent.get(c.name, old.texts[c.name] if old else "").strip() for c in kind.columns}
    if old is not None and sent.get("mark") != old.mark:
        return _form(request, session, kind, old, texts, other=True, status=412, place=place)
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

        hangs = _hangs(request, now, sent, do)
        if hangs is not None:
            return _form(request, session, kind, old, texts, hangs=hangs, deleting=deleted, status=409, place=place)
        do(session)
    except BadValues as fault:
        return _form(request, session, kind, old, texts, faults=dict(fault.faults), status=422, place=place)
    except BadInput as fault:
        return _form(request, session, kind, old, texts, faults={fault.where: fault.problem}, status=409, place=place)
    name = keeping.title(kind, texts) or texts.get("name", "")
    again = f"/set-up/{kind.id}/new" if sent.get("do") == "more" else ""
    return _on(kind, f"{name} {'deleted' if deleted else 'kept'}.", again)


def _placed(
    request: Request, session: Session, old: Record | None, sent: dict[str, str]
) -> tuple[dict[str, str], Placing]:  # fmt: skip
    """Return what was sent of a yard with latitude and longitude in place of its pin, and how its place stands."""
    before = old.row.address if old else ""
    address = sent.get("address", before)
    moved = bool(before) and question_of(address, "") != question_of(before, "")
    was, but = (pin_text(old.row.lat, old.row.lon), old.row.id) if old else ("", "")
    return placed(session, request.app.state.places, sent, "", address, "", was=was, moved=moved, but=but)


def _hangs(
    request: Request, now: datetime.datetime, sent: dict[str, str], do: Callable[[Session], None]
) -> Hanging | None:
    """Return what falls by a change, where somebody has to see it first."""
    if sent.get("anyway"):
        return None
    hangs = hanging(request.app.state.database, now, do)
    return hangs if hangs.fall or hangs.lost else None


def _tried(
    request: Request, kind: Kind, table: files.SentTable, columns: list[str], who: Who, now: datetime.datetime
) -> tuple[taking.TableTaken, Hanging]:
    """Return what a table would do, and what hangs on it; nothing is kept."""
    tried: list[taking.TableTaken] = []

    def do(session: Session) -> None:
        tried.append(taking.take(session, kind, table, columns, by=who.name, now=now))

    hangs = hanging(request.app.state.database, now, do)
    return tried[0], hangs


def _look_up(request: Request, table: files.SentTable, columns: list[str]) -> None:
    """Have the addresses of a few yards without a place looked up before their rows are read."""
    at = {name: n for n, name in enumerate(columns) if name}
    if "address" not in at:
        return
    bare = [
        cells[at["address"]] for _, cells in table.lines if not any(cells[at[n]] for n in ("lat", "lon") if n in at)
    ]
    for address in list(dict.fromkeys(filter(None, bare)))[:MOST_LOOKED_UP]:
        request.app.state.places.find(address, "")


def _on(kind: Kind, words: str, again: str = "") -> RedirectResponse:
    return RedirectResponse(f"{again or f'/set-up/{kind.id}'}?{urlencode({'kept': words})}", 303)


def _csv(data: bytes, name: str) -> Response:
    headers = {"Content-Disposition": disposition("attachment", name)}
    return Response(data, media_type="text/csv; charset=utf-8", headers=headers)


def _address(kind: Kind, record: Record) -> str:
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


def _list_page(
    request: Request, session: Session, kind: Kind, *, kept: str = "", fault: str = "", status: int = 200
) -> Response:
    found_rows = keeping.records(session, kind)
    values = {
        "kind": kind, "kinds": KINDS.values(), "columns": [c for c in kind.columns if c.short_list],
        "rows": [(record, _address(kind, record)) for record in found_rows], "kept": kept, "fault": fault,
        "named": {n: dict(rows) for n, rows in keeping.choices(session, kind).items()},
        "history": _history(session, kind),
    }  # fmt: skip
    return page(request, "office/list.html", values, status=status)


def _form(
    request: Request, session: Session, kind: Kind, old: Record | None, texts: dict[str, str], *,
    faults: dict[str, str] | None = None, hangs: Hanging | None = None, deleting: bool = False, other: bool = False,
    status: int = 200, place: Placing | None = None,
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
            "columns": [c for c in inner.columns if not c.owner],
            "more": f"/set-up/{inner.id}/new?of={quote(str(old.key[0]), safe='')}",
        })  # fmt: skip
    return found_kinds


def _file_page(
    request: Request, session: Session, kind: Kind, sent: tables.SentFile, table: files.SentTable,
    columns: list[str], who: Who, now: datetime.datetime, *, remembered: bool = False, fault: str = "",
    done: taking.TableTaken | None = None, status: int = 200,
) -> Response:  # fmt: skip
    tried, hangs = done, Hanging()
    if done is None and status != 422:
        tried, hangs = _tried(request, kind, table, columns, who, now)
    values = {
        "kind": kind, "kinds": KINDS.values(), "sent": sent, "table": table, "columns": columns, "tried": tried,
        "hangs": hangs, "remembered": remembered, "fault": fault, "done": done, "most": MOST_SHOWN,
    }  # fmt: skip
    return page(request, "office/file.html", values, status=status)
