"""No text in a cell or a field is a traceback: whatever reads it takes it, or says in a sentence what is wrong."""

from __future__ import annotations

import inspect
from collections.abc import Callable, Iterator
from typing import Any

import pytest

from api.fields.column_limits import Text
from api.fields.files import cells, sheets
from api.fields.limits import LIMITS
from api.office.kinds import KINDS
from scheduler.errors import BadInput

LONG = "9" * 5000  # more digits than Python makes a number of
ODD = [
    "", LONG, f"-{LONG}", f"{LONG}.5", f"1/{LONG}", f"1 {LONG}/{LONG}", f"{LONG} ft {LONG} in", f"{LONG}:{LONG}",
    f"Mon 7:{LONG}-8:00", f"Mon-Fri {LONG}:00-9:00", f"${LONG}", f"{LONG} kg", f"2027-04-{LONG}", f"{LONG}-01-01",
    f"4/{LONG}/2027", f"x: {LONG}", f"1e{LONG}", "1e400", "NaN", "٣", "²", "½", "1_000", "+ 1", "1/0", "0/0 in", "\0",
    "\n", "\u202e", "\ud7ff", "a\nb", ",", ":", "-", "=1+1",
]  # fmt: skip


def _of_modules() -> Iterator[tuple[str, Callable[[str], Any]]]:
    """Yield what reads one cell: functions of one text that needs nothing else."""
    for module in (cells, sheets):
        for name, read in inspect.getmembers(module, inspect.isfunction):
            needed = [p for p in inspect.signature(read).parameters.values() if p.default is p.empty]
            if read.__module__ == module.__name__ and [p.annotation for p in needed] == ["str"]:
                yield f"{module.__name__}.{name}", read


def _readers() -> Iterator[tuple[str, Callable[[str], Any]]]:
    yield from _of_modules()
    for column, limit in LIMITS.items():
        yield column, limit.parse
    for kind in KINDS.values():
        for one in kind.columns:
            for units in ("imperial", "metric"):
                yield f"{kind.id}, {one.name}", lambda text, one=one, units=units: one.value(text, units)  # type: ignore[misc]


@pytest.mark.slow
def test_no_text_in_a_cell_is_a_traceback() -> None:
    broke = []
    for name, read in _readers():
        for text in ODD:
            try:
                read(text)
            except BadInput:
                continue
            except Exception as fault:
                broke.append(f"{name}, {text[:12]!r}: {fault!r}"[:200])
    assert broke == []
    assert len(list(_of_modules())) > 5


@pytest.mark.parametrize(
    ("sent", "kept"), [("Ann\nBcc: x", "Ann Bcc: x"), ("Ann \r\n\t Lee", "Ann Lee"), ("Ann", "Ann")]
)
def test_a_text_of_one_line_is_kept_on_one_line(sent: str, kept: str) -> None:
    """Names go into heads of letters, which are lines: what a spreadsheet has on two is joined by a blank."""
    assert LIMITS["customer.name"].check(sent) == LIMITS["customer.name"].parse(sent) == kept
    assert LIMITS["customer.note"].check(sent) == sent
    with pytest.raises(BadInput):
        LIMITS["customer.email"].check("ann@x.example\nBcc: lee@x.example")
    for limit in LIMITS.values():
        if isinstance(limit, Text) and not limit.lines:
            try:
                assert "\n" not in limit.check(sent)
            except BadInput:
                continue
