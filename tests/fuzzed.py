"""Every reader of what people and services hand in, given damaged inputs: a refusal in one sentence, or an answer.

    .venv/bin/python -m tests.fuzzed --count 1000000

damages well-formed inputs over and over (bytes and tokens changed, doubled, left out, exchanged with those of others,
numbers and dates that cannot be) and gives each to its reader. Anything but a refusal is told, with the seed that makes
it again; so is a reader that takes longer than SLOWEST_S.
"""

from __future__ import annotations

import argparse
import collections
import datetime
import io
import itertools
import json
import math
import random
import re
import sys
import tempfile
import time
import traceback
import zipfile
from collections.abc import Callable, Sequence
from pathlib import Path
from zoneinfo import ZoneInfo

import msgspec
import openpyxl

from api.business.begin import unpacked
from api.business.seed import read_business
from api.exchange.importing import IMPORTABLE
from api.fields.files.yaml_text import plain_yaml
from api.forecasts.nws import nws_forecast
from api.forecasts.open_meteo import open_meteo_forecast
from api.office.files.busy import USUAL, busy_rows, is_calendar
from api.roads.valhalla_format import read_answer
from api.uploads.reading import read_upload
from scheduler.documents import encode
from scheduler.errors import BadInput
from scheduler.layout.documents import read_survey, survey_from_data
from scheduler.plan import read_plan
from scheduler.weather.climate import climate_from_csv
from scheduler.weather.forecast import forecast_from_csv
from scheduler.weather.limits import read_limits
from scheduler.week import read_week
from tests.service.scripted import SMALL, best
from tests.surveys import random_survey

ROOT = Path(__file__).parents[1]
DEMO = ROOT / "seeds" / "demo"
WEEKS = ROOT / "tests" / "data" / "weeks"
SLOWEST_S = 20.0  # of processor time for one small input: far more than any takes
NOW = datetime.datetime(2027, 4, 8, 20, tzinfo=datetime.UTC)
Reader = Callable[[bytes], object]
# What stands in the place of a token: bounds of types, odd numbers and dates, letters that readers stumble over.
ODD = [
    b"", b"0", b"-1", b"1e999", b"-1e308", b"NaN", b"Infinity", b"9223372036854775808", b"-0", b"1.5", b"null",
    b"true", b"[]", b"{}", b'""', b"0001-01-01", b"9999-12-31", b"2207-13-45", b"2026-02-30", b"99:99", b"24:00",
    b"\xff", b"\x00", "Ж-1".encode(), "\u202e".encode(), "\ud7ff".encode(), b"..", b"J/../x", b"'", b'"', b"\n",
    b"\r\n", b",,,,", b";", b"&a *a", b"!!python/object:os.system", b"<<: *a", b"=1+1", b"[" * 60, b"{" * 60, b"A" *
    5000, b"1" * 400, b"-" * 40, b"DTSTART:00000101T000000Z", b"RRULE:FREQ=SECONDLY", b"DURATION:P99999999D",
    b"TZID=Nowhere/Nothing",
]  # fmt: skip
TOKEN = re.compile(rb"[A-Za-z_]+|-?[0-9][0-9.]*|[^A-Za-z0-9_]")


def damaged(data: bytes, others: Sequence[bytes], chance: random.Random) -> bytes:
    """Return `data` with one to four damages."""
    for _ in range(chance.choice((1, 1, 1, 2, 4))):
        if not data:
            return chance.choice(ODD)
        kind, at = chance.randrange(8), chance.randrange(len(data))
        end = min(len(data), at + chance.choice((1, 1, 4, 30, 300)))
        if kind == 0:
            data = data[:at] + bytes([chance.randrange(256)]) + data[at + 1 :]
        elif kind == 1:
            data = data[:at] + data[end:]
        elif kind == 2:
            data = data[:end] + data[at:end] + data[end:]
        elif kind == 3:
            data = data[:at]
        elif kind == 4:
            other = chance.choice(others)
            start = chance.randrange(max(1, len(other)))
            data = data[:at] + other[start : start + chance.choice((1, 10, 200))] + data[end:]
        else:
            found = TOKEN.search(data, at)
            if found is not None:
                data = data[: found.start()] + chance.choice(ODD) + data[found.end() :]
    return data


