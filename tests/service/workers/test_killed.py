"""Workers that are killed lose nothing that was acknowledged; `python -m tests.killed_workers` kills two hundred."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.killed_workers import Tally, kill_workers


@pytest.mark.long
def test_workers_that_are_killed_lose_nothing_that_was_acknowledged(postgresql_database: str, tmp_path: Path) -> None:
    tally = Tally()
    kill_workers(postgresql_database, tmp_path, 10, tally)
    assert tally.faults == []
    assert (tally.kills, tally.runs_cut) == (10, 10)
    assert tally.leaders_killed == 5
