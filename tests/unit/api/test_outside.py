"""Work in a process of its own: it comes back whole, faults too, and a process that dies or hangs is replaced."""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Iterator
from concurrent.futures.process import BrokenProcessPool

import pytest

from api import outside as module
from api.fields.files.sheets import BadFiles
from api.outside import Outside, close_outside, open_outside, outside
from api.uploads.reading import CellFault, read_upload


@pytest.fixture(scope="module")
def own() -> Iterator[Outside]:
    opened = Outside()
    yield opened
    opened.close()


def die() -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def test_work_is_done_elsewhere_where_it_was_opened_and_here_where_not() -> None:
    assert outside(os.getpid) == os.getpid()
    opened = open_outside()
    try:
        assert outside(os.getpid) != os.getpid()
        assert outside(os.getpid) == outside(os.getpid)  # one process does all
    finally:
        close_outside(opened)
    assert outside(os.getpid) == os.getpid()


def test_what_a_table_says_and_what_is_wrong_with_it_come_back_as_they_are(own: Outside) -> None:
    good, bad = b"id,name\nC-1,Odile\nC-2,#REF!\n", b"id,name\nC-1\n"
    here = read_upload(good, "customers.csv", ["customers"])
    there = own.do(read_upload, good, "customers.csv", ["customers"])
    assert [(u.head, u.lines, list(map(str, u.faults))) for u in there] == [
        (u.head, u.lines, list(map(str, u.faults))) for u in here
    ]
    for data in (bad, b"", b"PK\x03\x04no"):
        with pytest.raises(BadFiles) as mine:
            read_upload(data, "customers.csv", ["customers"])
        with pytest.raises(BadFiles) as theirs:
            own.do(read_upload, data, "customers.csv", ["customers"])
        assert [str(one) for one in theirs.value.faults] == [str(one) for one in mine.value.faults]
        for one, other in zip(theirs.value.faults, mine.value.faults, strict=True):
            assert isinstance(one, CellFault) == isinstance(other, CellFault)
            assert vars(one) == vars(other)


def test_a_process_that_dies_is_replaced(own: Outside) -> None:
    before = own.do(os.getpid)
    with pytest.raises(BrokenProcessPool):
        own.do(die)
    assert own.do(os.getpid) != before


def test_work_that_hangs_is_ended_and_the_next_is_done(own: Outside, monkeypatch: pytest.MonkeyPatch) -> None:
    hanging = own.do(os.getpid)
    monkeypatch.setattr(module, "PATIENCE_S", 0.2)
    with pytest.raises(TimeoutError):
        own.do(time.sleep, 600)
    monkeypatch.setattr(module, "PATIENCE_S", 60.0)
    assert own.do(os.getpid) != hanging
    with pytest.raises(ProcessLookupError):
        os.kill(hanging, 0)
