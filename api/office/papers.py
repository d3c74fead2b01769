"""Papers of gates: a permit, a letter or a receipt as PDF or picture, kept beside its gate in the data folder."""

from __future__ import annotations

import datetime
import hashlib
import re
from collections.abc import Sequence
from pathlib import Path

from sqlmodel import Session, col, select

from api import tables
from api.http.problems import Problem
from api.languages import gettext, language, speaking
from api.ledger.history import note
from api.ledger.kept_files import MOST_BYTES, clean, kind_of, path_of, store
from api.outside import outside

PDF = "application/pdf"
MOST = 20  # papers of one gate
_LONGEST_NAME = 120
_ENDS = {PDF: (".pdf",), "image/jpeg": (".jpg", ".jpeg"), "image/png": (".png",), "image/webp": (".webp",)}
_HEAD, _TAIL = 1024, 2048  # bytes of a PDF file in which its first and last words stand


def keep(
    session: Session, folder: Path, gate: tables.Gate, name: str, data: bytes, *, by: str, now: datetime.datetime
) -> tuple[tables.GatePaper, bool]:  # fmt: skip
    """Keep a paper of a gate under `folder`; return it and whether it is new: the same file twice is one.

    Answers 413 where it is too large, 415 where it is neither a PDF file nor a picture that can be read, 409 where the
    gate has `MOST` already.
    """
    kept, media_type = _judged(data)
    digest, paper = hashlib.sha256(kept).hexdigest(), tables.GatePaper
    there = session.exec(select(paper).where(paper.gate_id == gate.id)).all()
    for row in there:
        if row.sha256 == digest:
            if row.taken_away_at is not None:
                put_back(session, row, by=by, now=now)
            return row, False
    if sum(row.taken_away_at is None for row in there) >= MOST:
        raise Problem(409, gettext("A gate has at most {n} files: take one away first.").format(n=MOST))
    store(path_of(folder, "papers", digest), kept)
    assert gate.id is not None
    row = paper(
        gate_id=gate.id, name=_named(name, media_type), media_type=media_type, bytes=len(kept), sha256=digest,
        kept_at=now, kept_by=by,
    )  # fmt: skip
    session.add(row)
    session.flush()
    _note(session, row, gate, "filed", by=by, now=now)
    return row, True


def take_away(session: Session, row: tables.GatePaper, *, by: str, now: datetime.datetime) -> None:
    """Take a paper away from its gate; it can be put back (`api.condition.leftovers.TAKEN_AWAY`)."""
    if row.taken_away_at is None:
        row.taken_away_at, row.taken_away_by = now, by
        _note(session, row, session.get_one(tables.Gate, row.gate_id), "took away", by=by, now=now)


def put_back(session: Session, row: tables.GatePaper, *, by: str, now: datetime.datetime) -> None:
    """Put a paper back that was taken away."""
    if row.taken_away_at is not None:
        row.taken_away_at, row.taken_away_by = None, ""
        _note(session, row, session.get_one(tables.Gate, row.gate_id), "put back", by=by, now=now)


def papers_of(session: Session, gates: Sequence[tables.Gate]) -> dict[int, list[tables.GatePaper]]:
    """Return by gate its papers in the order in which they came, those taken away too."""
    paper, found = tables.GatePaper, dict[int, list[tables.GatePaper]]()
    wanted = select(paper).where(col(paper.gate_id).in_([gate.id for gate in gates]))
    for row in session.exec(wanted.order_by(col(paper.id))):
        found.setdefault(row.gate_id, []).append(row)
    return found


def _judged(data: bytes) -> tuple[bytes, str]:
    """Return what is kept of a file, and its media type; a picture is written anew in a process of its own."""
    if len(data) > MOST_BYTES:
        n = MOST_BYTES // 1024**2
        raise Problem(413, gettext("The file has more than {n} MB: send a smaller one.").format(n=n))
    if b"%PDF-" in data[:_HEAD]:
        if b"%%EOF" not in data[-_TAIL:]:
            raise Problem(415, gettext("This PDF file is cut off: send it again."))
        return data, PDF
    if kind_of(data) is None:
        raise Problem(415, gettext("This is no PDF file and no JPEG, PNG or WebP picture."))
    refused, kept, media_type = outside(_picture, data, language())
    if refused is not None:
        raise Problem(*refused)
    return kept, media_type


def _picture(data: bytes, spoken: str) -> tuple[tuple[int, str] | None, bytes, str]:
    """Return a picture written anew, or the status and sentence of why it is refused."""
    with speaking(spoken):
        try:
            return None, *clean(data)
        except Problem as problem:
            return (problem.status, problem.detail), b"", ""


def _named(name: str, media_type: str) -> str:
    """Return what a file is called: no folders, nothing that cannot be read, the ending of what it is."""
    bare = re.sub(r"[\x00-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069]", "", re.split(r"[/\\\\]", name)[-1]).strip(" .")
    ends = _ENDS[media_type]
    if bare.lower().endswith(ends):
        return bare[-_LONGEST_NAME:]
    stem = re.sub(r"\.[A-Za-z0-9]{1,5}$", "", bare) or gettext("paper")
    return stem[: _LONGEST_NAME - 5] + ends[0]


def _note(
    session: Session, row: tables.GatePaper, gate: tables.Gate, did: str, *, by: str, now: datetime.datetime
) -> None:
    note(session, now, by, did, "gate paper", f"{gate.visit_id}, {gate.what}"[:80], {"name": row.name})
