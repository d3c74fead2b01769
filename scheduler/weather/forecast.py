"""An hourly forecast for one site, as plain values: where it came from is no matter here.

The CSV form, one hour a row, which people can write by hand and `forecast_from_csv` reads:

    start_utc,wind_mps,gust_mps,rain_mm,rain_chance,thunder_chance,temp_c,humidity
    2027-03-15T13:00Z,4.5,,0,0.1,,11.5,0.62

An empty cell means "not reported", which is never the same as zero: a forecast without gusts says nothing of gusts.
"""

from __future__ import annotations

import csv
import datetime
import io
from typing import Annotated, Any

import msgspec
from msgspec import Meta

from scheduler.documents import convert
from scheduler.errors import BadInput, readable_table

HOUR = datetime.timedelta(hours=1)

# Physical ranges, wider than any weather on record at the ground (gust 113 m/s, Barrow Island 1996; 305 mm of rain in
# 42 minutes, Holt 1947; -89.2 to 56.7 °C), so that a slipped decimal or a broken sensor is refused and weather is not.
Speed = Annotated[float, Meta(ge=0, le=113.5)]
Rain = Annotated[float, Meta(ge=0, le=450)]
Chance = Annotated[float, Meta(ge=0, le=1)]
Celsius = Annotated[float, Meta(ge=-90, le=60)]


class Hour(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """The weather from `start` (UTC) for one hour; None where the source does not report it.

    Speeds are metres a second at 10 m, `rain_mm` millimetres in the hour, chances and `humidity` from 0 to 1,
    `temp_c` degrees Celsius. `rain_chance` is the chance of measurable rain, `thunder_chance` of any thunder.
    """

    start: datetime.datetime
    wind_mps: Speed
    gust_mps: Speed | None
    rain_mm: Rain | None
    rain_chance: Chance | None
    thunder_chance: Chance | None
    temp_c: Celsius
    humidity: Chance | None


class Forecast(msgspec.Struct, frozen=True, forbid_unknown_fields=True, cache_hash=True):
    """Hours in ascending order, with gaps where the source left some out; `issued` (UTC) is when it was made."""

    source: str
    issued: datetime.datetime
    hours: tuple[Hour, ...]


COLUMNS = tuple(f if f != "start" else "start_utc" for f in Hour.__struct_fields__)
_NUMBERS = COLUMNS[1:]
_REQUIRED = ("wind_mps", "temp_c")


def checked(forecast: Forecast) -> Forecast:
    """Return `forecast` where its values are possible and in order; raises `BadInput` naming the first faulty hour.

    Hours may be missing, but not doubled, overlapping or without a zone.
    """
    _aware("issued", forecast.issued)
    before: datetime.datetime | None = None
    for n, hour in enumerate(forecast.hours):
        _aware(f"hours[{n}].start", hour.start)
        if before is not None and hour.start - before < HOUR:
            raise BadInput(
                f"hours[{n}].start", f"must be an hour or more after the hour before it ({before:%Y-%m-%dT%H:%MZ})"
            )
        before = hour.start
    msgspec.convert(msgspec.to_builtins(forecast), Forecast)  # ranges, which a constructor does not check
    return forecast


@readable_table()
def forecast_from_csv(text: str, source: str, issued: datetime.datetime) -> Forecast:
    """Return the forecast in CSV `text` of the form at the top of this module; raises `BadInput` naming row and column.

    `issued` is when the forecast was made (UTC), `source` what to call it. Rows may stand in any order.
    """
    reader = csv.DictReader(io.StringIO(text.removeprefix("\ufeff")))
    columns = reader.fieldnames or []
    for name in COLUMNS:
        if name not in columns:
            raise BadInput("first line", f'has no column "{name}"; a forecast file has {", ".join(COLUMNS)}')
    hours = [_hour(f"line {reader.line_num}", row) for row in reader if any(v for v in row.values())]
    hours.sort(key=lambda hour: hour.start)
    return checked(Forecast(source, issued, tuple(hours)))


def forecast_to_csv(forecast: Forecast) -> str:
    """Return the hours of `forecast` as CSV text that `forecast_from_csv` reads back."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for hour in forecast.hours:
        start = hour.start.astimezone(datetime.UTC)
        cells = [getattr(hour, name) for name in _NUMBERS]
        writer.writerow([f"{start:%Y-%m-%dT%H:%MZ}", *("" if cell is None else f"{cell:.6g}" for cell in cells)])
    return out.getvalue()


def _aware(where: str, moment: datetime.datetime) -> None:
    if moment.tzinfo is None:
        raise BadInput(where, "must carry its zone, such as 2027-03-15T13:00Z")


def _hour(where: str, row: dict[str, Any]) -> Hour:
    if None in row or None in row.values():
        raise BadInput(where, "has more or fewer cells than the first line")
    values: dict[str, Any] = {}
    text = row["start_utc"].strip()
    try:
        values["start"] = datetime.datetime.fromisoformat(text)
    except ValueError:
        raise BadInput(f"{where}, start_utc", f'must be a time such as 2027-03-15T13:00Z, is "{text}"') from None
    _aware(f"{where}, start_utc", values["start"])
    values["start"] = values["start"].astimezone(datetime.UTC).isoformat()
    for name in _NUMBERS:
        cell = row[name].strip()
        if not cell and name in _REQUIRED:
            raise BadInput(f"{where}, {name}", "must not be empty; leave the whole line out where it is not known")
        try:
            values[name] = float(cell) if cell else None
        except ValueError:
            raise BadInput(f"{where}, {name}", f'must be a number or empty, is "{cell}"') from None
    try:
        return convert(values, Hour, "forecast hour")
    except BadInput as fault:
        raise BadInput(f"{where}, {fault.where}" if fault.where else where, fault.problem) from None
