"""Workers that are killed lose nothing that was acknowledged; `python -m tests.killed_workers` kills two hundred."""

from __future__ import annotations

from pathlib import Path

from tests.killed_workers import Tally, kill_workers


def test_workers_that_are_killed_lose_nothing_that_was_acknowledged(postgresql_database: str, tmp_path: Path) -> None:
    tally = Tally()
    kill_workers(postgresql_database, tmp_path, 2, tally)
    assert tally.faults == []
    assert (tally.kills, tally.runs_cut) == (2, 2)
    assert tally.leaders_killed == 1
