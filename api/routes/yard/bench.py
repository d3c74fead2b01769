"""The bench: crates to count, a crate's count by several at once, shorts and their orders, the kit's tag."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from typing import Annotated, Any
from urllib.parse import quote

import msgspec
import segno
from fastapi import Form, Query, Request
from fastapi.responses import RedirectResponse, Response
from markupsafe import Markup
from sqlmodel import Session, col, select

from api import tables
from api.access.accounts import Role
from api.access.guards import STAFF, Who, allow, found
from api.access.idempotency import Once
from api.bench import counting, shorts
from api.bench.reads import CratePage, bench_page, crate_page
from api.clock import Now, local_day, local_moments
from api.day import photos
from api.falls.now import falling
from api.fields.files.sheets import date
from api.fields.limits import as_sent
from api.http.pages import Database, page, wants_json
from api.http.problems import Problem, responses, wants_page
from api.http.subject import Subject
from api.http.versions import IfMatch, IfNoneMatch, etag
from api.routes.records import Words, shown
from scheduler.errors import BadInput

router = Subject(tags=("bench",))
Reader = Annotated[Who, allow(*STAFF)]
Counter = Annotated[Who, allow(Role.manager, Role.office, Role.lead)]
Office = Annotated[Who, allow(Role.manager, Role.office)]
Version = Annotated[int | None, Form(description="the version that is changed, in place of If-Match")]
WRITES: dict[int | str, dict[str, Any]] = {303: {"description": "to a form: the way back to its page"}}
BEGUN: dict[int | str, dict[str, Any]] = {201: {"description": "begun now"}}
CountId = Annotated[int, Form(ge=1, lt=2**31, description="the count under way that this belongs to")]


@router.get("/bench", responses=WRITES)
def bench_list(
    request: Request,
    session: Database,
    _: Reader,
    now: Now,
    yard: Annotated[Words | None, Query(max_length=80)] = None,
    find: Annotated[Words | None, Query(max_length=80, description="a job's number, as on its tag")] = None,
) -> Response:
    """List what arrives today, crates to count, counts under way and shorts, by how soon their visits are."""
    if find:
        wanted = find.strip()
        if session.get(tables.Visit, wanted) is None:
            raise Problem(404, f'No job has the number "{wanted}".')
        return RedirectResponse(f"/bench/{quote(wanted, safe='')}", 303)
    shown_page = bench_page(session, local_day(session, now), yard or None, _posted_falls(request, session, now))
    if wants_json(request):
        return _json(shown_page)
    yards = session.exec(select(col(tables.Yard.id)).order_by(col(tables.Yard.id))).all()
    return page(
        request,
        "bench/bench.html",
        {"bench": shown_page, "yard": yard or "", "yards": yards, "at": local_moments(session)},
    )


@router.get("/bench/{visit_id}")
def crate(request: Request, session: Database, who: Reader, now: Now, visit_id: str) -> Response:
    """Show a crate's list with what has been counted of it."""
    shown_page = _crate(session, visit_id, now, _posted_falls(request, session, now))
    if wants_json(request):
        return _json(_state(shown_page, local_moments(session)))
    taken = [row for row in photos.photos_of(session, visit_id) if row.shows == "crate"]
    office = who.role in (Role.manager, Role.office)
    values: dict[str, Any] = {
        "crate": shown_page,
        "photos": taken,
        "orders": office,
        "counts": office or who.role is Role.lead,
    }
    awning = found(session, tables.Awning, shown_page.visit.awning_id, "awning")
    values |= {"anchor": _anchor, "at": local_moments(session), "awning_version": awning.version}
    return page(request, "bench/crate.html", values)


@router.get("/bench/{visit_id}/tag")
def tag(request: Request, session: Database, _: Reader, now: Now, visit_id: str) -> Response:
    """Give the tag of a kit to print: its number as a QR code, whose it is, how wide, and its box."""
    shown_page = _crate(session, visit_id, now)
    awning = found(session, tables.Awning, shown_page.visit.awning_id, "awning")
    code = Markup(segno.make(visit_id, error="m", micro=False).svg_inline(scale=6, border=4))
    return page(request, "bench/tag.html", {"crate": shown_page, "awning": awning, "code": code})


