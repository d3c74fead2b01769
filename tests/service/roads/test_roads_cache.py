"""The cache file: what is kept comes back, for the same source only, and several processes may use it at once."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from api.roads.cache import FILE, Cache

POINTS = [(50.0 + n / 100, 10.0 - n / 50) for n in range(6)]


def tables(many: int, across: int, offset: float = 0.0) -> tuple[np.ndarray, np.ndarray]:
    seconds = offset + np.arange(many * across, dtype=float).reshape(many, across)
    return seconds, 10 * seconds


def test_what_is_kept_comes_back_and_nothing_else(tmp_path: Path) -> None:
    cache = Cache(tmp_path, "a")
    seconds, metres = tables(2, 3)
    seconds[0, 1] = metres[0, 1] = np.nan
    cache.keep(POINTS[:2], POINTS[3:], (seconds, metres), day=100)
    found_s, found_m, known = cache.load(POINTS, 0)
    assert known.sum() == 6
    assert known[:2, 3:].all()
    assert np.array_equal(found_s[:2, 3:], seconds, equal_nan=True)
    assert np.array_equal(found_m[:2, 3:], metres, equal_nan=True)
    assert np.isnan(found_s[~known]).all()


def test_order_of_places_does_not_matter_and_unknown_ones_are_unknown(tmp_path: Path) -> None:
    cache = Cache(tmp_path, "a")
    cache.keep(POINTS, POINTS, tables(6, 6), day=100)
    found_s, _, known = cache.load([POINTS[4], (0.0, 0.0), POINTS[1]], 0)
    assert found_s[0, 2] == 4 * 6 + 1
    assert known.tolist() == [[True, False, True], [False, False, False], [True, False, True]]


def test_other_sources_and_old_days_are_not_mixed_in(tmp_path: Path) -> None:
    Cache(tmp_path, "a").keep(POINTS, POINTS, tables(6, 6), day=100)
    assert not Cache(tmp_path, "b").load(POINTS, 0)[2].any()
    assert not Cache(tmp_path, "a").load(POINTS, 101)[2].any()
    Cache(tmp_path, "a").keep(POINTS[:1], POINTS[:2], tables(1, 2, 500.0), day=101)
    seconds, _, known = Cache(tmp_path, "a").load(POINTS, 101)
    assert known.sum() == 2
    assert seconds[0, 1] == 501


def test_eleven_centimetres_are_the_same_place_and_a_metre_is_not(tmp_path: Path) -> None:
    cache = Cache(tmp_path, "a")
    cache.keep(POINTS, POINTS, tables(6, 6), day=1)
    near, far = (50.0 + 4e-7, 10.0), (50.00001, 10.0)
    known = cache.load([near, far, POINTS[1]], 0)[2]
    assert known[:, 2].tolist() == [True, False, True]


WORKER = """
import sys
from pathlib import Path
import numpy as np
from api.roads.cache import Cache
folder, worker = Path(sys.argv[1]), int(sys.argv[2])
points = [(50.0 + n / 100, 10.0 - n / 50) for n in range(6)]
for n in range(12):
    cache = Cache(folder, f"source {n % 2}")
    seconds = np.arange(6.0).reshape(6, 1) + 1000 * worker + n
    cache.keep(points, [(20.0 + worker, n / 10)], (seconds, seconds), day=7)
    cache.load(points, 0)
"""


def test_processes_write_at_the_same_time_and_nothing_is_lost(tmp_path: Path) -> None:
    folder = tmp_path / "new"  # so that they also race to make the file
    running = [subprocess.Popen([sys.executable, "-c", WORKER, str(folder), str(w)]) for w in range(3)]
    assert [process.wait(timeout=60) for process in running] == [0, 0, 0]
    for worker in range(3):
        for n in range(12):
            goal = (20.0 + worker, n / 10)
            seconds, _, known = Cache(folder, f"source {n % 2}").load([*POINTS, goal], 0)
            assert known[:6, 6].all()
            assert seconds[0, 6] == 1000 * worker + n


def test_a_file_that_is_no_database_is_an_error_not_a_loss(tmp_path: Path) -> None:
    (tmp_path / FILE).write_bytes(b"something else entirely, at least a header long " * 10)
    with pytest.raises(sqlite3.DatabaseError):
        Cache(tmp_path, "a")
