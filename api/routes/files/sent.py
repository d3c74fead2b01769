"""Files that the office sends: looked through column by column and row by row before anything is taken in."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from typing import Annotated, Any
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from fastapi import File, Form, Path, Request, UploadFile
from fastapi.responses import JSONResponse, RedirectResponse, Response
from sqlmodel import Session, select

from api import tables
from api.access.accounts import Role
from api.access.guards import Who, found
from api.calendars.kept import taken as calendars_taken
from api.clock import Now, machine_clock
from api.exchange.importing import TABLES
from api.http.pages import Database, SentTexts, page, wants_json
from api.http.problems import Problem, responses
from api.http.subject import Subject
from api.office import behind, taking
from api.office.files import busy, cards, sheets
from api.office.hanging import Hanging, hanging
from api.office.keeping import choices
from api.office.kind import Kind
from api.office.kinds import KINDS
from api.office.lists.addresses import addresses_in
from api.office.lists.settings import SETTING_LISTS
from api.office.lists.undoing import undo as undo_list
from api.places.filling import look_up
from api.routes.office.kinds import MOST_SHOWN, KindId, Office, csv_answer, kind_called, list_page
from api.uploads.reading import MOST_BYTES
from scheduler.errors import BadInput

router = Subject(prefix="/set-up", tags=("set up",))


@router.post("/{kind_id}/files", responses=responses(413))
def send(
    request: Request, session: Database, now: Now, who: Office, kind_id: KindId,
    file: Annotated[UploadFile, File(description="a CSV or XLSX file; contacts of customers, a calendar of days off")],
    whose: Annotated[str, Form(max_length=90, description="of a calendar: a person, or crew and its id")] = "",
) -> Response:  # fmt: skip
    """Take a file up, to be looked through before anything of it is taken in."""
    kind, name = _kind(kind_id, who), file.filename or "the file"
    try:
        rows = _rows(session, kind, file.file.read(MOST_BYTES + 1), name, whose, now)
        made = taking.send(session, kind, name, rows, by=who.name, now=now)
    except BadInput as fault:
        if kind.setting:
            raise Problem(422, f"{name} {fault.problem}", kind="bad-input") from None
        return list_page(request, session, kind, fault=f"{name} {fault.problem}", status=422)
    return RedirectResponse(f"/set-up/{kind.id}/files/{made}", 303)


@router.get("/{kind_id}/files/{file_id}")
def look_through(
    request: Request, session: Database, now: Now, who: Office, kind_id: KindId, file_id: str
) -> Response:  # fmt: skip
    """Show how a file's columns are read, and what each of its rows would do."""
    kind = _kind(kind_id, who)
    sent = _file(session, kind, file_id)
    table = sheets.table_of(sent.table, kind)
    columns, remembered = taking.columns_of(session, kind, table)
    if len(table.lines) >= behind.LONG:
        work = _lists(request).newest(sent.id)
        if work is None:
            _look_up(request, session, kind, table, columns)
            work = _lists(request).begin(sent, columns, {}, who.name, machine_clock(), now)
        return _behind_page(request, session, kind, sent, table, work, columns, remembered=remembered)
    _look_up(request, session, kind, table, columns)
    return _file_page(request, session, kind, sent, table, columns, {}, who, now, remembered=remembered)


@router.post("/{kind_id}/files/{file_id}", responses=responses(409))
def take_in(
    request: Request, session: Database, now: Now, who: Office, kind_id: KindId, file_id: str, form: SentTexts
) -> Response:  # fmt: skip
    """Read a file by other columns, or take in what can stand of it; the rest is left in a file to mend."""
    kind = _kind(kind_id, who)
    sent = _file(session, kind, file_id)
    table = sheets.table_of(sent.table, kind)
    columns = [form.get(f"column-{n}", "") for n in range(len(table.heads))]
    for_all = _for_all(session, kind, columns, form)
    try:
        taking.check_columns(kind, columns)
    except BadInput as fault:
        return _file_page(
            request, session, kind, sent, table, columns, for_all, who, now, fault=fault.problem, status=422
        )
    _look_up(request, session, kind, table, columns)
    if len(table.lines) >= behind.LONG:
        mark = form.get("mark", "") if form.get("do") == "keep" else None
        if _lists(request).begin(sent, columns, for_all, who.name, machine_clock(), now, mark=mark) is None:
            who_else = _lists(request).at_work()
            raise Problem(409, f"{who_else} has another list at work just now: wait for it.", kind="under-way")
        return RedirectResponse(f"/set-up/{kind.id}/files/{sent.id}", 303)
    if form.get("do") != "keep":
        return _file_page(request, session, kind, sent, table, columns, for_all, who, now)
    if _tried(request, kind, table, columns, for_all, who, now)[0].mark != form.get("mark"):
        return _file_page(
            request, session, kind, sent, table, columns, for_all, who, now, fault=behind.MOVED_ON, status=409
        )
    done = taking.take_in(
        request.app.state.database, kind, table, columns, by=who.name, now=now, for_all=for_all, name=sent.name
    )
    taking.remember(session, kind, table, columns)
    calendars_taken(session, sent.id)
    return _file_page(request, session, kind, sent, table, columns, for_all, who, now, done=done)


