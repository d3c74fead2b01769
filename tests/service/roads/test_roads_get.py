"""From a region's extract on disk to a town's tiles, the setting, and a drive that the service times by them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from api.access.accounts import Role
from api.cli import main
from api.database import transaction
from api.roads.extracts.clip import box_round
from api.tables import Yard
from scheduler.errors import BadInput
from tests.road_extracts import grid_point, needs_engine, needs_osmium, write_grid
from tests.service.cast import add_yard, running, settings_for, signed_in

SPACING_M = 500.0


def told(capsys: Any, code: int, *words: str) -> Any:
    with pytest.raises(SystemExit) as ended:
        main(["roads", "get", *words])
    assert ended.value.code == code
    return capsys.readouterr()


@needs_engine
@needs_osmium
def test_a_region_on_disk_becomes_a_towns_tiles_by_which_the_service_times_its_drives(
    sqlite_folder: Path, tmp_path: Path, capsys: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    import osmium

    monkeypatch.setenv("EAVEBOARD_DATA", str(sqlite_folder))
    region = tmp_path / "region.osm.pbf"
    write_grid(region, 40, SPACING_M)
    settings = settings_for(sqlite_folder)
    (south, west), (north, east) = grid_point(2.5, 2.5, SPACING_M), grid_point(9.5, 9.5, SPACING_M)
    assert "SOUTH,WEST,NORTH,EAST" in told(capsys, 0, "gridton").out
    with running(settings) as app:
        add_yard(app.state.database)
        with transaction(app.state.database) as session:
            yard = session.get_one(Yard, "north")
            yard.lat, yard.lon = grid_point(3, 3, SPACING_M)
            lat, lon = grid_point(3, 9, SPACING_M)
            session.add(yard)
            session.add(Yard(id="south", name="South", lat=lat, lon=lon))
        box = f"--box={south},{west},{north},{east}"
        said = told(capsys, 0, "gridton", "--from", str(region), box, "--jobs", "1").out
        assert said.startswith("14 roads of region.osm.pbf")  # seven across and seven down, each whole
        clipped = osmium.FileProcessor(str(sqlite_folder / "roads" / "gridton.osm.pbf"), osmium.osm.WAY)
        assert [len(way.nodes) for way in clipped] == [40] * 14
        manager = signed_in(app, Role.manager)
        manager.headers["accept"] = "application/json"
        trial = manager.post("/roads/try").json()
        assert (trial["by"], trial["km"], trial["fault"]) == ("road extract gridton.osm.pbf", 3.0, "")
        assert app.state.roads.fetch() == 2
        assert manager.get("/roads").json()["known"] == 2


@needs_osmium
def test_what_cannot_be_clipped_is_said_in_a_sentence_and_leaves_nothing(
    sqlite_folder: Path, tmp_path: Path, capsys: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("EAVEBOARD_DATA", str(sqlite_folder))
    region = tmp_path / "region.osm.pbf"
    write_grid(region, 4, SPACING_M)
    asked = ("gridton", "--from", str(region))
    assert "--box: is needed where no yard" in told(capsys, 2, *asked).err
    assert "--box: must be four numbers" in told(capsys, 2, *asked, "--box=1,2,3").err
    assert "the smaller first" in told(capsys, 2, *asked, "--box=3,2,1,4").err
    assert "holds no road of region.osm.pbf" in told(capsys, 2, *asked, "--box=1,2,3,4").err
    assert "there is no file" in told(capsys, 2, "gridton", "--from", str(tmp_path / "none.osm.pbf")).err
    assert "TOWN: must be a name" in told(capsys, 2, "../up").err
    short = tmp_path / "short.osm.pbf"
    short.write_bytes(region.read_bytes()[:-40])
    assert "cannot be read to its end" in told(capsys, 1, "gridton", "--from", str(short), "--box=29,-41,31,-39").err
    assert not [path for path in (sqlite_folder / "roads").glob("*") if path.name != "roads.sqlite"]


def test_the_box_leaves_the_margin_on_every_side() -> None:
    south, west, north, east = box_round([(60.0, 10.0), (60.2, 10.4)], 111.195)
    assert (south, north) == pytest.approx((59.0, 61.2))
    assert west < 8.0  # a degree of longitude is half as long there
    assert east > 12.4
    with pytest.raises(BadInput, match="no yard"):
        box_round([], 5)
