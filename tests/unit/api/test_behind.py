"""Work behind the pages whose asker has gone: the end of a service that is not waited for."""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable

import pytest

from api.exchange.behind import Tell, _do
from scheduler.errors import BadInput


def made(tell: Tell) -> str:
    return "whole"


def telling(tell: Tell) -> str:
    tell(1, 2)
    return "whole"


def refusing(tell: Tell) -> str:
    raise BadInput("row", "must be a number")


@pytest.mark.parametrize("work", [made, telling, refusing])
def test_work_that_nobody_waits_for_any_more_ends_without_a_word(work: Callable[[Tell], str]) -> None:
    here, there = multiprocessing.Pipe(duplex=False)
    here.close()
    _do(there, work, ())
    assert there.closed


def test_a_broken_pipe_of_the_work_itself_is_told() -> None:
    def breaking(tell: Tell) -> str:
        raise BrokenPipeError("the mail server hung up")

    here, there = multiprocessing.Pipe(duplex=False)
    _do(there, breaking, ())
    what, fault = here.recv()
    here.close()
    assert (what, type(fault), str(fault)) == ("fault", BrokenPipeError, "the mail server hung up")
