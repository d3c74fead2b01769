"""Long lists looked through and taken in behind the page: they say how far they are, and can be stopped.

Each is a piece of work in the data folder, so that every worker can show it: what became of each row stands there once
it is over. A list is kept so many rows at a time; one that is stopped or broken off leaves those rows in, whole.
"""

from __future__ import annotations

import datetime
import secrets
import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import sqlalchemy as sa
from sqlalchemy.exc import SQLAlchemyError
from sqlmodel import Session, select

from api import tables
from api.database import Duty, Hold, open_database, transaction
from api.database.opening import make_folder
from api.exchange.behind import BrokenOff, Piece, Tell, behind, kept
from api.falls.today import Days
from api.fields.wording import PLAIN, Wording, worded
from api.http.problems import Problem, problem_of
from api.languages import language, speaking
from api.office.files.sheets import table_of
from api.office.hanging import Hanging, hanging
from api.office.kinds import KINDS
from api.office.lists.settings import SETTING_LISTS
from api.office.taking import RowOutcome, TableTaken, remember, take, take_in
from api.settings import Settings
from scheduler.errors import BadInput

LONG = 100  # rows from which on a list is looked through and taken in so
MOST_S = 3600.0  # for one list: then its process is ended
FOLDER = "lists"
NOTHING = Hanging()
MOVED_ON = BadInput(
    "", "The rows would do something else by now than was shown. Nothing was taken in: look again."
).problem


class ListWork(Piece):
    """A list that is looked through, or taken in (`take`): `done` of `total` rows, a list that is taken in twice each.

    `lines` are the rows of the list. Once it is over: what became of each, what falls by them, or why it failed. A
    list that was stopped or failed while it was taken in has the `rows` that are in.
    """

    file_id: str = ""
    columns: tuple[str, ...] = ()
    for_all: tuple[tuple[str, str], ...] = ()
    take: bool = False
    lines: int = 0
    state: Literal["working", "done", "stopped", "failed"] = "working"
    rows: tuple[RowOutcome, ...] = ()
    hangs: Hanging = NOTHING
    fault: str = ""

    @property
    def taken(self) -> TableTaken:
        return TableTaken(self.rows)

    @property
    def at(self) -> int:
        """Return how many rows of what it is at are gone through: looked through, then kept."""
        return self.done - self.lines if self.keeps else self.done

    @property
    def keeps(self) -> bool:
        """Say whether rows are being kept: before that, a list is looked through once more."""
        return self.take and self.done >= self.lines

    @property
    def stop_file(self) -> Path:
        return Path(self.folder) / f"{self.id}.stop"


@dataclass(frozen=True)
class ListOutcome:
    """What a process says of a list at its end."""

    rows: tuple[RowOutcome, ...]
    hangs: Hanging = NOTHING
    fault: str = ""
    stopped: bool = False


class ListStopped(Exception):
    """Somebody has stopped the list."""


