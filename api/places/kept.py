"""What is known of addresses without asking anybody: places that somebody chose, the file's, and kept answers."""

from __future__ import annotations

import datetime

import msgspec
from sqlmodel import Session

from api import tables
from api.fields.addresses.streets import question_of
from api.ledger.history import note
from api.places import addresses
from api.places.answers import AddressAnswer, PlaceFound, State, asked_words, judged


def key_of(source: tables.PlaceSource) -> str:
    """Return what tells the answers of one source from those of another."""
    return "file" if source.kind == "file" else f"{source.kind} {source.address}"


def kept_answer(session: Session, address: str, town: str) -> AddressAnswer | None:
    """Return what is known without asking anybody: a chosen place, the file's, or a kept answer; None: not yet."""
    if not address.strip():
        return AddressAnswer("none", (), "Write the street and the number.")
    row = session.get(tables.PlaceAnswer, question_of(address, town))
    if row is not None and row.state == "chosen":
        return _answer_of(row)
    source = session.get(tables.PlaceSource, 1) or tables.PlaceSource()
    if source.kind == "none":
        return AddressAnswer("no source", (), "No source of addresses is set: put the pin on the map yourself.")
    if source.kind == "file":
        return judged(address, town, addresses.look_up(session, address, town))
    if row is None or row.state == "wanted" or row.source != key_of(source):
        return None
    return _answer_of(row)


def _answer_of(row: tables.PlaceAnswer) -> AddressAnswer:
    places = tuple(msgspec.convert(one, PlaceFound) for one in row.places)
    if row.state == "chosen":
        return AddressAnswer("chosen", places, "")
    return judged(row.address, row.town, places)


def choose(session: Session, address: str, town: str, place: PlaceFound, *, by: str, now: datetime.datetime) -> None:
    """Keep where an address is because somebody has said so."""
    row = tables.PlaceAnswer(question=question_of(address, town), address=address, town=town, state="chosen",
                             source=by, places=[msgspec.to_builtins(place)], at=now, by=by)  # fmt: skip
    session.merge(row)
    session.flush()
    note(session, now, by, "placed", "address", asked_words(address, town)[:80], {"pin": place.pin})


def keep(
    session: Session, address: str, town: str, answer: AddressAnswer, source: str, now: datetime.datetime, by: str
) -> None:  # fmt: skip
    """Keep an answer under its address, in place of what was kept."""
    state: State = answer.state
    places = [msgspec.to_builtins(place) for place in answer.places]
    session.merge(tables.PlaceAnswer(question=question_of(address, town), address=address[:200], town=town[:120],
                                     state=state, source=source, places=places, at=now, by=by))  # fmt: skip
    session.flush()
