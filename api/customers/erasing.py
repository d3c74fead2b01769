"""Erasing a customer: what tells who they are goes, what was built and when stays under the same numbers.

A customer's own words, addresses, signatures and pictures go from the rows and from the history. Each line of the
history that is changed so gets an `ErasedLine` with the hashes of what it said and says: the chain holds without the
words (`api.chain.links`). What a text that is never changed still says of them is told, not hidden.
"""

from __future__ import annotations

import datetime
import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlmodel import AutoString, Session, SQLModel, col, select

from api import tables
from api.chain.links import contents
from api.customers.gathered import Found, erased, rows_of, visits_of
from api.database import begin_writing, transaction
from api.http.problems import Problem
from api.languages import gettext, ngettext
from api.ledger.history import note
from api.ledger.kept_files import Folder, path_of

GONE = "erased"
# What a row says of a person, by table, and what stands there afterwards. What is not named here is of the awning, the
# wall, the work or the business (`tests/service/access/test_erasing.py` holds that every text is decided on).
CLEARED: dict[str, dict[str, Any]] = {
    "customer": {"name": "Erased customer", "phone": "", "email": "", "note": "", "language": ""},
    "site": {"address": GONE, "access": ""},
    "sales_order": {"note": ""},
    "visit": {"fault": "", "note": ""},
    "site_survey": {"uncertain": ""},
    "booking": {"told_words": ""},
    "message": {
        "to_name": GONE, "to_email": "", "to_phone": "", "subject": GONE, "body": GONE, "text": "", "calendar": "",
        "language": "en", "english": "", "answer": "",
    },
    "text_received": {"number": "", "words": GONE},
    "sent_paper": {"to_name": GONE, "to_email": "", "subject": GONE, "body": GONE},
    "gate": {"paper": ""},
    "maker_order": {"note": ""},
    "crate_count": {"note": ""},
    "step_done": {"note": ""},
    "day_result": {"why": ""},
    "callback": {"why": ""},
    "stored_awning": {"note": ""},
    "yearly_service": {"note": ""},
}  # fmt: skip
DELETED = ("photo", "gate_paper", "signature", "place_answer", "prepared")  # drawings bear the name; they are made anew
# Where the files of rows lie, and the column that names them: those that no other row names go too.
FILES: dict[str, tuple[Folder, Any]] = {
    "photo": ("photos", tables.Photo.sha256),
    "gate_paper": ("papers", tables.GatePaper.sha256),
}
COARSE = 1  # decimals of a degree that are left of where a house stands: some 10 km
# Keys of a line of the history whose values are a person's; any other text goes where it names them.
TELLS = {
    "name", "phone", "email", "address", "access", "note", "fault", "uncertain", "lat", "lon", "to", "to_name",
    "to_email", "to_phone", "subject", "body", "text", "english", "told_words", "words", "why", "caption", "paper",
    "signed by", "signature of", "not in order",
}  # fmt: skip
_LEAST = 5  # letters of a text by which other rows are looked through: shorter ones stand in anybody's
_AS_BEFORE = ("chain_link", "erased_line")  # hashes alone
TEXTS = (sa.String, sa.JSON, AutoString)


@dataclass(frozen=True)
class Erased:
    """What erasing a customer has done: lines of the history, pictures, papers.

    `left` are tables that still name them.
    """

    lines: int
    photos: int
    papers: int
    left: tuple[str, ...]


def may_be_erased(session: Session, customer_id: str) -> str:
    """Return why a customer cannot be erased yet, as a sentence; empty where they can."""
    if erased(session, customer_id) is not None:
        return gettext("This customer was erased before.")
    open_ones = [visit.id for visit in visits_of(session, customer_id) if visit.state == "open"]
    if open_ones:
        named = ", ".join(open_ones[:3]) + (" …" if len(open_ones) > 3 else "")
        still = ngettext(
            "{visits} is still open: finish or cancel that first.",
            "{visits} are still open: finish or cancel that first.",
            len(open_ones),
        )
        return still.format(visits=named)
    return ""


