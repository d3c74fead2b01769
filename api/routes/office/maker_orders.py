"""Orders to the makers: what is late, one order with its days, its paper, and the mail that takes it there."""

from __future__ import annotations

import datetime
from typing import Annotated
from urllib.parse import urlencode

from fastapi import Path, Query, Request
from fastapi.responses import RedirectResponse, Response
from sqlmodel import Session

from api import tables
from api.access.accounts import Role
from api.access.guards import Who, allow, found
from api.business.part import BadValues
from api.clock import Now, local_day
from api.database import transaction
from api.http.headers import disposition
from api.http.pages import Database, SentTexts, page
from api.http.problems import Problem, responses
from api.http.subject import Subject
from api.ledger.history import in_words
from api.maker.orders import BrokenPromise, broken_promise, install_of, order_line, order_list
from api.maker.paper import order_letter, order_pdf
from api.messages.papers import mail_paper, sent_papers
from api.office import keeping
from api.office.hanging import Hanging, hanging
from api.office.keeping import Record
from api.office.kinds import KINDS
from api.routes.records import Words

router = Subject(prefix="/maker-orders", tags=("maker orders",))
Office = Annotated[Who, allow(Role.manager, Role.office)]
OrderId = Annotated[int, Path(ge=1, le=2**31 - 1)]
KIND = KINDS["maker-orders"]


@router.get("")
def orders(request: Request, session: Database, now: Now, _: Office) -> Response:
    """Show what is on order with makers, the late ones first."""
    lines = order_list(session, local_day(session, now))
    return page(request, "office/maker_orders.html", {"lines": lines})


@router.get("/new")
def new(
    request: Request, session: Database, _: Office, awning: Annotated[Words, Query(max_length=80)] = ""
) -> Response:
    """Show the form of a new order; `awning` is what it is for."""
    texts = {column.name: column.start for column in KIND.columns}
    if awning:
        row = found(session, tables.Awning, awning, "awning")
        model = session.get(tables.AwningModel, row.model)
        texts |= {"awning_id": awning, "maker": model.maker if model is not None else ""}
    return _form(request, session, None, texts)


@router.post("/new", responses=responses(409))
def make(request: Request, session: Database, now: Now, who: Office, sent: SentTexts) -> Response:
    """Write an order down, or show first which visits can no longer go with its days."""
    return _take(request, session, None, sent, who, now)


@router.get("/{maker_order_id}")
def order(request: Request, session: Database, now: Now, _: Office, maker_order_id: OrderId) -> Response:
    """Show an order: what it is for, its days, the tries to mail it, and its last changes."""
    return _form(request, session, _record(session, maker_order_id), None, now=now)


@router.post("/{maker_order_id}", responses=responses(409, 412))
def change(
    request: Request, session: Database, now: Now, who: Office, maker_order_id: OrderId, sent: SentTexts
) -> Response:  # fmt: skip
    """Change an order; a changed day moves the crate's, and the visits that can no longer go are named first."""
    return _take(request, session, _record(session, maker_order_id), sent, who, now)


@router.post("/{maker_order_id}/came", responses=responses(409))
def came(session: Database, now: Now, who: Office, maker_order_id: OrderId) -> Response:
    """Note that an order has come today: its crate is to be counted at the bench."""
    old = _record(session, maker_order_id)
    texts = {"came_on": local_day(session, now).isoformat()}
    try:
        keeping.keep(session, KIND, old, keeping.read(session, KIND, texts, old), by=who.name, now=now)
    except BadValues as bad:
        raise Problem(409, "; ".join(problem for _, problem in bad.faults), kind="bad-input") from None
    visit = install_of(session, old.row.awning_id)
    words = "It has come today."
    return _on(maker_order_id, f"{words} Count its crate at the bench." if visit is not None else words)


@router.get("/{maker_order_id}/order.pdf", response_class=Response)
def paper(session: Database, now: Now, _: Office, maker_order_id: OrderId) -> Response:
    """Give an order on paper, as it goes to the maker."""
    row = found(session, tables.MakerOrder, maker_order_id, "order to a maker")
    data = order_pdf(session, order_line(session, row, local_day(session, now)), now)
    headers = {"Content-Disposition": disposition("inline", f"order-{row.awning_id}.pdf")}
    return Response(data, media_type="application/pdf", headers=headers)