@router.post("/{kind_id}/files/{file_id}/stop")
def stop(request: Request, session: Database, who: Office, kind_id: KindId, file_id: str) -> Response:
    """Have a long list stopped: the rows that are in by then stay, whole, and the page says which."""
    kind = _kind(kind_id, who)
    sent = _file(session, kind, file_id)
    work = _lists(request).newest(sent.id)
    if work is not None:
        _lists(request).stop(work)
    return RedirectResponse(f"/set-up/{kind.id}/files/{sent.id}", 303)


@router.post("/{kind_id}/lists/{list_id}/taken-back", responses=responses(409))
def take_back(
    request: Request, session: Database, now: Now, who: Office, kind_id: KindId,
    list_id: Annotated[int, Path(ge=1, le=2**31 - 1)],
) -> Response:  # fmt: skip
    """Take back all that a list has made, where nothing rests on it; what does is named, and then nothing goes."""
    taken = found(session, tables.TakenList, list_id, "list")
    if taken.kind != kind_id:
        raise Problem(404, f"This list was not taken in for {kind_id}.")
    gone = undo_list(session, taken, by=who.name, now=now)
    if wants_json(request):
        return JSONResponse({"deleted": gone})
    words = f"Taken back: {gone} rows of {taken.name} are gone."
    home = "/exchange" if kind_id == TABLES else f"/set-up/{kind_id}"
    return RedirectResponse(f"{home}?{urlencode({'kept': words})}", 303)


@router.get("/{kind_id}/files/{file_id}/refused.csv", response_class=Response)
def refused(
    request: Request, session: Database, now: Now, who: Office, kind_id: KindId, file_id: str
) -> Response:  # fmt: skip
    """Give the rows of a file that are refused, each with what to fix in it, to be mended and sent again."""
    kind = _kind(kind_id, who)
    sent = _file(session, kind, file_id)
    table = sheets.table_of(sent.table, kind)
    work = _lists(request).newest(sent.id)
    if work is not None:
        if work.state == "working":
            raise Problem(409, "The list is still looked through: wait for it.", kind="under-way")
        heads, rows = taking.refused_rows(table, work.taken)
        return csv_answer(sheets.to_csv(heads, rows), f"{kind.id}-refused.csv")
    columns, _ = taking.columns_of(session, kind, table)
    for_all = _for_all(session, kind, columns, request.query_params)
    heads, rows = taking.refused_rows(table, _tried(request, kind, table, columns, for_all, who, now)[0])
    return csv_answer(sheets.to_csv(heads, rows), f"{kind.id}-refused.csv")


def _file(session: Session, kind: Kind, file_id: str) -> tables.SentFile:
    sent = found(session, tables.SentFile, file_id, "sent file")
    if sent.kind != kind.id:
        raise Problem(404, f"This file was not sent for {kind.title.lower()}.")
    return sent


def _lists(request: Request) -> behind.Lists:
    lists: behind.Lists = request.app.state.lists
    return lists


def _left_to_say(session: Session, kind: Kind, columns: list[str]) -> dict[str, list[tuple[str, str]]]:
    """Return by column the yards of which one can be said for all rows of a table that has no column for it."""
    known = choices(session, kind)
    names = [column.name for column in kind.columns if column.of == "yards" and column.name not in columns]
    return {name: known[name] for name in names if len(known[name]) > 1}


def _for_all(session: Session, kind: Kind, columns: list[str], said: Mapping[str, str]) -> dict[str, str]:
    """Return what a form says of all rows by column."""
    found = {}
    for name, rows in _left_to_say(session, kind, columns).items():
        if (value := said.get(f"all-{name}", "")) in {row_id for row_id, _ in rows}:
            found[name] = value
    return found


