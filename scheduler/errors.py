"""The one error that bad input raises, whatever document or form it came in."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

# A refusal says again what was sent, of long texts their beginning; by itself no refusal is longer than this.
_MOST = 800
_QUOTED = re.compile(r'"([^"]{40})[^"]{40,}"')


class BadInput(ValueError):
    """Input that cannot be accepted, in one sentence that says where it is wrong and how to mend it.

    `where` is the path to the key or field (`jobs[12].windows[0].end`), empty for the document as a whole;
    `problem` the rest of the sentence ("must come after start (480), is 400").
    """

    def __init__(self, where: str, problem: str) -> None:
        problem = _QUOTED.sub(r'"\1…"', problem) if len(problem) > _MOST else problem
        problem = f"{problem[:_MOST]} …" if len(problem) > 2 * _MOST else problem
        super().__init__(f"{where}: {problem}" if where else problem)
        self.where = where
        self.problem = problem

    def __reduce__(self) -> tuple[Any, ...]:
        return BadInput, (self.where, self.problem)


@contextmanager
def readable_table() -> Iterator[None]:
    """Say of a text that is no CSV table that it cannot be read; also as a decorator of what reads one."""
    try:
        yield
    except csv.Error as fault:
        raise BadInput("", f"cannot be read as a CSV table ({fault}): save it again as CSV UTF-8") from None
