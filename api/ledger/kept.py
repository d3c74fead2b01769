"""What is derived from rows that never change (a stored plan, an issued forecast), kept in memory for each database.

What rests on rows that do change is kept for as long as `unchanged` gives the same answer.
"""

from __future__ import annotations

import threading
import time
import weakref
from collections import OrderedDict
from collections.abc import Callable, Hashable, Iterator
from contextlib import contextmanager
from typing import Any, TypeVar

import sqlalchemy as sa
from sqlmodel import Session

from api import tables
from api.fields.wording import wording
from api.workers.signals import changes_heard

T = TypeVar("T")
_MOST_AGE_S = 10
_TOLD = (tables.History, tables.StoredForecast)
# Of each kind, such as the documents of a plan: of the largest weeks one takes some 20 MB.
MOST = 6
_lock = threading.Lock()
_made_now: dict[Hashable, threading.Lock] = {}  # by database and key: what somebody is making at this moment
_by_database: weakref.WeakKeyDictionary[Any, dict[Hashable, OrderedDict[Hashable, Any]]] = weakref.WeakKeyDictionary()


def kept(session: Session, key: tuple[Hashable, ...], make: Callable[[], T], most: int = MOST) -> T:
    """Return what `make` gave for `key` on the database of `session`, made now where it is not held.

    `key` begins with a word for the kind of thing, then names rows that are never changed, and everything else that
    `make` looks at, but for the wording, which is added here. The last `most` of each kind are held.
    """
    database, key = session.get_bind(), (*key, wording())

    def known() -> list[T]:
        with _lock:
            held = _by_database.setdefault(database, {}).setdefault(key[0], OrderedDict())
            if key not in held:
                return []
            held.move_to_end(key)
            return [held[key]]

    found = known()
    if found:
        return found[0]
    with one_at_a_time((id(database), key)):
        found = known()
        if found:
            return found[0]
        made = make()
        with _lock:
            held = _by_database[database][key[0]]
            held[key] = made
            while len(held) > most:
                held.popitem(last=False)
    return made


@contextmanager
def one_at_a_time(what: Hashable) -> Iterator[None]:
    """Let one thread in for each `what`; the others wait, so that what all of them want is made once.

    Without it, after a change all phones that read at that moment would each make their pages from the beginning.
    """
    with _lock:
        making = _made_now.setdefault(what, threading.Lock())
    with making:
        try:
            yield
        finally:  # who comes from here on finds what was made; where nothing was, those who wait go on one by one
            with _lock:
                if _made_now.get(what) is making:
                    del _made_now[what]


def on_record(session: Session) -> Hashable:
    """Return what is different once anything in the database has been changed: every change leaves a line.

    On a server, lines of changes made side by side can come into sight in another order than that of their numbers:
    hence what is told of each as soon as it can be read.
    """
    newest = [session.execute(sa.select(sa.func.max(table.id))).scalar() for table in _TOLD]
    return (*newest, changes_heard(session.get_bind().engine))


def unchanged(session: Session) -> Hashable:
    """Return what is different once anything has been changed, or ten seconds have gone by: where nobody listens."""
    return on_record(session), int(time.monotonic() // _MOST_AGE_S)
