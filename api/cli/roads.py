"""`eaveboard roads`: build routing tiles, make a travel table, judge and fit the estimate."""

from __future__ import annotations

import csv
import os
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, TypeVar

import typer

from api.cli.files import read_document, read_structured, write_document
from api.cli.roads_get import get
from api.cli.saying.command import Command, refuse
from api.cli.saying.voice import voice
from scheduler.errors import BadInput

if TYPE_CHECKING:
    from api.roads import Source
    from scheduler.travel import Constants, Point
    from scheduler.travel.fit import Fit, Spread

T = TypeVar("T")

app = typer.Typer(
    name="roads", help="Travel times: road tiles, travel tables, and how good the estimate is.", no_args_is_help=True
)
app.command(cls=Command)(get)


class SourceName(StrEnum):
    estimate = "estimate"
    tiles = "tiles"
    osrm = "osrm"
    valhalla = "valhalla"


class RuleName(StrEnum):
    mean = "mean"
    worst = "worst"


@app.command(cls=Command)
def build(
    extract: Annotated[Path, typer.Argument(help="OpenStreetMap extract (.osm.pbf).")],
    tiles: Annotated[Path, typer.Option(help="Folder for the tiles; appears only when complete.")],
    jobs: Annotated[int, typer.Option(min=1, show_default="one a processor", help="Threads of the builder.")] = max(
        1, os.cpu_count() or 1
    ),
) -> None:
    """Build routing tiles from a road extract. Ctrl-C stops it and leaves everything as it was."""
    with outcome():
        from api.roads.extracts.tiles import build_tiles

        with voice().status(f"Building road tiles from {extract.name} …") as show:
            stamp = build_tiles(extract, tiles, lambda line: show(_stage(line)), jobs)
        voice().give({"extract": stamp.extract, "tiles": str(tiles)})
        voice().say(f"Road tiles of {stamp.extract} are ready in {tiles}.")


@app.command(cls=Command)
def table(
    places: Annotated[
        Path, typer.Argument(metavar="PLACES.csv", help="The columns id, lat, lon; - reads standard input.")
    ],
    out: Annotated[
        Path,
        typer.Option(
            "--out", "-o", help="JSON file to write: places, travel (as in a week), source by cell, notes; - prints it."
        ),
    ],
    source: Annotated[SourceName, typer.Option(help="Where travel times come from.")] = SourceName.estimate,
    tiles: Annotated[Path | None, typer.Option(help="Tile folder, for --source tiles.")] = None,
    address: Annotated[str | None, typer.Option(help="Address of the service, for osrm and valhalla.")] = None,
    profile: Annotated[str | None, typer.Option(help="Profile or costing of the service or the tiles.")] = None,
    constants: Annotated[
        Path | None, typer.Option(help="The estimate's constants (JSON or YAML, from roads fit).")
    ] = None,
    slowdowns: Annotated[Path | None, typer.Option(help='JSON or YAML: {"factor_by_hour": {"7": 1.4, …}}.')] = None,
    day_start: Annotated[str, typer.Option(help="Start of the working day, for slowdowns.")] = "07:00",
    day_end: Annotated[str, typer.Option(help="End of the working day, for slowdowns.")] = "18:00",
    rule: Annotated[RuleName, typer.Option(help="How slow hours become one factor for the week.")] = RuleName.mean,
    cache: Annotated[Path | None, typer.Option(help="Folder of kept answers; left out: the user's cache.")] = None,
    no_cache: Annotated[bool, typer.Option("--no-cache", help="Ask the source for everything.")] = False,
) -> None:
    """Make the travel table between all places of a list."""
    with outcome():
        import msgspec

        from api.roads import EstimateOnly, travel_times
        from scheduler.travel import Slowdowns, week_factor

        told = voice()
        told.will_write(out)
        ids, points = read_places(places)
        asked = _source(source, tiles, address, profile)
        factor = 1.0
        if slowdowns is not None:
            by_hour = _document(slowdowns, Slowdowns, "slowdown file")
            factor = week_factor(by_hour, _minute("--day-start", day_start), _minute("--day-end", day_end), rule.value)
        folder = None if no_cache or isinstance(asked, EstimateOnly) else cache or _user_cache()
        with _bar(f"Travel times between {len(points)} places") as progress:
            times = travel_times(
                points, asked, constants=_constants(constants), slowdown=factor, cache=folder, progress=progress
            )
        answer = {
            "places": [{"id": i, "lat": lat, "lon": lon} for i, (lat, lon) in zip(ids, points, strict=True)],
            "travel": {"minutes": times.matrices.minutes.tolist(), "metres": times.matrices.metres.tolist()},
            "sources": times.sources,
            "source": times.source.tolist(),
            "notes": times.notes,
        }
        write_document(out, msgspec.json.encode(answer) + b"\n")
        told.give({"file": str(out), "places": len(points), "sources": times.sources, "notes": times.notes})
        for note in times.notes:
            told.note(f"Note: {note}")
        told.say(f"{out}: travel between {len(points)} places.")


