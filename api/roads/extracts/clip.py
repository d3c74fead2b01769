"""A town's roads out of a region's extract: what lies in a box, every road whole, and nothing but roads."""

from __future__ import annotations

import importlib.util
import math
import secrets
from collections.abc import Iterable
from pathlib import Path

from api.roads.sources import SourceFailed
from scheduler.errors import BadInput
from scheduler.travel.interface import Point

Box = tuple[float, float, float, float]  # south, west, north, east; degrees
_KM_PER_DEGREE = 111.195
_MOST_LAT = 85.0


def box_round(points: Iterable[Point], margin_km: float) -> Box:
    """Return the box round `points` with `margin_km` to spare on each side; raises `BadInput` where there are none."""
    found = list(points)
    if not found:
        raise BadInput("--box", "is needed where no yard is on record: south,west,north,east in degrees")
    south, north = min(lat for lat, _ in found), max(lat for lat, _ in found)
    west, east = min(lon for _, lon in found), max(lon for _, lon in found)
    up = margin_km / _KM_PER_DEGREE
    across = up / math.cos(math.radians(min(_MOST_LAT, max(abs(south), abs(north)) + up)))
    return south - up, west - across, north + up, east + across


def clip(region: Path, out: Path, box: Box) -> int:
    """Write the roads of `region` (.osm.pbf) that touch `box` to `out`, and return how many there are.

    A road that begins in the box is kept to its end; bans on turns and ferries are kept too. `out` appears only when
    complete, and replaces what is there. Raises `BadInput` where the box holds no road, `SourceFailed` where the
    library for this is missing or cannot read the file.
    """
    if importlib.util.find_spec("osmium") is None:
        raise SourceFailed("the library that clips is missing; install the extra with: pip install 'eaveboard[roads]'")
    import osmium

    south, west, north, east = box
    inside = osmium.IdTracker()
    part = out.with_name(f"{out.name}.part-{secrets.token_hex(4)}.osm.pbf")
    roads = 0
    try:
        for node in osmium.FileProcessor(str(region), osmium.osm.NODE):
            place = node.location if isinstance(node, osmium.osm.Node) else None
            if place is not None and place.valid() and south <= place.lat <= north and west <= place.lon <= east:
                inside.add_node(node.id)
        kept = osmium.IdTracker()
        with osmium.BackReferenceWriter(str(part), ref_src=str(region), overwrite=True, remove_tags=False) as writer:
            wanted = osmium.osm.WAY | osmium.osm.RELATION
            for thing in osmium.FileProcessor(str(region), wanted):
                if isinstance(thing, osmium.osm.Way):
                    is_road = "highway" in thing.tags or thing.tags.get("route") == "ferry"
                    if is_road and inside.contains_any_references(thing):
                        writer.add(thing)
                        kept.add_way(thing.id)
                        roads += 1
                elif (
                    isinstance(thing, osmium.osm.Relation)
                    and thing.tags.get("type") == "restriction"
                    and kept.contains_any_references(thing)
                ):
                    writer.add(thing)
        if not roads:
            raise BadInput("--box", f"holds no road of {region.name}; it is south,west,north,east in degrees")
        part.replace(out)
    except RuntimeError as fault:
        raise SourceFailed(f"{region} cannot be read to its end ({fault})") from None
    finally:
        part.unlink(missing_ok=True)
    return roads