class Lists:
    """Looks long lists through and takes them in, one at a time, whichever worker is asked.

    looked_through: is told, in the transaction that ends a list which was taken in, of which file it was.
    """

    def __init__(
        self, engine: sa.Engine, settings: Settings, held: Hold, looked_through: Callable[[Session, str], None]
    ) -> None:
        self._engine, self._address, self._held = engine, settings.database, held
        self._own_process = settings.preparers > 0  # else in threads: a service that is to begin no processes
        self._looked_through = looked_through
        self._folder = settings.data / FOLDER
        self._closing = threading.Event()
        self._threads = list[threading.Thread]()

    def begin(
        self, sent: tables.SentFile, columns: Sequence[str], for_all: Mapping[str, str], by: str,
        machine: datetime.datetime, now: datetime.datetime, *, mark: str | None = None,
    ) -> ListWork | None:  # fmt: skip
        """Begin to look a list through, or to take it in where it still does what `mark` says; None: another is at it.

        machine: by which it is kept; now: the time of the work, by which the history is dated.
        """
        if not self._held.take(Duty.LIST):
            return None
        try:
            make_folder(self._folder, str(self._folder))
            lines = len(table_of(sent.table, kind_of(sent.kind)).lines)
            self._forget(sent.id)
            made = ListWork(
                secrets.token_urlsafe(12), by, machine, str(self._folder), total=lines * (1 if mark is None else 2),
                file_id=sent.id, columns=tuple(columns), for_all=tuple(for_all.items()), take=mark is not None,
                lines=lines,
            )  # fmt: skip
            made.keep()
            given = (self._address, sent.kind, sent.name, sent.table, made, mark, now, language())
            thread = threading.Thread(target=self._see, args=(made, sent.kind, given), name="list", daemon=True)
            self._threads = [one for one in self._threads if one.is_alive()] + [thread]
            thread.start()
        except BaseException:
            self._held.drop(Duty.LIST)
            raise
        return made

    def newest(self, file_id: str) -> ListWork | None:
        """Return what comes, or came, of a file; None where it was not looked through yet."""
        found = self._found(file_id)
        if found is not None and found.state == "working" and not self._held.is_taken(Duty.LIST):
            found = self._found(file_id)  # over since it was read, or its worker is no more
            if found is not None and found.state == "working":
                found.state, found.fault = "failed", broken_off(found)
        return found

    def at_work(self) -> str:
        """Return who has a list taken in just now, or looked through."""
        return next((one.by for one in kept(self._folder, ListWork) if one.state == "working"), "Somebody")

    def stop(self, work: ListWork) -> None:
        """Have a list stopped: the rows that are kept by then stay, the others are not taken in."""
        if work.state == "working":
            work.stop_file.touch()

    def close(self) -> None:
        """Give up what is being done here."""
        self._closing.set()
        for thread in self._threads:
            thread.join()

    def _found(self, file_id: str) -> ListWork | None:
        return next((one for one in kept(self._folder, ListWork) if one.file_id == file_id), None)

    def _forget(self, file_id: str) -> None:
        for one in kept(self._folder, ListWork):
            if one.file_id == file_id:
                (self._folder / f"{one.id}.json").unlink(missing_ok=True)
                one.stop_file.unlink(missing_ok=True)

    def _see(self, made: ListWork, kind_id: str, given: tuple[Any, ...]) -> None:
        try:
            done: ListOutcome = behind(
                look_or_take, *given, step=made.step, ended=self._closing, own_process=self._own_process,
                most_s=MOST_S,
            )  # fmt: skip
            made.rows, made.hangs, made.fault = done.rows, done.hangs, done.fault
            if made.take and done.rows and done.fault != MOVED_ON:
                with transaction(self._engine) as session:
                    sent = session.get(tables.SentFile, made.file_id)
                    if sent is not None:
                        kind = kind_of(kind_id)
                        remember(session, kind, table_of(sent.table, kind), made.columns)
                        self._looked_through(session, sent.id)
            made.state = "stopped" if done.stopped else "failed" if done.fault else "done"
        except BadInput as fault:
            made.state, made.fault = "failed", fault.problem
        except (BrokenOff, SQLAlchemyError, OSError):
            made.state, made.fault = "failed", broken_off(made)
        finally:
            if made.state == "working":
                made.state, made.fault = "failed", broken_off(made)
            made.keep()
            made.stop_file.unlink(missing_ok=True)
            self._held.drop(Duty.LIST)


def broken_off(work: ListWork) -> str:
    """Return what to say of a list whose process is no more: it tells how far it is a moment late."""
    if not work.keeps:
        return BadInput("", "It was broken off. Nothing was taken in: look again.").problem
    rows = work.at
    return BadInput(
        "", f"It was broken off after {rows} rows or some more: look again, no row is changed twice."
    ).problem


def kind_of(kind_id: str) -> Any:
    """Return the kind of a list's rows."""
    return SETTING_LISTS.get(kind_id) or KINDS[kind_id]


def look_or_take(
    address: str, kind_id: str, name: str, rows: list[Any], work: ListWork, mark: str | None,
    now: datetime.datetime, spoken: str, tell: Tell,
) -> ListOutcome:  # fmt: skip
    """Look a list through, and take it in where it does what `mark` says; with a database connection of one's own."""
    engine = open_database(address)
    kind = kind_of(kind_id)
    table = table_of(rows, kind)
    given: dict[str, Any] = {"by": work.by, "now": now, "for_all": dict(work.for_all)}
    tried, found = list[TableTaken](), list[RowOutcome]()

    def step(so_far: int) -> None:
        tell(so_far, work.total)
        if work.stop_file.exists():
            raise ListStopped

    def do(session: Session) -> None:
        tried.append(take(session, kind, table, work.columns, step=step, **given))

    try:
        with speaking(spoken), worded(lambda: _wording(engine)):
            hangs = hanging(Days(engine), now, do, takes_long=True)
            if mark is None:
                return ListOutcome(tried[0].rows, hangs)
            if tried[0].mark != mark:
                return ListOutcome(tried[0].rows, hangs, MOVED_ON)
            take_in(
                engine, kind, table, work.columns, name=name, step=lambda n: step(work.lines + n), found=found, **given
            )
            tell(work.total, work.total)
            return ListOutcome(tuple(found))
    except ListStopped:
        return ListOutcome(tuple(found), stopped=True)
    except (Problem, SQLAlchemyError) as fault:
        return ListOutcome(tuple(found), fault=problem_of(fault).detail)
    finally:
        engine.dispose()


def _wording(engine: sa.Engine) -> Wording:
    business = tables.Business
    with transaction(engine) as session:
        row = session.exec(select(business.clock, business.units, business.currency)).first()
    return PLAIN if row is None else Wording(*row)