@app.command(cls=Command)
def fit(
    roads: Annotated[Path, typer.Argument(help="Tile folder, or an extract (.osm.pbf) to build a temporary one from.")],
    places: Annotated[Path | None, typer.Option(help="CSV of places to drive between; left out: random ones.")] = None,
    count: Annotated[int, typer.Option(min=2, max=2000, help="How many random places.")] = 150,
    within_km: Annotated[float, typer.Option(min=0.1, help="Only drives up to this great-circle distance.")] = 60.0,
    seed: Annotated[int, typer.Option(min=0, help="Seed of the random places.")] = 1,
    costing: Annotated[str, typer.Option(help="Costing model of the routing library.")] = "auto",
    constants: Annotated[Path | None, typer.Option(help="Constants to judge and start from (JSON or YAML).")] = None,
    out: Annotated[
        Path | None, typer.Option("--out", "-o", help="File to write the fitted constants to (JSON); - prints them.")
    ] = None,
) -> None:
    """Judge the estimate against routed drives, and fit its constants to them."""
    with outcome(), tempfile.TemporaryDirectory(prefix="eaveboard-fit-") as folder:
        import numpy as np

        from api.roads import Extract
        from api.roads.extracts.evidence import NEAR_M, observed_drives, random_places
        from api.roads.extracts.tiles import ExtractTable, build_tiles
        from api.roads.sources import SNAP_M
        from scheduler.documents import encode
        from scheduler.travel.fit import fitted

        told = voice()
        told.will_write(out)
        base = _constants(constants)
        chosen = read_places(places)[1] if places is not None else None
        tiles = roads
        if not roads.is_dir():
            tiles = Path(folder) / "tiles"
            build_tiles(roads, tiles, lambda line: None, max(1, os.cpu_count() or 1))
        opened = ExtractTable(Extract(str(tiles), costing, NEAR_M if chosen is None else SNAP_M))
        if chosen is None:
            chosen = random_places(opened, tiles, count, np.random.default_rng(seed))
        drives, unreached = observed_drives(opened, chosen, within_km)
        result = fitted(drives, base)
        longest_km = float(drives.straight_m.max()) / 1000
        told.give({"drives": len(drives.straight_m), "places": len(chosen), "unreached": unreached, "fit": result})
        words = f"{len(drives.straight_m)} drives between {len(chosen)} places of the {opened.name}, "
        told.show(f"{words}up to {longest_km:.1f} km apart; {unreached} pairs without a way.")
        told.show(_report(result))
        if out is not None:
            write_document(out, encode(result.constants))
            told.say(f"{out}: the fitted constants.")


def read_places(path: Path) -> tuple[list[str], list[Point]]:
    """Return (ids, points) of a CSV file with the columns id, lat and lon; raises `BadInput` naming the line."""
    rows = read_document(path, _csv_rows)
    ids: dict[str, None] = {}
    points: list[Point] = []
    for line, row in enumerate(rows, start=2):
        for column in ("id", "lat", "lon"):
            if not (row.get(column) or "").strip():
                raise BadInput(f"{path} line {line}", f'has no "{column}"; the columns id, lat and lon are needed')
        name = row["id"].strip()
        if name in ids:
            raise BadInput(f"{path} line {line}", f'the id "{name}" stands there already')
        ids[name] = None
        points.append((_degrees(path, line, row, "lat", 90), _degrees(path, line, row, "lon", 180)))
    if not points:
        raise BadInput(str(path), "holds no places; a line with id,lat,lon must come first, then one line a place")
    return list(ids), points


