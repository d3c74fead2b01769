"""Services that are killed lose nothing that was acknowledged; `python -m tests.killed_workers` kills hundreds."""

from __future__ import annotations

from pathlib import Path

import pytest

from api.settings import sqlite_address
from tests.killed_workers import Tally, kill_services, kill_workers


@pytest.mark.long
def test_workers_that_are_killed_lose_nothing_that_was_acknowledged(postgresql_database: str, tmp_path: Path) -> None:
    tally = Tally()
    kill_workers(postgresql_database, tmp_path, 10, tally)
    assert tally.faults == []
    assert (tally.kills, tally.runs_cut) == (10, 10)
    assert tally.leaders_killed == 5


@pytest.mark.long
def test_a_service_that_is_killed_over_and_over_loses_nothing_either(tmp_path: Path) -> None:
    tally = Tally()
    kill_services(sqlite_address(tmp_path), tmp_path, 5, tally)
    assert tally.faults == []
    assert (tally.kills, tally.runs_cut) == (5, 5)
    assert len(tally.acknowledged) > 5
