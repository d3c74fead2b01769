"""What is kept in memory is made once, however many ask for it at the same time."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor

import pytest
import sqlalchemy as sa
from sqlmodel import Session

from api.ledger.kept import kept

PHONES = 8


@pytest.fixture
def engine() -> Iterator[sa.Engine]:
    made = sa.create_engine("sqlite://")
    yield made
    made.dispose()


def test_phones_that_read_at_once_have_their_page_made_once(engine: sa.Engine) -> None:
    all_here, made, again = threading.Barrier(PHONES), [], threading.Event()

    def make() -> object:
        made.append(threading.get_ident())
        if len(made) > 1:
            again.set()
        again.wait(0.2)  # in which another one would begin
        return object()

    def read(_: int) -> object:
        with Session(engine) as session:
            all_here.wait(10)
            return kept(session, ("page", 1), make)

    with ThreadPoolExecutor(PHONES) as phones:
        pages = list(phones.map(read, range(PHONES)))
    assert len(made) == 1
    assert all(page is pages[0] for page in pages)


def test_nobody_waits_for_what_somebody_else_makes(engine: sa.Engine) -> None:
    other_made, slow_begun = threading.Event(), threading.Event()

    def slow() -> bool:
        slow_begun.set()
        return other_made.wait(10)

    with ThreadPoolExecutor(1) as beside, Session(engine) as session:
        waits = beside.submit(kept, session, ("page", 1), slow)
        assert slow_begun.wait(10)
        assert kept(Session(engine), ("page", 2), lambda: "made") == "made"
        other_made.set()
        assert waits.result(10)


def test_what_could_not_be_made_is_tried_again_by_who_waited(engine: sa.Engine) -> None:
    begun, go_on = threading.Event(), threading.Event()

    def fails() -> str:
        begun.set()
        go_on.wait(10)
        raise OSError("away")

    with ThreadPoolExecutor(2) as beside:
        first = beside.submit(kept, Session(engine), ("page", 1), fails)
        assert begun.wait(10)
        second = beside.submit(kept, Session(engine), ("page", 1), lambda: "made")
        go_on.set()
        with pytest.raises(OSError, match="away"):
            first.result(10)
        assert second.result(10) == "made"
    assert kept(Session(engine), ("page", 1), lambda: "made anew") == "made"