@router.post("/bench/{visit_id}/counts", responses=WRITES | BEGUN | responses(400, 409))
def begin(request: Request, session: Database, who: Counter, now: Now, once: Once, visit_id: str) -> Response:
    """Begin to count a crate, again if it was counted before; where a count is under way, join it."""

    def write() -> Response:
        visit = found(session, tables.Visit, visit_id, "job")
        _, new = counting.begin(session, visit, by=who.name, now=now)
        return _answer(request, session, visit_id, now, status=201 if new else 200)

    return once(session, write)


@router.post("/bench/{visit_id}/taps", responses=WRITES | responses(400, 409))
def tap(
    request: Request, session: Database, who: Counter, now: Now, once: Once, visit_id: str,
    count: CountId,
    item: Annotated[Words, Form(min_length=1, max_length=80)],
    pieces: Annotated[int, Form(ge=-1000, le=1000, description="pieces more; negative: taken back")] = 0,
    to: Annotated[str, Form(max_length=6, description="instead of `pieces`: how many there are in all")] = "",
    damaged: Annotated[int, Form(ge=-1000, le=1000, description="pieces more that are damaged")] = 0,
) -> Response:  # fmt: skip
    """Add pieces of an item to a count under way."""

    def write() -> Response:
        _of(session, visit_id, count)
        in_all = _whole(to, "to") if to else None
        counting.tap(session, count, item, by=who.name, now=now, pieces=pieces, to=in_all, damaged=damaged)
        return _answer(request, session, visit_id, now, anchor=_anchor(item))

    return once(session, write)


@router.post("/bench/{visit_id}/scans", responses=WRITES | responses(400, 409))
def scan(
    request: Request, session: Database, who: Counter, now: Now, once: Once, visit_id: str,
    count: CountId,
    code: Annotated[Words, Form(min_length=1, max_length=200)],
    item: Annotated[Words, Form(max_length=80, description="which item the code stands for, remembered")] = "",
) -> Response:  # fmt: skip
    """Add the piece whose code was scanned or typed; 404 with its `code` where nobody has told what it stands for."""

    def write() -> Response:
        _of(session, visit_id, count)
        if session.get(tables.Visit, code) is not None:  # the tag of a kit, maybe another's
            if wants_page(request):
                return RedirectResponse(f"/bench/{quote(code, safe='')}", 303)
            return _json({"moved_to": code})
        if item:
            counting.tell_code(session, code, item, by=who.name, now=now)
        meant = item or counting.item_of_code(session, code)
        if meant is None:
            if wants_page(request):
                shown_page = _crate(session, visit_id, now)
                return page(request, "bench/code.html", {"crate": shown_page, "code": code}, 404)
            raise Problem(404, f'Nobody has said yet which item the code "{code}" stands for.', code=code)
        counting.tap(session, count, meant, by=who.name, now=now, pieces=1, code=code)
        return _answer(request, session, visit_id, now, anchor=_anchor(meant), scanned=meant)

    return once(session, write)


@router.post("/bench/{visit_id}/condition", responses=WRITES | responses(400, 409, 412, 428))
def condition(
    request: Request, session: Database, who: Counter, now: Now, once: Once, visit_id: str,
    count: CountId,
    cloth: Annotated[str, Form(pattern="^(|good|marked|damaged)$")] = "",
    cover: Annotated[str, Form(pattern="^(|good|marked|damaged)$")] = "",
    note: Annotated[str, Form(), as_sent("crate_count.note")] = "",
    version: Version = None,
    if_match: IfMatch = None,
) -> Response:  # fmt: skip
    """Say how the cloth and the cover of a crate are."""

    def write() -> Response:
        row = _of(session, visit_id, count)
        values = {"cloth": cloth, "cover": cover, "note": note.strip()}
        counting.set_condition(session, row, values, _match(if_match, version), by=who.name, now=now)
        return _answer(request, session, visit_id, now, anchor="condition")

    return once(session, write)