def erase(database: sa.Engine, data: Path, customer_id: str, *, by: str, now: datetime.datetime) -> Erased:
    """Erase a customer for good; all or nothing, the pictures' files last.

    Answers 404 where there is no such customer, 409 where they cannot be erased yet.
    """
    with transaction(database) as session:
        begin_writing(session)
        customer = session.get(tables.Customer, customer_id)
        if customer is None:
            raise Problem(404, f'No customer has the id "{customer_id}".')
        if why := may_be_erased(session, customer_id):
            raise Problem(409, why, kind="in-use")
        found = rows_of(session, customer_id)
        words = _words_of(session, found)
        _clear(session, found)
        lines = _erase_lines(session, found, words, customer_id, by=by, now=now)
        _blur_weeks(session, found, customer_id, by=by, now=now)
        _forget_kept(session, words)
        left = tuple(_still_named(session, words))
        digests = {name: {row["sha256"] for row in found.get(name, [])} for name in FILES}
        photos, papers = (len(found.get(name, [])) for name in FILES)
        detail = {"lines": lines, "photos": photos, "papers": papers, "still_named_in": list(left)}
        note(session, now, by, "erased", "customer", customer_id, detail)
    with transaction(database) as session:
        for name, (folder, column) in FILES.items():
            named = set(session.exec(select(column).where(col(column).in_(digests[name]))).all())
            for digest in digests[name] - named:
                path_of(data, folder, digest).unlink(missing_ok=True)
    return Erased(lines, photos, papers, left)


def _words_of(session: Session, found: Found) -> tuple[str, ...]:
    """Return the texts that tell who the customer is, now or by the history, and nobody else."""
    said = {str(row[key]) for row in found["customer"] for key in ("name", "phone", "email")}
    said |= {str(row["address"]) for row in found.get("site", [])}
    said |= {str(row["name"]) for row in found.get("signature", [])}
    said |= {str(row[key]) for row in found.get("message", []) for key in ("to_name", "to_email", "to_phone")}
    for line in found.get("history", []):
        if line["noun"] in ("customer", "customers", "site", "sites"):
            told = (line["detail"].get(key) for key in ("name", "phone", "email", "address"))
            said |= {one for value in told for one in (value if isinstance(value, list) else [value]) if one}
    others, mine = tables.Customer, found["customer"][0]["id"]
    telling = [one for one in said if len(one) >= _LEAST and re.search(r"[\s\d@]", one)]
    shared = set()
    for column, owner in ((others.name, others.id), (others.phone, others.id), (others.email, others.id)):
        rows = select(column).where(col(column).in_(telling), col(owner) != mine)
        shared |= set(session.exec(rows).all())
    sites = select(tables.Site.address).where(col(tables.Site.address).in_(telling), tables.Site.customer_id != mine)
    shared |= set(session.exec(sites).all())
    return tuple(sorted((one for one in telling if one not in shared), key=lambda one: (-len(one), one)))


def _clear(session: Session, found: Found) -> None:
    for name, rows in found.items():
        table = SQLModel.metadata.tables[name]
        keys = list(table.primary_key.columns)
        for row in rows:
            mine = sa.and_(*(key == row[key.name] for key in keys))
            if name in DELETED:
                session.execute(sa.delete(table).where(mine))
            elif name in CLEARED:
                values = dict(CLEARED[name])
                if name == "site":
                    values |= {key: round(row[key], COARSE) for key in ("lat", "lon")}
                if name == "message" and row["state"] in ("draft", "failed"):
                    values["state"] = "dropped"
                if "version" in table.columns:
                    values["version"] = row["version"] + 1
                session.execute(sa.update(table).where(mine).values(**values))


def _erase_lines(
    session: Session, found: Found, words: tuple[str, ...], customer_id: str, *, by: str, now: datetime.datetime
) -> int:
    """Rewrite the lines of the history that tell of the customer; return how many there were."""
    own = {row["id"]: row["detail"] for row in found.get("history", [])}
    line = tables.History
    others = {} if not words else dict(_rows_with(session, line.__table__, line.detail, words))  # type: ignore[attr-defined]
    changed = {number: _without(detail, words, own=True) for number, detail in own.items()}
    changed |= {number: _without(told, words, own=False) for number, told in others.items() if number not in own}
    changed = {number: detail for number, detail in changed.items() if detail != (own | others)[number]}
    if not changed:
        return 0
    opening = tables.LedgerOpening(at=now, by=by, why=f"customer {customer_id} was erased")
    session.add(opening)
    session.flush()
    before = contents(session, "history", list(changed))
    for number, detail in sorted(changed.items()):
        session.execute(sa.update(line).where(col(line.id) == number).values(detail=detail))
    after = contents(session, "history", list(changed))
    session.add_all(
        tables.ErasedLine(history_id=number, before=before[number], after=after[number], at=now, by=by)
        for number in sorted(changed)
    )
    opening.closed_at = now
    session.flush()
    return len(changed)


