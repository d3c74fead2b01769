"""A local OpenStreetMap extract: routing tiles built once, then routed in this process by the Valhalla library.

The library is the optional extra `roads`; it is imported only when a tile folder is opened or built.
"""

from __future__ import annotations

import contextlib
import copy
import hashlib
import importlib.util
import os
import secrets
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import msgspec
import numpy as np

from api.roads import valhalla_format
from api.roads.sources import Extract, SourceFailed
from scheduler.documents import decode, encode
from scheduler.errors import BadInput
from scheduler.travel.interface import FloatTable, Point

STAMP = "eaveboard-tiles.json"
_NO_LIBRARY = "the routing library is not installed; install the extra with: pip install 'eaveboard[roads]'"
_BLOCK = (20, 2000)  # a search from each source; 20 of them leave room for progress and Ctrl-C
_CONFIG = threading.Lock()  # the library fills in one shared dict
_FOREVER = float("inf")
_LAST_WORDS = 20  # lines of the tile builder kept to explain a failure


class Stamp(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What a tile folder was built from; lies in the folder as `STAMP`."""

    extract: str
    extract_sha256: str
    engine: str


def build_tiles(extract: Path, tiles: Path, progress: Callable[[str], None], jobs: int = 1) -> Stamp:
    """Build routing tiles from `extract` (.osm.pbf) into the folder `tiles`; the folder appears only when complete.

    An older tile folder of ours is replaced, any other folder with something in it refused. progress is called with
    each line the builder writes. Interrupting stops the builder and leaves everything as it was. Raises `BadInput` for
    a wrong extract or folder, `SourceFailed` when the library is missing or gives up.
    """
    check_extract(extract)
    if tiles.exists() and not (tiles.is_dir() and ((tiles / STAMP).is_file() or not any(tiles.iterdir()))):
        raise BadInput("tiles", f"{tiles} is no tile folder and not empty; name another one")
    package = _package()
    tiles = tiles.absolute()
    part = tiles.with_name(f"{tiles.name}.part-{secrets.token_hex(4)}")
    try:
        part.mkdir(parents=True)
        config = part / "build.json"
        config.write_bytes(msgspec.json.encode(_config(part, jobs, log="std_out")))
        builder = package / "bin" / "valhalla_build_tiles"
        _run_builder([str(builder), "-c", str(config), str(extract.resolve())], part, progress)
        if not any(part.rglob("*.gph")):
            raise SourceFailed(f"{extract} gave no routing tiles; it seems to hold no roads")
        config.unlink()
        stamp = Stamp(extract=extract.name, extract_sha256=_sha256(extract), engine=_engine())
        (part / STAMP).write_bytes(encode(stamp))
        _put_in_place(part, tiles)
    finally:
        shutil.rmtree(part, ignore_errors=True)
    return stamp


class ExtractTable:
    """An opened tile folder: `table` as `sources.Router` says. One thread at a time."""

    block = _BLOCK
    budget_s = _FOREVER
    max_age_days = _FOREVER  # the identity names the extract's content, so old answers stay right

    def __init__(self, extract: Extract) -> None:
        tiles = Path(extract.tiles)
        if not (tiles / STAMP).is_file():
            raise SourceFailed(f"{tiles} is no folder of routing tiles; build one with: eaveboard roads build")
        stamp = decode((tiles / STAMP).read_bytes(), Stamp, "tile folder's stamp")
        _package()
        from valhalla import Actor

        with tempfile.TemporaryDirectory(prefix="eaveboard-roads-") as folder:
            config = Path(folder) / "route.json"
            config.write_bytes(msgspec.json.encode(_config(tiles, 1, log="")))
            self._actor = Actor(config)  # given a dict it would leave a file behind in the temporary folder
        self._extract = extract
        self.name = f"road extract {stamp.extract}"
        self.identity = (
            f"extract {stamp.extract_sha256} {stamp.engine} {_engine()} {extract.costing} snap {extract.snap_m}"
        )

    def table(self, sources: Sequence[Point], targets: Sequence[Point]) -> tuple[FloatTable, FloatTable]:
        # With more sources than targets this release searches backwards, and then most of its answers are wrong by up
        # to minutes (498 of 584 in a real city centre): it is never asked for that.
        parts = [sources[i : i + len(targets)] for i in range(0, len(sources), len(targets))]
        found = [self._forward(part, targets) for part in parts]
        return np.vstack([seconds for seconds, _ in found]), np.vstack([metres for _, metres in found])

    def _forward(self, sources: Sequence[Point], targets: Sequence[Point]) -> tuple[FloatTable, FloatTable]:
        body = valhalla_format.request_body(sources, targets, self._extract.costing, self._extract.snap_m)
        try:
            answer = self._actor.matrix(body.decode())
        except RuntimeError as fault:
            return valhalla_format.refused(str(fault), (len(sources), len(targets)))
        try:
            return valhalla_format.read_answer(answer, (len(sources), len(targets)))
        except (ValueError, msgspec.MsgspecError) as fault:
            raise SourceFailed(f"the {self.name} answered with {fault}") from None

    def close(self) -> None:
        """Nothing is held but memory."""

    def near_roads(self, points: Sequence[Point]) -> list[bool]:
        """Return for each point whether a road of the costing lies within the snap distance."""
        asked = [{"lat": lat, "lon": lon, "search_cutoff": self._extract.snap_m} for lat, lon in points]
        body = {"locations": asked, "costing": self._extract.costing, "verbose": False}
        found = msgspec.json.decode(self._actor.locate(msgspec.json.encode(body).decode()))
        return [bool(place.get("edges")) for place in found]


def tile_boxes(tiles: Path) -> list[tuple[float, float]]:
    """Return the south-west corners (latitude, longitude) of the quarter-degree boxes that hold local roads.

    Local roads lie in level 2: quarter-degree tiles numbered row by row from the south-west corner of the world, the
    number split in groups of three digits as the path ("2/000/864/819.gph"); Valhalla's documentation of its tiles.
    """
    boxes = []
    for path in sorted((tiles / "2").rglob("*.gph")):
        number = int("".join(path.relative_to(tiles / "2").with_suffix("").parts))
        boxes.append((number // 1440 * 0.25 - 90, number % 1440 * 0.25 - 180))
    return boxes


def check_extract(extract: Path) -> None:
    """Refuse a file that is no extract, by `BadInput`."""
    if not extract.is_file():
        raise BadInput("extract", f"there is no file {extract}")
    with extract.open("rb") as file:
        if b"OSMHeader" not in file.read(64):  # the first blob's type stands right behind its length
            raise BadInput("extract", f"{extract} is no OpenStreetMap extract in PBF form (.osm.pbf)")


def _package() -> Path:
    found = importlib.util.find_spec("valhalla")
    if found is None or found.origin is None:
        raise SourceFailed(_NO_LIBRARY)
    return Path(found.origin).parent


def _engine() -> str:
    from valhalla import __version__

    return f"valhalla {__version__}"


def _config(tiles: Path, jobs: int, log: str) -> dict[str, Any]:
    from valhalla import get_config

    with _CONFIG:
        config: dict[str, Any] = copy.deepcopy(get_config(tile_extract="", tile_dir=tiles))
    config["mjolnir"]["concurrency"] = jobs
    config["mjolnir"]["logging"]["type"] = log
    # One search a place of departure, instead of two that meet for each pair. On a grid of 40,000 crossings that took
    # 0.1 s a place against 2.3 ms a pair. In a real city centre it agreed with single routes from 39 of 40 places
    # within 2 s (from the last both searches differ from single routes alike), while the pairwise search left 69 of
    # 1,207 drives out. On a plain grid the pairwise answer for a pair changed with what else was asked (7 of 300), so
    # that kept answers would depend on the past.
    config["thor"]["source_to_target_algorithm"] = "timedistancematrix"
    for limits in config["service_limits"].values():
        if isinstance(limits, dict) and limits.get("max_matrix_location_pairs"):
            limits["max_matrix_location_pairs"] = _BLOCK[0] * _BLOCK[1]
            limits["max_matrix_distance"] = 5_000_000.0  # as far as single routes may go
    return config


def _run_builder(command: list[str], folder: Path, progress: Callable[[str], None]) -> None:
    last: list[str] = []
    builder = subprocess.Popen(
        command,
        cwd=folder,  # it leaves a list of doubled ways where it runs
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        errors="replace",
        start_new_session=True,
    )
    with _stopped_at_the_end(builder):
        assert builder.stdout is not None
        for line in builder.stdout:
            if words := line.strip():
                last = [*last[-_LAST_WORDS:], words]
                progress(words)
        code = builder.wait()
    if code != 0:
        words = next((w for w in reversed(last) if "ERROR" in w), last[-1] if last else "it said nothing")
        raise SourceFailed(f"the tile builder gave up (exit code {code}): {words}")


@contextlib.contextmanager
def _stopped_at_the_end(builder: subprocess.Popen[str]) -> Iterator[None]:
    """An interrupt must not leave the builder running: it has its own session, so it does not get the Ctrl-C itself."""
    try:
        yield
    finally:
        if builder.poll() is None:
            if sys.platform == "win32":
                builder.kill()
            else:
                with contextlib.suppress(ProcessLookupError):
                    os.killpg(builder.pid, signal.SIGKILL)
            builder.wait()
        if builder.stdout is not None:
            builder.stdout.close()


def _put_in_place(part: Path, tiles: Path) -> None:
    if not tiles.exists():
        part.rename(tiles)
        return
    old = tiles.with_name(f"{part.name}-old")
    tiles.rename(old)
    part.rename(tiles)
    shutil.rmtree(old)


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
