"""What is made ready is all that plans need: whoever ran `eaveboard ready` never waits for a compiler again."""

from __future__ import annotations

import itertools
import subprocess
import sys
from pathlib import Path

import pytest

WEEKS = Path(__file__).parents[2] / "data" / "weeks"

# In a process of its own: what other tests compiled in theirs would count as ready.
LATER = """
import sys, time
from pathlib import Path
from numba.core import event
import scheduler
from scheduler.week import read_week

class Told(event.Listener):
    def on_start(self, event): print(event.data["dispatcher"].py_func.__module__)
    def on_end(self, event): pass

scheduler.make_ready(time.monotonic, lambda begun: None)
with event.install_listener("numba:compile", Told()):
    for name in sys.argv[1:]:
        scheduler.plan_week(read_week(Path(name).read_bytes()), seconds=2.0, clock=time.monotonic)
"""


@pytest.mark.slow
@pytest.mark.usefixtures("compiled")
def test_a_planner_made_ready_compiles_nothing_of_its_own_when_weeks_are_planned() -> None:
    weeks = [str(WEEKS / f"{name}.week.json") for name in ("installs-45x4", "mixed-45x4", "v2-tiny-2")]
    done = subprocess.run([sys.executable, "-c", LATER, *weeks], capture_output=True, text=True, check=True)
    assert [module for module, _ in itertools.groupby(done.stdout.split()) if module.startswith("scheduler")] == []
