"""`eaveboard roads get`: from a region's extract on disk to a town's tiles that the service times its drives by."""

from __future__ import annotations

import os
import re
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from api.cli.in_use import database_in_use
from api.cli.saying.voice import voice
from scheduler.errors import BadInput

if TYPE_CHECKING:
    import sqlalchemy as sa

    from api.roads.extracts.clip import Box

HOW = """\
This machine fetches nothing by itself. The way, with TOWN for {town}:

  1. Find the smallest extract of OpenStreetMap data that holds the town, in PBF form (.osm.pbf): the page
     "Country and area extracts" of OpenStreetMap's wiki lists who offers them. A state is some hundred megabytes.
  2. Fetch it, with ADDRESS for its address, and compare its checksum where one is offered:
       curl -fL -o region.osm.pbf ADDRESS
       curl -fL ADDRESS.md5 | cut -d' ' -f1; md5sum region.osm.pbf
  3. Clip it to the yards and sites on record with {margin:g} km round them, build the tiles, have the service use them:
       eaveboard roads get {town} --from region.osm.pbf
     or name the box yourself, in degrees:
       eaveboard roads get {town} --from region.osm.pbf --box SOUTH,WEST,NORTH,EAST

The data is OpenStreetMap's, under the Open Database License: say so where you show it. Fetch it anew twice a year."""


def get(
    town: Annotated[str, typer.Argument(metavar="TOWN", help="What the tiles are called: letters, digits, - and _.")],
    region: Annotated[
        Path | None, typer.Option("--from", help="Extract of the region (.osm.pbf); left out: how to get one.")
    ] = None,
    box: Annotated[str | None, typer.Option(help="south,west,north,east in degrees; left out: all on record.")] = None,
    margin_km: Annotated[float, typer.Option(min=1, max=300, help="Round the yards and sites on record.")] = 25.0,
    set_it: Annotated[bool, typer.Option("--set/--no-set", help="Have the service time its drives by it.")] = True,
    jobs: Annotated[int, typer.Option(min=1, show_default="one a processor", help="Threads of the builder.")] = max(
        1, os.cpu_count() or 1
    ),
) -> None:
    """Make a town's road tiles of a region's extract on disk, and have the service use them."""
    if not re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9_-]{0,79}", town):
        raise BadInput("TOWN", f'must be a name in plain letters, digits, - and _, is "{town}"')
    if region is None:
        how = HOW.format(town=town, margin=margin_km)
        voice().give({"how": how})
        voice().show(how)
        return
    from api.cli.roads import outcome

    with outcome():
        from api.roads.extracts.clip import box_round, clip
        from api.roads.extracts.tiles import build_tiles, check_extract
        from api.roads.keeper import tiles_folder

        check_extract(region)
        with database_in_use() as (database, settings):
            wanted = _box(box) if box is not None else box_round(_places(database), margin_km)
            tiles = tiles_folder(settings.data, town)
            tiles.parent.mkdir(parents=True, exist_ok=True)
            clipped = tiles.with_name(f"{town}.osm.pbf")
            with voice().status(f"Clipping {region.name} …") as show:
                roads = clip(region, clipped, wanted)
                show(f"Building road tiles from {clipped.name} …")
                build_tiles(clipped, tiles, lambda line: None, jobs)
            told = voice()
            told.give({"town": town, "tiles": str(tiles), "roads": roads, "set": set_it})
            told.say(f"{roads} roads of {region.name} are ready as tiles in {tiles}.")
            if set_it:
                _set(database, town)
                told.say("Drives are timed by them from now on; /roads shows how far that is.")
            else:
                told.say(f'To use them, choose "a road extract on this machine" and {town} at /settings/roads.')


def _box(text: str) -> Box:
    try:
        south, west, north, east = (float(number) for number in text.split(","))
    except ValueError:
        raise BadInput("--box", f'must be four numbers, south,west,north,east in degrees, is "{text}"') from None
    if not (-90 <= south < north <= 90 and -180 <= west < east <= 180):
        raise BadInput("--box", f'must be south,west,north,east in degrees, the smaller first, is "{text}"')
    return south, west, north, east


def _places(database: sa.Engine) -> list[tuple[float, float]]:
    from api.database import transaction
    from api.roads.keeper import wanted_places

    with transaction(database) as session:
        return [(lat / 1e5, lon / 1e5) for lat, lon in wanted_places(session)]


def _set(database: sa.Engine, town: str) -> None:
    from api.business import choices
    from api.clock import machine_clock
    from api.database import transaction

    with transaction(database) as session:
        part = choices.PARTS["roads"](session)
        sent = {"kind": "extract", "tiles": town, "profile": ""}
        choices.keep(session, part, sent, choices.PARTS["roads"], by="command line", now=machine_clock())
