"""Routing in this process: a small real extract, and a street grid whose distances are known beforehand.

The real extract is a city centre of 1 × 1.7 km: it speaks for the first two kilometres of a drive there and for nothing
else (its edge cuts ways off, so detours come out long and some pairs have no way). The grid speaks for the arithmetic
and for scale, not for any real speed: its speeds come from tags that this file wrote.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from api.roads import Extract, SourceFailed, travel_times
from scheduler.errors import BadInput
from scheduler.travel import DEFAULT, great_circle_m, matrices
from scheduler.travel.fit import fitted
from tests.road_extracts import grid_point, helsinki, needs_engine, needs_osmium, write_grid

pytestmark = pytest.mark.slow

SPACING_M = 500.0
SIZE = 40


def quiet(line: str) -> None:
    """Progress that nobody watches."""


@pytest.fixture(scope="module")
def city(tmp_path_factory: pytest.TempPathFactory) -> Path:
    from api.roads.extracts.tiles import build_tiles

    tiles = tmp_path_factory.mktemp("city") / "tiles"
    build_tiles(helsinki(), tiles, quiet)
    return tiles


@pytest.fixture(scope="module")
def grid(tmp_path_factory: pytest.TempPathFactory) -> Path:
    from api.roads.extracts.tiles import build_tiles

    folder = tmp_path_factory.mktemp("grid")
    write_grid(folder / "grid.osm.pbf", SIZE, SPACING_M, with_island=True)
    build_tiles(folder / "grid.osm.pbf", folder / "tiles", quiet)
    return folder / "tiles"


def crossings(count: int, seed: int) -> tuple[np.ndarray, list[tuple[float, float]]]:
    rows_columns = np.random.default_rng(seed).uniform(0, SIZE - 1, (count, 2))
    return rows_columns, [grid_point(r, c, SPACING_M) for r, c in rows_columns.tolist()]


@needs_engine
def test_a_city_table_agrees_with_single_routes(city: Path) -> None:
    """The table comes from another search than single routes do, so each is the other's check, in every shape.

    From one place of the twenty-eight, single routes take minutes more than both of the library's table searches; why
    is not known. From all others every drive must agree.
    """
    from valhalla import Actor

    from api.roads.extracts.tiles import ExtractTable, _config

    table = ExtractTable(Extract(str(city), snap_m=50))
    drawn = [(60.163 + 0.009 * a, 24.930 + 0.018 * b) for a, b in np.random.default_rng(7).random((70, 2)).tolist()]
    points = [p for p, near in zip(drawn, table.near_roads(drawn), strict=True) if near]
    points = points[:28]
    config = city.parent / "route.json"
    config.write_text(json.dumps(_config(city, 1, log="")))
    actor = Actor(config)
    single = np.full((2, 28, 28), np.nan)
    for i in range(28):
        for j in set(range(28)) - {i}:
            ends = [{"lat": p[0], "lon": p[1], "search_cutoff": 50} for p in (points[i], points[j])]
            try:
                trip = json.loads(actor.route(json.dumps({"locations": ends, "costing": "auto"})))["trip"]["summary"]
            except RuntimeError:
                continue  # no way: one-way streets that lead over the edge of the extract
            single[:, i, j] = trip["time"], 1000 * trip["length"]
    off = ~np.eye(28, dtype=bool)
    assert np.isfinite(single[0]).sum() > 500
    for rows, columns in (
        (slice(28), slice(28)),
        (slice(8), slice(28)),
        (slice(28), slice(8)),
        (slice(28), slice(1)),
    ):
        seconds, metres = table.table(points[rows], points[columns])
        seconds, metres = np.where(off[rows, columns], [seconds, metres], np.nan)
        assert (np.isnan(seconds) == np.isnan(single[0, rows, columns])).all()
        differ = (abs(seconds - single[0, rows, columns]) > 2) | (abs(metres - single[1, rows, columns]) > 10)
        assert differ.any(axis=1).sum() <= 1


@needs_engine
def test_the_estimate_against_a_real_city_centre(city: Path) -> None:
    """What the fit finds there: a detour far above the default's, a speed near the default's first class, no more."""
    from api.roads.extracts.evidence import NEAR_M, observed_drives, random_places
    from api.roads.extracts.tiles import ExtractTable

    table = ExtractTable(Extract(str(city), snap_m=NEAR_M))
    places = random_places(table, city, 80, np.random.default_rng(1))
    drives, without_a_way = observed_drives(table, places, within_km=60)
    assert len(drives.straight_m) + without_a_way == 80 * 79
    assert drives.straight_m.max() < 2500
    assert (drives.road_m >= drives.straight_m - 2 * NEAR_M - 1).all()
    fit = fitted(drives)
    assert 1.3 < fit.constants.road_factor < 1.9
    assert 18 < fit.constants.classes[0].kmh < 30
    assert fit.constants.classes[1:] == DEFAULT.classes[1:]  # 1.7 km say nothing of longer drives
    assert fit.minutes_after.mean_absolute < 1.5
    assert abs(fit.minutes_after.mean) < abs(fit.minutes_before.mean)


@needs_engine
@needs_osmium
def test_grid_distances_are_known_beforehand(grid: Path) -> None:
    """On a grid a drive is as long as the sum of its legs along both axes; a turn or two may lead round a block."""
    rows_columns, points = crossings(60, seed=5)
    rows_columns, points = np.round(rows_columns), [grid_point(r, c, SPACING_M) for r, c in np.round(rows_columns)]
    found = travel_times(points, Extract(str(grid)))
    legs_m = SPACING_M * np.abs(rows_columns[:, None] - rows_columns).sum(axis=-1)
    difference = found.matrices.metres - legs_m
    assert (difference >= -0.002 * legs_m - 5).all()  # the engine's own figure of the earth
    assert np.mean(difference <= 0.01 * legs_m + 5) > 0.97
    assert found.notes == ()


@needs_engine
@needs_osmium
def test_the_fit_finds_the_grids_detour(grid: Path) -> None:
    """Random points of a square: mean along the axes 2/3, mean straight 0.521405 (MathWorld, Square Line Picking)."""
    from api.roads.extracts.evidence import observed_drives
    from api.roads.extracts.tiles import ExtractTable

    _, points = crossings(150, seed=6)
    drives, without_a_way = observed_drives(ExtractTable(Extract(str(grid))), points, within_km=60)
    assert without_a_way == 0
    assert drives.road_m.sum() / drives.straight_m.sum() == pytest.approx((2 / 3) / 0.521405, rel=0.03)
    fit = fitted(drives)
    # The median of |cos| + |sin| over all directions is √2 · cos(22.5°) = 1.307.
    assert fit.constants.road_factor == pytest.approx(np.sqrt(2) * np.cos(np.pi / 8), rel=0.03)
    speeds = [c.kmh for c in fit.constants.classes[:2]]
    assert speeds[0] == pytest.approx(speeds[1], rel=0.05)  # every street has the same speed
    assert fit.minutes_after.mean_absolute < fit.minutes_before.mean_absolute


@needs_engine
@needs_osmium
def test_an_island_has_no_way_to_the_rest_and_is_estimated(grid: Path) -> None:
    _, shore = crossings(5, seed=8)
    east = SIZE - 1 + 3000 / SPACING_M
    points = [*shore, grid_point(3, east + 4, SPACING_M), grid_point(6, east + 7, SPACING_M)]
    found = travel_times(points, Extract(str(grid)))
    estimated = np.zeros((7, 7), dtype=bool)
    estimated[:5, 5:] = estimated[5:, :5] = True
    off = ~np.eye(7, dtype=bool)
    assert ((found.source == 0) == estimated)[off].all()
    assert (found.matrices.minutes[estimated] == matrices(points).minutes[estimated]).all()
    assert (found.matrices.metres[estimated] == matrices(points).metres[estimated]).all()
    assert found.matrices.metres[5, 6] == pytest.approx(3000, rel=0.01)
    assert found.notes == ("20 of 42 travel times are estimated from the great circle, not routed.",)


@needs_engine
@needs_osmium
def test_a_place_far_from_every_road_is_not_given_a_far_roads_time(grid: Path) -> None:
    _, points = crossings(4, seed=9)
    points.append(grid_point(-8, 5, SPACING_M))  # 4 km south of the last street
    found = travel_times(points, Extract(str(grid)))
    assert (found.source[4, :4] == 0).all()
    assert (found.source[:4, 4] == 0).all()
    assert found.source[0, 1] == 1
    assert "No road within reach" in found.notes[0]


@needs_engine
@needs_osmium
def test_the_same_cells_whatever_is_asked_with_them_and_from_the_cache(grid: Path, tmp_path: Path) -> None:
    _, points = crossings(50, seed=10)
    source = Extract(str(grid))
    few = travel_times(points[:10], source, cache=tmp_path)
    many = travel_times(points, source, cache=tmp_path)
    fresh = travel_times(points, source)
    assert (many.matrices.minutes[:10, :10] == few.matrices.minutes).all()
    assert (abs(many.matrices.minutes - fresh.matrices.minutes) <= 1).all()
    again = travel_times(points, source, cache=tmp_path)
    assert (again.matrices.minutes == many.matrices.minutes).all()
    assert (again.matrices.metres == many.matrices.metres).all()


@needs_engine
def test_a_folder_without_tiles_falls_back_with_a_note(tmp_path: Path) -> None:
    points = [(60.0, 25.0), (60.1, 25.1)]
    found = travel_times(points, Extract(str(tmp_path)))
    assert (found.matrices.minutes == matrices(points).minutes).all()
    assert found.notes[0].startswith("All travel times are estimated:")
    assert "eaveboard roads build" in found.notes[0]
    assert found.sources == ("estimate",)


def test_a_missing_library_is_said_plainly(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import importlib.util

    from api.roads.extracts.tiles import STAMP

    (tmp_path / STAMP).write_text('{"extract": "a", "extract_sha256": "b", "engine": "c"}')
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None)
    found = travel_times([(60.0, 25.0), (60.1, 25.1)], Extract(str(tmp_path)))
    assert "pip install 'eaveboard[roads]'" in found.notes[0]


@needs_engine
def test_an_unknown_costing_is_noted(city: Path) -> None:
    points = [(60.165, 24.935), (60.172, 24.945)]
    found = travel_times(points, Extract(str(city), costing="hovercraft"))
    assert "hovercraft" in found.notes[0]
    assert (found.matrices.minutes == matrices(points).minutes).all()


@needs_engine
def test_wrong_extracts_and_folders_are_refused(tmp_path: Path) -> None:
    from api.roads.extracts.tiles import build_tiles

    text = tmp_path / "roads.osm.pbf"
    text.write_text("no extract at all")
    with pytest.raises(BadInput, match="no OpenStreetMap extract"):
        build_tiles(text, tmp_path / "tiles", quiet)
    with pytest.raises(BadInput, match="there is no file"):
        build_tiles(tmp_path / "none.osm.pbf", tmp_path / "tiles", quiet)
    with pytest.raises(BadInput, match="not empty"):
        build_tiles(helsinki(), tmp_path, quiet)
    cut = tmp_path / "cut.osm.pbf"
    cut.write_bytes(helsinki().read_bytes()[:100_000])
    with pytest.raises(SourceFailed, match="tile builder gave up"):
        build_tiles(cut, tmp_path / "tiles", quiet)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["cut.osm.pbf", "roads.osm.pbf"]


@needs_engine
def test_building_again_replaces_the_old_tiles(city: Path, tmp_path: Path) -> None:
    from api.roads.extracts.tiles import STAMP, build_tiles

    tiles = tmp_path / "tiles"
    tiles.mkdir()
    (tiles / STAMP).write_text("old")
    (tiles / "left over").write_text("old")
    lines: list[str] = []
    stamp = build_tiles(helsinki(), tiles, lines.append)
    assert lines
    assert stamp.extract == "Helsinki.osm.pbf"
    assert not (tiles / "left over").exists()
    assert [p.name for p in tmp_path.iterdir()] == ["tiles"]


@needs_engine
@needs_osmium
def test_ctrl_c_stops_the_builder_and_leaves_nothing(tmp_path: Path) -> None:
    write_grid(tmp_path / "big.osm.pbf", 200, 100)
    program = [
        sys.executable,
        "-m",
        "api.cli.roads",
        "build",
        str(tmp_path / "big.osm.pbf"),
        "--tiles",
        str(tmp_path / "tiles"),
    ]
    with subprocess.Popen(program, stderr=subprocess.PIPE, stdout=subprocess.DEVNULL, text=True) as running:
        deadline = time.monotonic() + 30
        while not list(tmp_path.glob("tiles.part-*/build.json")) and time.monotonic() < deadline:
            time.sleep(0.02)
        time.sleep(0.3)
        children = Path(f"/proc/{running.pid}/task/{running.pid}/children").read_text().split()
        os.kill(running.pid, signal.SIGINT)
        said = running.communicate(timeout=30)[1]
    assert running.returncode == 1
    assert "Stopped; nothing was changed." in said
    assert [p.name for p in tmp_path.iterdir()] == ["big.osm.pbf"]
    assert children
    assert not any(Path(f"/proc/{child}").exists() for child in children)


def test_great_circle_of_the_grid() -> None:
    """The grid's own spacing, so that the tests above measure the engine and not the grid."""
    points = [grid_point(0, 0, SPACING_M), grid_point(1, 0, SPACING_M), grid_point(0, 1, SPACING_M)]
    assert great_circle_m(points)[0].tolist() == pytest.approx([0, SPACING_M, SPACING_M], abs=0.1)