def _in_zip(data: bytes, others: Sequence[bytes], chance: random.Random) -> bytes:
    """Return a packed file with one of the files in it damaged, or half the time the pack itself."""
    if chance.random() < 0.5:
        return damaged(data, others, chance)
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as source, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as target:
        names = source.namelist()
        chosen = chance.choice(names)
        for name in names:
            inner = source.read(name)
            target.writestr(name, damaged(inner, [inner], chance) if name == chosen else inner)
    return out.getvalue()


def _packed_demo() -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as target:
        for path in sorted(DEMO.rglob("*")):
            if path.suffix in (".csv", ".yaml") and (path.parent == DEMO or path.stem in ("V-2100", "V-2101")):
                target.writestr(path.relative_to(DEMO).as_posix(), path.read_bytes())
    return out.getvalue()


def _workbook() -> bytes:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.title = "customers"
    for row in (
        ["customer", "name", "phone"],
        ["C-1", "Odile Marrack", 5550300],
        ["C-2", NOW.date(), 1.5],
        ["C-3", True],
    ):
        sheet.append(row)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _business(data: bytes) -> object:
    with unpacked(data, "mine.zip") as folder:
        return read_business(folder)


def _survey_yaml(data: bytes) -> object:
    value = plain_yaml(data.decode())
    return survey_from_data(value.get("survey") if isinstance(value, dict) else value)


def _json(data: bytes) -> object:
    return msgspec.json.decode(data)  # as the service reads an answer, before it looks at what it says


def _calendar(data: bytes) -> object:
    who = {"P-1": dict.fromkeys(range(5), USUAL)}
    return busy_rows(data, "mine.ics", who, ZoneInfo("America/Chicago"), NOW.date()) if is_calendar(data) else None


def _text(reader: Callable[[str], object]) -> Reader:
    return lambda data: reader(data.decode())


def _demo(pattern: str) -> list[bytes]:
    return [path.read_bytes() for path in sorted(DEMO.glob(pattern))]


def readers() -> dict[str, tuple[Reader, list[bytes], Callable[[bytes, Sequence[bytes], random.Random], bytes]]]:
    """Return by name the reader, well-formed inputs of its, and how they are damaged."""
    hour = [f"2027-04-12T{n:02}:00" for n in range(4)]
    meteo = {
        "utc_offset_seconds": 0, "hourly_units": {"wind_speed_10m": "m/s", "temperature_2m": "°C"},
        "hourly": {"time": hour, "wind_speed_10m": [1.0] * 4, "temperature_2m": [10.0] * 4},
    }  # fmt: skip
    periods = [
        {"startTime": f"{one}:00+00:00", "temperature": 50, "temperatureUnit": "F", "windSpeed": "5 to 10 mph",
         "shortForecast": "Rain", "probabilityOfPrecipitation": {"value": 30}}
        for one in hour
    ]  # fmt: skip
    nws = {"properties": {"updateTime": "2027-04-12T00:00:00+00:00", "periods": periods}}
    matrix = {
        "sources_to_targets": {"durations": [[0, 60.5], [61, 0]], "distances": [[0, 1.2], [1.3, 0]]},
        "units": "km",
    }
    walls = [encode(random_survey(random.Random(n))) for n in range(6)]
    meetings = [path.read_bytes() for path in (ROOT / "tests" / "reference" / "rfc5545").glob("*.ics")]
    return {
        "week": (read_week, [encode(SMALL), (WEEKS / "v2-tiny-1.week.json").read_bytes()], damaged),
        "plan": (read_plan, [encode(best())], damaged),
        "survey": (read_survey, walls, damaged),
        "survey as YAML": (_survey_yaml, _demo("surveys/V-210[0-4].yaml"), damaged),
        "CSV": (lambda data: read_upload(data, "customers.csv", IMPORTABLE), _demo("customers.csv"), damaged),
        "XLSX": (lambda data: read_upload(data, "mine.xlsx", IMPORTABLE), [_workbook()], _in_zip),
        "ZIP": (_business, [_packed_demo()], _in_zip),
        "YAML": (_text(plain_yaml), _demo("business.yaml"), damaged),
        "forecast": (_text(lambda text: forecast_from_csv(text, "x", NOW)), _demo("forecast.csv"), damaged),
        "forecast of a service": (
            lambda data: open_meteo_forecast(_json(data), NOW), [json.dumps(meteo).encode()], damaged
        ),
        "forecast of the weather service": (
            lambda data: nws_forecast(_json(data), _json(data)), [json.dumps(nws).encode()], damaged
        ),
        "climate": (_text(climate_from_csv), _demo("climate.csv"), damaged),
        "limits": (_text(read_limits), _demo("limits.csv"), damaged),
        "matrix": (lambda data: read_answer(data, (2, 2)), [json.dumps(matrix).encode()], damaged),
        "calendar": (_calendar, meetings, damaged),
    }  # fmt: skip


