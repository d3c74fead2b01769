"""Looking addresses up: what is kept first, then the file or the service, never more than one request a second.

An answer is kept under the address until the source is changed; a place that somebody chose stays for good. Nobody
waits for long: addresses of a table that is taken in are worked off in the background.
"""

from __future__ import annotations

import datetime
import time
from collections.abc import Callable, Iterable

import httpx
import msgspec
import sqlalchemy as sa
from sqlmodel import Session, col, select

from api import tables
from api.database import transaction
from api.forecasts.fetch import FetchFault
from api.ledger.history import note
from api.places import addresses
from api.places.answers import AddressAnswer, PlaceFound, State, asked_words, judged, question_of
from api.places.protocols import Box, ask
from api.workers.lookout import Lookout
from api.workers.signals import Signals
from api.workers.turns import Turn, turn

PAUSE_S = 1.0  # between two requests: public services ask for that, and own ones are quick enough
WAIT_S = 5.0  # that somebody waits for a turn
REST_S = 300.0  # without requests in the background after one has failed
KEPT = datetime.timedelta(days=400)
NO_ADDRESS = (400, 414, 422)  # statuses of a service that cannot make an address out of what was typed
ROUND_DEG = 1.0  # beyond the outermost yards, where places are looked for first
Address = tuple[str, str]  # street and number, town
BY = "places"
ASKED = "places"  # what is told of


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