@router.post("/{maker_order_id}/mail", responses=responses(409, 422))
def mail(request: Request, session: Database, now: Now, who: Office, maker_order_id: OrderId) -> Response:
    """Mail an order to its maker with the paper; it counts as sent from the first time on."""
    row, today = _record(session, maker_order_id).row, local_day(session, now)
    as_sent = tables.MakerOrder(**row.model_dump() | {"sent_on": row.sent_on or today})  # the paper says when it was
    letter = order_letter(session, order_line(session, as_sent, today), now)
    state = request.app.state
    done = mail_paper(state.database, state.settings, letter, now=now, by=who.name)
    if done.state != "sent":
        return _on(maker_order_id, f"It was not sent. {done.fault}")
    with transaction(state.database) as inner:  # this request's own session has read before the letter went out
        old = _record(inner, maker_order_id)
        texts = {"sent_on": old.texts["sent_on"] or today.isoformat()}
        keeping.keep(inner, KIND, old, keeping.read(inner, KIND, texts, old), by=who.name, now=now)
    return _on(maker_order_id, f"Sent to {letter.to_email}.")


def _record(session: Session, order_id: int) -> Record:
    found(session, tables.MakerOrder, order_id, "order to a maker")
    old = keeping.record_of(session, KIND, [str(order_id)])
    assert old is not None
    return old


def _take(
    request: Request, session: Session, old: Record | None, sent: dict[str, str], who: Who, now: datetime.datetime
) -> Response:
    texts = {c.name: sent.get(c.name, old.texts[c.name] if old else "").strip() for c in KIND.columns}
    if old is not None and sent.get("mark") != old.mark:
        return _form(request, session, old, texts, now=now, other=True, status=412)
    kept: list[int] = []
    try:
        values = keeping.read(session, KIND, texts, old)

        def do(session: Session) -> None:
            mine = keeping.record_of(session, KIND, [str(part) for part in old.key]) if old else None
            kept.append(keeping.keep(session, KIND, mine, values, by=who.name, now=now).key[0])

        if not sent.get("anyway"):
            hangs = hanging(request.app.state.searches.days, now, do)
            told = broken_promise(session, values)
            if hangs.fall or told:
                return _form(request, session, old, texts, now=now, hangs=hangs, told=told, status=409)
        do(session)
    except BadValues as fault:
        return _form(request, session, old, texts, now=now, faults=dict(fault.faults), status=422)
    return _on(kept[-1], "Kept.")


def _on(order_id: int, words: str) -> RedirectResponse:
    return RedirectResponse(f"/maker-orders/{order_id}?{urlencode({'kept': words})}", 303)


def _form(
    request: Request, session: Session, old: Record | None, texts: dict[str, str] | None, *,
    now: datetime.datetime | None = None, faults: dict[str, str] | None = None, hangs: Hanging | None = None,
    told: BrokenPromise | None = None, other: bool = False, status: int = 200,
) -> Response:  # fmt: skip
    line = None
    if old is not None and now is not None:
        line = order_line(session, old.row, local_day(session, now))
    business = session.get(tables.Business, 1)
    values = {
        "kind": KIND, "old": old, "texts": texts or (old.texts if old else {}), "faults": faults or {}, "line": line,
        "loose": [problem for where, problem in (faults or {}).items() if not where], "hangs": hangs, "told": told,
        "other": other, "kept": request.query_params.get("kept", "")[:200],
        "mails": sent_papers(session, "maker order", str(old.key[0])) if old else [],
        "history": [(row.at, in_words(row, of=keeping.title(KIND, old.texts)))
                    for row in keeping.changes_of(session, KIND, old)] if old else [],
        "timezone": business.timezone if business else "UTC",
        "may_mail": request.app.state.settings.smtp is not None,
    }  # fmt: skip
    return page(request, "office/maker_order.html", values, status=status)
