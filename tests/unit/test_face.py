"""The face of the core: every name is there, and nothing heavy is loaded before it is asked for."""

from __future__ import annotations

import subprocess
import sys

import scheduler

HEAVY = {"numpy", "numba", "highspy", "msgspec"}


def loaded(code: str) -> set[str]:
    code += f"; import sys; print(*({HEAVY!r} & set(sys.modules)))"
    return set(subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.split())


def test_every_name_is_there_and_comes_from_where_it_is_said_to() -> None:
    for name in scheduler.__all__:
        thing = getattr(scheduler, name)
        assert getattr(thing, "__module__", "scheduler").startswith("scheduler")
    assert set(scheduler.__all__) == set(scheduler._MODULE)


def test_what_is_not_there_is_said() -> None:
    code = "import scheduler; scheduler.plan_weak"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert "module 'scheduler' has no attribute 'plan_weak'" in done.stderr


def test_nothing_is_loaded_before_it_is_asked_for() -> None:
    assert loaded("import scheduler") == set()
    assert loaded("from scheduler import plan_week, Progress, Spot, Fixed, by_hand, compare") == {"msgspec"}
    assert loaded("from scheduler import build") >= {"numpy", "msgspec"}


def test_the_call_is_not_hidden_by_the_module_of_its_name() -> None:
    code = "from scheduler.audit import RULES; import scheduler as s; print(s.audit.__name__, callable(s.audit))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["audit", "True"]