class Finder:
    """Looks up one address at a time for whoever asks, and those that are wanted in the background."""

    def __init__(
        self, database: sa.Engine, clock: Callable[[], datetime.datetime],
        ticks: Callable[[], float] = time.monotonic, sleep: Callable[[float], None] = time.sleep,
        signals: Signals | None = None,
    ) -> None:  # fmt: skip
        self._database, self._clock, self._ticks, self._sleep = database, clock, ticks, sleep
        self._signals = signals
        self._last: float | None = None
        self._swept = False
        self.lookout = Lookout(
            "places", self._look, every_s=REST_S, failed="addresses could not be looked up", at_once=True
        )
        if signals is not None:
            signals.on(ASKED, self._hear)

    def known(self, address: str, town: str) -> AddressAnswer | None:
        """Return what is known of where an address is without asking anybody, None where nothing is."""
        with transaction(self._database) as session:
            return kept_answer(session, address, town)

    def find(self, address: str, town: str, wait_s: float = WAIT_S, by: str = "") -> AddressAnswer:
        """Return where an address is, asking the source where it is not known; never raises for a service's faults.

        by: who wants to know, kept with the answer.
        """
        with transaction(self._database) as session:
            known = kept_answer(session, address, town)
            if known is not None:
                return known
            source = session.get_one(tables.PlaceSource, 1)
            near = _yards_box(session)
            session.expunge(source)
        try:
            with turn(self._database, Turn.ASK_PLACES, wait_s):
                found = self._asked(source, address, town, near)
        except TimeoutError:
            words = "Other addresses are being looked up just now: try again in a moment."
            return AddressAnswer("fault", (), words)
        except FetchFault as fault:
            if fault.status in NO_ADDRESS:  # that one address, not the service
                return self._kept(address, town, [], source, by)
            words = f"{str(fault)[:1].upper()}{str(fault)[1:]}."
            self._outcome(words)
            return AddressAnswer("fault", (), f"{words} Put the pin on the map yourself, or try again.")
        self._outcome("")
        return self._kept(address, town, found, source, by)

    def _asked(self, source: tables.PlaceSource, address: str, town: str, near: Box | None) -> list[PlaceFound]:
        """Ask the source, a second after the last request of any worker at the earliest."""
        self._pause()
        self._tell("asked")
        try:
            with httpx.Client() as client:
                return ask(source.kind, source.address, source.contact, address, town, near, client)
        finally:
            self._last = self._ticks()
            self._tell("asked")

    def _kept(
        self, address: str, town: str, found: list[PlaceFound], source: tables.PlaceSource, by: str
    ) -> AddressAnswer:  # fmt: skip
        answer = judged(address, town, found)
        with transaction(self._database) as session:
            keep(session, address, town, answer, key_of(source), self._clock(), by)
        return answer

    def want(self, wanted: Iterable[Address], by: str) -> None:
        """Have addresses looked up in the background that are not known yet, for `by`."""
        now = self._clock()
        with transaction(self._database) as session:
            for address, town in wanted:
                if kept_answer(session, address, town) is None:
                    keep(session, address, town, AddressAnswer("wanted", (), ""), "", now, by)
        self.lookout.wake()
        self._tell("wanted")

    def unsure(self, found: Iterable[tuple[Address, AddressAnswer]], by: str) -> None:
        """Keep for `by` that somebody has to place these addresses."""
        now = self._clock()
        with transaction(self._database) as session:
            source = session.get(tables.PlaceSource, 1) or tables.PlaceSource()
            for (address, town), answer in found:
                stands = AddressAnswer("none", (), "") if answer.state == "no source" else answer
                keep(session, address, town, stands, key_of(source), now, by)

    def work(self) -> bool:
        """Look up one address that is wanted; return whether there was one and the source answered."""
        with transaction(self._database) as session:
            row = tables.PlaceAnswer
            source = session.get(tables.PlaceSource, 1)
            first = session.exec(select(row).where(row.state == "wanted").order_by(col(row.at)).limit(1)).first()
            if first is None or source is None or source.kind in ("none", "file"):
                return False
            address, town, by = first.address, first.town, first.by
        return self.find(address, town, wait_s=60.0, by=by).state != "fault"

    def _pause(self) -> None:
        if self._last is not None:
            left = self._last + PAUSE_S - self._ticks()
            if left > 0:
                self._sleep(left)

    def _outcome(self, words: str) -> None:
        """Keep how asking went, where that is news."""
        with transaction(self._database) as session:
            source = session.get(tables.PlaceSource, 1)
            if source is None or source.words == words:
                return
            now = self._clock()
            if words and source.failing_since is None:
                source.failing_since = now
                note(session, now, BY, "did not come", "addresses", source.kind, {"fault": words})
            elif not words:
                source.failing_since = None
            source.words = words
            session.add(source)

    def _tell(self, what: str) -> None:
        if self._signals is not None:
            self._signals.tell(ASKED, what)

    def _hear(self, words: str) -> None:
        if words == "asked":
            self._last = self._ticks()
        elif words == "wanted":
            self.lookout.wake()

    def _look(self) -> None:
        """Look up all that are wanted, until one fails; a request under way when it stops is not waited for."""
        if not self._swept:
            self._sweep()
            self._swept = True
        while not self.lookout.stopping() and self.work():
            pass

    def _sweep(self) -> None:
        row = tables.PlaceAnswer
        with transaction(self._database) as session:
            session.execute(sa.delete(row).where(col(row.state) != "chosen", col(row.at) < self._clock() - KEPT))


def keep(
    session: Session, address: str, town: str, answer: AddressAnswer, source: str, now: datetime.datetime, by: str
) -> None:  # fmt: skip
    """Keep an answer under its address, in place of what was kept."""
    state: State = answer.state
    places = [msgspec.to_builtins(place) for place in answer.places]
    session.merge(tables.PlaceAnswer(question=question_of(address, town), address=address[:200], town=town[:120],
                                     state=state, source=source, places=places, at=now, by=by))  # fmt: skip
    session.flush()


def _yards_box(session: Session) -> Box | None:
    """Return where the business works: a degree around its yards, None before it has one."""
    yard = tables.Yard
    lines = session.execute(select(yard.lat, yard.lon)).all()
    if not lines:
        return None
    lats, lons = zip(*lines, strict=True)
    return min(lats) - ROUND_DEG, min(lons) - ROUND_DEG, max(lats) + ROUND_DEG, max(lons) + ROUND_DEG