@router.post("/bench/{visit_id}/close", responses=WRITES | responses(400, 409))
def close(
    request: Request, session: Database, who: Counter, now: Now, once: Once, visit_id: str,
    count: CountId,
    rest: Annotated[str, Form(pattern="^(|missing)$", description="missing: what nobody looked at is not there")] = "",
) -> Response:  # fmt: skip
    """Close a count: the kit is verified, or what it lacks becomes shorts."""

    def write() -> Response:
        visit = found(session, tables.Visit, visit_id, "job")
        counting.close(session, visit, count, by=who.name, now=now, rest_missing=rest == "missing")
        return _answer(request, session, visit_id, now, anchor="result")

    return once(session, write)


@router.post("/bench/{visit_id}/crate", responses=WRITES | responses(400, 409, 412, 428))
def crate_day(
    request: Request, session: Database, who: Office, now: Now, once: Once, visit_id: str,
    arrives_on: Annotated[str, Form(max_length=10, description="empty: the maker has named no day")] = "",
    version: Version = None,
    if_match: IfMatch = None,
) -> Response:  # fmt: skip
    """Say on which day a crate is expected, or came."""

    def write() -> Response:
        visit = found(session, tables.Visit, visit_id, "job")
        awning = found(session, tables.Awning, visit.awning_id or "", "awning")
        day = _day(arrives_on, "arrives_on")
        counting.expect_crate(session, awning, day, _match(if_match, version), by=who.name, now=now)
        return _answer(request, session, visit_id, now)

    return once(session, write)


@router.get("/shorts/{short_id}")
def short(session: Database, _: Reader, short_id: int, if_none_match: IfNoneMatch = None) -> Response:
    """Give one short with its ETag."""
    return shown(_short(session, short_id), if_none_match)


@router.post("/shorts/{short_id}", responses=WRITES | responses(400, 409, 412, 428))
def change_short(
    request: Request, session: Database, who: Office, now: Now, once: Once, short_id: int,
    supplier: Annotated[str, Form(), as_sent("short.supplier")] = "",
    order_ref: Annotated[str, Form(), as_sent("short.order_ref")] = "",
    ordered_on: Annotated[str, Form(max_length=10)] = "",
    expected_on: Annotated[str, Form(max_length=10)] = "",
    version: Version = None,
    if_match: IfMatch = None,
) -> Response:  # fmt: skip
    """Say what is known of a short's order: supplier, reference, when ordered, when expected."""

    def write() -> Response:
        row = _short(session, short_id)
        values = {
            "supplier": supplier.strip(),
            "order_ref": order_ref.strip(),
            "ordered_on": _day(ordered_on, "ordered_on"),
            "expected_on": _day(expected_on, "expected_on"),
        }
        shorts.change(session, row, values, _match(if_match, version), by=who.name, now=now)
        return _to_shorts(request, row.visit_id) if wants_page(request) else shown(row)

    return once(session, write)


@router.post("/shorts/{short_id}/arrived", responses=WRITES | responses(400, 409, 412, 428))
def arrived(
    request: Request, session: Database, who: Counter, now: Now, once: Once, short_id: int,
    pieces: Annotated[int, Form(ge=1, le=10_000)],
    version: Version = None,
    if_match: IfMatch = None,
) -> Response:  # fmt: skip
    """Book the pieces in that came for a short and were put to the kit."""

    def write() -> Response:
        row = _short(session, short_id)
        visit_id, today = row.visit_id, local_day(session, now)
        shorts.arrive(session, row, pieces, _match(if_match, version), by=who.name, now=now, today=today)
        return _answer(request, session, visit_id, now, anchor="result")

    return once(session, write)