def _tried(
    request: Request, kind: Kind, table: sheets.SentTable, columns: list[str], for_all: Mapping[str, str], who: Who,
    now: datetime.datetime,
) -> tuple[taking.TableTaken, Hanging]:  # fmt: skip
    """Return what a table would do, and what hangs on it; nothing is kept."""
    tried: list[taking.TableTaken] = []

    def do(session: Session) -> None:
        tried.append(taking.take(session, kind, table, columns, by=who.name, now=now, for_all=for_all))

    many = len(table.lines) > taking.AT_ONCE
    hangs = hanging(request.app.state.searches.days, now, do, takes_long=many)
    return tried[0], hangs


def _kind(kind_id: str, who: Who) -> Kind:
    """Return the kind of a file's rows; the tables of the settings are the manager's."""
    kind = SETTING_LISTS.get(kind_id)
    if kind is None:
        return kind_called(kind_id)
    if who.role is not Role.manager:
        raise Problem(403, f"{kind.title} are for the manager.")
    return kind


def _rows(
    session: Session, kind: Kind, data: bytes, name: str, whose: str, now: datetime.datetime
) -> sheets.Rows:  # fmt: skip
    """Return the rows of a table, of contacts, or of a calendar."""
    if len(data) <= MOST_BYTES and cards.is_cards(data):
        if kind.by_lines != "customers":
            raise BadInput(name, "holds contacts: send it on the page Customers")
        return cards.card_rows(data, name)
    if len(data) <= MOST_BYTES and busy.is_calendar(data):
        if kind.table not in (tables.DayOff, tables.VanOut):
            raise BadInput(name, "is a calendar: send it on the page Days off")
        try:
            if busy.kind_of(whose) != kind.id:
                raise BadInput("whose", "choose whose calendar it is")
            busy.check(session, whose)
        except BadInput as fault:
            raise BadInput(name, f"is a calendar: {fault.problem}") from None
        zone = ZoneInfo(session.exec(select(tables.Business.timezone)).first() or "UTC")
        return busy.rows_of(session, data, name, whose, zone, now.astimezone(zone).date())
    return sheets.read_rows(data, name)


def _look_up(
    request: Request, session: Session, kind: Kind, table: sheets.SentTable, columns: list[str]
) -> None:  # fmt: skip
    """Have the addresses of a file looked up that are not on the map, the first of them before its rows are read."""
    wanted = addresses_in(session, kind, table.lines, columns)
    if wanted:
        look_up(request.app.state.places, wanted)


def _file_page(
    request: Request, session: Session, kind: Kind, sent: tables.SentFile, table: sheets.SentTable,
    columns: list[str], for_all: Mapping[str, str], who: Who, now: datetime.datetime, *, remembered: bool = False,
    fault: str = "", done: taking.TableTaken | None = None, status: int = 200,
) -> Response:  # fmt: skip
    tried, hangs = done, Hanging()
    if done is None and status != 422:
        tried, hangs = _tried(request, kind, table, columns, for_all, who, now)
    values = _shown(session, kind, sent, table, columns, for_all) | {
        "tried": tried, "hangs": hangs, "remembered": remembered, "fault": fault, "done": done,
    }  # fmt: skip
    return page(request, "office/file.html", values, status=status)


def _behind_page(
    request: Request, session: Session, kind: Kind, sent: tables.SentFile, table: sheets.SentTable,
    work: behind.ListWork | None, columns: list[str], *, remembered: bool,
) -> Response:  # fmt: skip
    """Return the page of a long list: how far it is, or what came of it. work None: another list comes first."""
    if work is None or work.state == "working":
        at_work = _lists(request).at_work() if work is None else ""
        values = {"kind": kind, "home": _home(kind), "sent": sent, "work": work, "at_work": at_work}
        return page(request, "office/list_at_work.html", values)
    tried = work.taken if work.rows else None
    values = _shown(session, kind, sent, table, list(work.columns), dict(work.for_all)) | {
        "tried": tried, "hangs": work.hangs, "remembered": remembered, "fault": work.fault,
        "done": tried if work.take and work.state == "done" else None, "part": work if work.state != "done" else None,
    }  # fmt: skip
    return page(request, "office/file.html", values)


def _home(kind: Kind) -> str:
    return f"/{'settings' if kind.setting else 'set-up'}/{kind.id}"


def _shown(
    session: Session, kind: Kind, sent: tables.SentFile, table: sheets.SentTable, columns: list[str],
    for_all: Mapping[str, str],
) -> dict[str, Any]:  # fmt: skip
    """Return what every page of a file shows of it."""
    return {
        "kind": kind, "home": _home(kind), "kinds": KINDS.values(), "sent": sent, "table": table, "columns": columns,
        "for_all": for_all, "left_to_say": _left_to_say(session, kind, columns),
        "said_for_all": urlencode({f"all-{name}": value for name, value in for_all.items()}),
        "most": MOST_SHOWN,
    }  # fmt: skip