def _blur_weeks(session: Session, found: Found, customer_id: str, *, by: str, now: datetime.datetime) -> None:
    """Leave in every stored week as much of where the customer's houses stand as their sites keep."""
    sites = {row["id"] for row in found.get("site", [])}
    stored, ahead = tables.StoredPlan, tables.HorizonPlan
    named = [
        (table, number)
        for table in (stored, ahead)
        for number in session.exec(select(col(table.id)).where(_names(table.week, tuple(sites))))
    ]
    if not sites or not named:
        return
    opening = tables.LedgerOpening(at=now, by=by, why=f"customer {customer_id} was erased from stored weeks")
    session.add(opening)
    session.flush()
    for table, number in named:  # one at a time: they are large
        week = json.loads(session.exec(select(col(table.week)).where(col(table.id) == number)).one())
        for place in week["places"]:
            if place["id"] in sites:
                place |= {key: round(place[key], COARSE) for key in ("lat", "lon")}
        text = json.dumps(week, ensure_ascii=False, separators=(",", ":"))
        session.execute(sa.update(table).where(col(table.id) == number).values(week=text))
    opening.closed_at = now
    session.flush()


def _rows_with(
    session: Session, table: sa.Table, column: Any, words: tuple[str, ...]
) -> Iterator[tuple[int, dict[str, Any]]]:
    wanted = sa.select(table.c.id, column).where(_names(column, words))
    return ((row[0], row[1]) for row in session.execute(wanted))


def _names(column: Any, words: tuple[str, ...]) -> sa.ColumnElement[bool]:
    """Return that a column holds one of `words`, also as JSON writes them."""
    text = sa.cast(column, sa.String)
    escaped = {json.dumps(one)[1:-1] for one in words}
    return sa.or_(*(text.contains(one, autoescape=True) for one in {*words, *escaped}))


def _without(value: Any, words: tuple[str, ...], *, own: bool, key: str = "") -> Any:
    """Return a value of a line without what tells of the customer; own: the line is about what is theirs."""
    if isinstance(value, dict):
        return {name: _without(inner, words, own=own, key=name) for name, inner in value.items()}
    if isinstance(value, list):
        return [_without(inner, words, own=own, key=key) for inner in value]
    if own and key in TELLS and value not in (None, "") and not isinstance(value, bool):
        return GONE
    if isinstance(value, str):
        for one in words:
            value = value.replace(one, GONE)
    return value


def _forget_kept(session: Session, words: tuple[str, ...]) -> None:
    """Drop what is kept for a day or so and may name them: answers to repeated requests, tables sent in."""
    if not words:
        return
    kept = tables.KeptAnswer
    for row in session.exec(select(kept)):
        if any(one.encode() in row.body for one in words):
            session.delete(row)
    session.execute(sa.delete(tables.SentFile).where(_names(tables.SentFile.table, words)))
    call = tables.WebhookCall
    session.execute(sa.update(call).where(_names(call.body, words)).values(body="{}"))
    case = tables.RebookingCase
    for opened in session.exec(select(case).where(_names(case.detail, words))):
        opened.detail = str(_without(opened.detail, words, own=False))
        session.add(opened)


def _still_named(session: Session, words: tuple[str, ...]) -> Iterator[str]:
    """Yield the tables of which a text names the customer still: reasons given when posting, notes of the business."""
    if not words:
        return
    for table in SQLModel.metadata.sorted_tables:
        texts = [c for c in table.columns if isinstance(c.type, TEXTS) and table.name not in _AS_BEFORE]
        if (
            texts
            and session.execute(
                sa.select(sa.literal(1)).where(sa.or_(*(_names(c, words) for c in texts))).limit(1)
            ).first()
        ):
            yield table.name.replace("_", " ")
