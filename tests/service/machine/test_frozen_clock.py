"""The clock that tests freeze: it thaws whatever happens, for a clock left frozen fails all tests that follow."""

from __future__ import annotations

import datetime
import subprocess
import sys
import types

import pytest

from tests.service.cast import frozen

NOON = datetime.datetime(2027, 4, 12, 17, tzinfo=datetime.UTC)


class Sulking(types.ModuleType):
    """A module of which one name cannot be looked at."""

    def __dir__(self) -> list[str]:
        return ["name"]

    def __getattr__(self, name: str) -> object:
        raise RuntimeError(name)


def test_a_clock_that_cannot_be_frozen_thaws(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "sulking", Sulking("sulking"))
    real = datetime.datetime
    with pytest.raises(RuntimeError, match="name"), frozen(NOON):
        pytest.fail("the clock was frozen")
    assert datetime.datetime is real
    monkeypatch.delitem(sys.modules, "sulking")
    with frozen(NOON):
        assert datetime.datetime.now(datetime.UTC).date() == NOON.date()
    assert datetime.datetime is real


LOOK = """
import sys, warnings
import api.app, psycopg, pytest
from tests.service.cast import NOT_LOOKED_THROUGH
for name, module in list(sys.modules.items()):
    for attribute in [] if name.startswith(NOT_LOOKED_THROUGH) else dir(module):
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            try:
                getattr(module, attribute)
            except (ImportError, AttributeError, TypeError):
                pass  # the clock's library goes on, too
            except Warning as warning:
                print(f"{name}.{attribute}: {warning}")
"""


@pytest.mark.long  # where it is not so, one test in many thousands fails, and no other with it
def test_nothing_that_is_looked_through_for_clocks_warns() -> None:
    """In a process of its own: what others' tests have imported would differ from run to run."""
    command = [sys.executable, "-c", LOOK]
    told = subprocess.run(command, check=True, capture_output=True, text=True, timeout=120).stdout
    assert not told, f"add to _WARN in tests/service/cast.py:\n{told}"