def _posted_falls(request: Request, session: Session, now: datetime.datetime) -> dict[str, str]:
    """Return why posted visits cannot go as posted, by visit; to be asked before anything is written."""
    days = request.app.state.searches.days
    return {visit_id: one.words for visit_id, one in falling(session, days, now).items()}


def _crate(
    session: Session, visit_id: str, now: datetime.datetime, posted_falls: dict[str, str] | None = None
) -> CratePage:
    visit = found(session, tables.Visit, visit_id, "job")
    shown_page = crate_page(session, visit, local_day(session, now), posted_falls)
    if shown_page is None:
        raise Problem(404, f"{visit_id} is of the kind {visit.work.name} and has no crate.")
    return shown_page


def _of(session: Session, visit_id: str, count_id: int) -> tables.CrateCount:
    """Return a count of this visit; answers 404 where it is another's."""
    row = found(session, tables.CrateCount, count_id, "count")
    if row.visit_id != visit_id:
        raise Problem(404, f"{visit_id} has no count {count_id}.")
    return row


def _short(session: Session, short_id: int) -> tables.Short:
    if not 0 < short_id < 2**31:
        raise Problem(404, f'No short has the id "{short_id}".')
    return found(session, tables.Short, short_id, "short")


def _answer(
    request: Request, session: Session, visit_id: str, now: datetime.datetime, *, status: int = 200, anchor: str = "",
    scanned: str | None = None,
) -> Response:  # fmt: skip
    """Return the crate as it is now to a program, the way back to its page to a form."""
    if wants_page(request):
        return RedirectResponse(f"/bench/{visit_id}" + (f"#{anchor}" if anchor else ""), 303)
    extra = {} if scanned is None else {"scanned": scanned}
    return _json({**_state(_crate(session, visit_id, now), local_moments(session)), **extra}, status)


def _to_shorts(request: Request, visit_id: str) -> Response:
    """Return the way back to the page from which a short was changed."""
    back = request.headers.get("referer", "").rstrip("/")
    return RedirectResponse("/bench#shorts" if back.endswith("/bench") else f"/bench/{visit_id}#result", 303)


def _state(crate: CratePage, at: Callable[[datetime.datetime], str]) -> dict[str, Any]:
    """Return a crate as programs get it; `at` writes a moment."""
    count = crate.count
    return {
        "visit": crate.visit.id,
        "condition": None if crate.state is None else crate.state.condition,
        "count": None if count is None else count.model_dump(mode="json", exclude={"closed_at", "closed_by"}),
        "counted": crate.counted,
        "listed": crate.listed,
        "untouched": crate.untouched,
        "items": [
            {
                "item": item.name,
                "listed": item.listed,
                "counted": item.tally.counted if item.tally else 0,
                "damaged": item.tally.damaged if item.tally else 0,
                "looked": item.tally is not None,
                "missing": item.missing,
            }
            for item in crate.items
        ],
        "lines": [{**line.model_dump(mode="json", exclude={"count_id"}), "when": at(line.at)} for line in crate.taps],
        "shorts": [short.model_dump(mode="json") for short in crate.shorts],
        "falls": crate.falls,
        "closed_by": None if crate.last is None else crate.last.closed_by,
    }


def _match(if_match: str | None, version: int | None) -> str | None:
    return if_match if if_match is not None or version is None else etag(version)


def _day(text: str, where: str) -> datetime.date | None:
    try:
        return date(text) if text else None
    except BadInput as fault:
        raise BadInput(where, fault.problem) from None


def _whole(text: str, where: str) -> int:
    if not (text.isascii() and text.isdigit()):
        raise BadInput(where, f'must be a whole number, is "{text}"')
    return int(text)


def _anchor(item: str) -> str:
    return "item-" + "-".join("".join(c if c.isalnum() else " " for c in item).split())


def _json(value: Any, status: int = 200) -> Response:
    return Response(msgspec.json.encode(value, enc_hook=_plain), status, None, "application/json")


def _plain(value: Any) -> Any:
    return value.model_dump(mode="json")