# What a reader may raise: a refusal; where text is decoded or JSON read before it, that refusal; of a matrix what its
# caller takes for a service that answers nonsense.
REFUSALS: tuple[type[Exception], ...] = (BadInput, UnicodeDecodeError, msgspec.DecodeError)


def fuzz(
    count: int, seed: int, only: Sequence[str] = (), minutes: float = math.inf
) -> tuple[collections.Counter[str], list[str]]:
    """Give damaged inputs to the readers in turn, `count` or as many as come in so many minutes.

    Returns how many each took or refused, and what went wrong.
    """
    end = time.monotonic() + 60 * minutes
    told: collections.Counter[str] = collections.Counter()
    faults: dict[str, str] = {}
    chosen = {name: one for name, one in readers().items() if not only or name in only}
    every = [data for _, inputs, _ in chosen.values() for data in inputs]
    names = list(chosen)
    for n in itertools.takewhile(lambda _: time.monotonic() < end, range(count)):
        name = names[n % len(names)]
        read, inputs, damage = chosen[name]
        chance = random.Random(f"{seed} {n}")
        data = damage(chance.choice(inputs), every, chance)
        refusals = (*REFUSALS, ValueError) if name == "matrix" else REFUSALS
        before = time.process_time()
        try:
            read(data)
            told[f"{name}: taken"] += 1
        except refusals:
            told[f"{name}: refused"] += 1
        except Exception as fault:
            told[f"{name}: broke"] += 1
            where = traceback.extract_tb(fault.__traceback__)[-1]
            key = f"{name}: {type(fault).__name__} at {Path(where.filename).name}:{where.lineno}"
            faults.setdefault(key, f"{key}: {str(fault)[:200]} (--seed {seed}, number {n})")
        if time.process_time() - before > SLOWEST_S:
            faults.setdefault(f"{name}: slow", f"{name}: took over {SLOWEST_S} s (--seed {seed}, number {n})")
    return told, list(faults.values())


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=1_000_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", nargs="*", default=[], choices=list(readers()))
    parser.add_argument("--minutes", type=float, default=math.inf, help="end after so long, with fewer")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        tempfile.tempdir = folder
        told, faults = fuzz(given.count, given.seed, given.only, given.minutes)
    print(f"{sum(told.values())} inputs: " + "; ".join(f"{name} {count}" for name, count in sorted(told.items())))
    for fault in faults:
        print(f"FAULT {fault}")
    sys.exit(1 if faults else 0)


if __name__ == "__main__":
    main()
