"""Seconds for travel tables: the estimate for 650 places, a road extract for 45 × 45 and more.

Run from the project's root: `python -m tests.benchmarks.bench_travel`. The grids are written by the tests' own helper:
40,000 crossings of residential streets with a main road every tenth street over 60 × 60 km.
"""

from __future__ import annotations

import importlib.util
import resource
import tempfile
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

import numpy as np

from api.roads import Extract, travel_times
from scheduler.travel import matrices
from tests.road_extracts import grid_point, helsinki, write_grid

SIZE, SPACING_M = 200, 300.0


def measured(what: str, work: Callable[[], object]) -> None:
    """Print the seconds that `work` took, on the clock and of this process's and its children's processors."""
    clock, before = time.perf_counter(), _processor_s()
    work()
    print(f"{what:<58}{time.perf_counter() - clock:9.2f} s{_processor_s() - before:9.2f} s of processor", flush=True)


def _processor_s() -> float:
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(u.ru_utime + u.ru_stime for u in used)


def main() -> None:
    rng = np.random.default_rng(1)
    places = [grid_point(r, c, SPACING_M) for r, c in rng.uniform(0, SIZE - 1, (650, 2)).tolist()]
    measured("estimate, 650 places", lambda: matrices(places))
    if importlib.util.find_spec("valhalla") is None:
        print("The extra `roads` is not installed: no road extract is measured.")
        return
    from api.roads.extracts.tiles import build_tiles

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        city, grid = folder / "city", folder / "grid"
        measured("build tiles, real city centre (0.7 MB)", lambda: build_tiles(helsinki(), city, lambda line: None))
        town = [(60.163 + 0.009 * a, 24.930 + 0.018 * b) for a, b in rng.random((650, 2)).tolist()]
        for many in (45, 200, 650):
            measured(f"city centre, {many} × {many}", partial(travel_times, town[:many], Extract(str(city))))
        write_grid(folder / "grid.osm.pbf", SIZE, SPACING_M, main_every=10)
        measured(
            "build tiles, grid of 40,000 crossings",
            lambda: build_tiles(folder / "grid.osm.pbf", grid, lambda line: None),
        )
        for many in (45, 200, 650):
            kept = folder / "kept" if many == 650 else None
            measured(
                f"grid, {many} × {many}",
                partial(travel_times, places[:many], Extract(str(grid)), cache=kept),
            )
        kept = folder / "kept"
        measured("grid, 650 × 650 out of the cache", lambda: travel_times(places, Extract(str(grid)), cache=kept))
        more = [*places, grid_point(7.3, 9.1, SPACING_M)]
        measured("grid, one place more", lambda: travel_times(more, Extract(str(grid)), cache=kept))


if __name__ == "__main__":
    main()