def _csv_rows(raw: bytes) -> list[dict[str, str]]:
    try:
        return list(csv.DictReader(raw.decode("utf-8-sig").splitlines()))
    except (UnicodeDecodeError, csv.Error):
        raise BadInput("", "is no CSV file in UTF-8") from None


def _degrees(path: Path, line: int, row: dict[str, str], column: str, limit: float) -> float:
    try:
        value = float(row[column])
    except ValueError:
        value = float("nan")
    if not -limit <= value <= limit:
        raise BadInput(f"{path} line {line}", f'"{column}" must be from -{limit} to {limit} degrees, is {row[column]}')
    return value


def _source(name: SourceName, tiles: Path | None, address: str | None, profile: str | None) -> Source:
    from api.roads import EstimateOnly, Extract, Service

    if name is SourceName.tiles:
        if tiles is None:
            raise BadInput("--tiles", "is needed with --source tiles, a folder that roads build made")
        return Extract(str(tiles), profile or "auto")
    if name is SourceName.estimate:
        return EstimateOnly()
    if address is None:
        raise BadInput("--address", f"is needed with --source {name.value}, such as http://127.0.0.1:5000")
    return Service(name.value, address, profile)


def _constants(path: Path | None) -> Constants:
    from scheduler.travel import DEFAULT, Constants
    from scheduler.travel.estimate import checked_constants

    return DEFAULT if path is None else checked_constants(_document(path, Constants, "file of constants"))


def _document(path: Path, kind: type[T], what: str) -> T:
    from scheduler.documents import decode

    return read_structured(path, lambda raw: decode(raw, kind, what))


def _minute(option: str, text: str) -> int:
    hours, colon, minutes = text.partition(":")
    if not (colon and hours.isdecimal() and minutes.isdecimal() and int(minutes) < 60 and int(hours) <= 24):
        raise BadInput(option, f'must be a time such as 07:30, is "{text}"')
    return 60 * int(hours) + int(minutes)


def _user_cache() -> Path:
    import platformdirs

    return Path(platformdirs.user_cache_dir("eaveboard"))


def _stage(line: str) -> str:
    return line.partition("] ")[2] or line


def _report(fit: Fit) -> str:
    def row(what: str, unit: str, s: Spread) -> str:
        return (
            f"  {what:<18}{s.mean:+8.1f}{s.p05:+8.1f}{s.median:+8.1f}{s.p95:+8.1f}{s.mean_absolute:9.1f}"
            f"{100 * s.share_short:9.0f} %   {unit}"
        )

    lines = [
        "EstimateOnly minus drive    mean     5 %  median    95 %   |mean|  too short",
        row("minutes, before", "min", fit.minutes_before),
        row("minutes, fitted", "min", fit.minutes_after),
        row("distance, before", "% of road", fit.metres_percent_before),
        row("distance, fitted", "% of road", fit.metres_percent_after),
        *(f"  {line}" for line in fit.evidence),
    ]
    return "\n".join(lines)


@contextmanager
def _bar(what: str) -> Iterator[Callable[[int, int], None]]:
    if voice().quiet:
        yield lambda known, wanted: None
        return
    from rich.console import Console
    from rich.progress import Progress

    console = Console(stderr=True)
    with Progress(console=console, transient=True, disable=not console.is_terminal) as shown:
        task = shown.add_task(what, total=None)
        yield lambda known, wanted: shown.update(task, completed=known, total=wanted)


@contextmanager
def outcome() -> Iterator[None]:
    """End with one sentence and 1 where a source failed or Ctrl-C stopped it."""
    from api.roads import SourceFailed
    from api.roads.sources import BlockRefused

    try:
        yield
    except (SourceFailed, BlockRefused) as fault:
        text = str(fault)
        refuse(f"{text[:1].upper()}{text[1:]}")
        raise typer.Exit(1) from None
    except KeyboardInterrupt:
        typer.echo("Stopped; nothing was changed.", err=True)
        raise typer.Exit(1) from None


if __name__ == "__main__":
    sys.exit(app())
