"""What the weather of a place is like in a month: what a plan rests on where no forecast reaches yet.

The CSV form, one line a month, which a business writes from the normals of its nearest station:

    month,wind_mps,wind_sd_mps,wet_hours,wet_hour_mm,thunder_hours,temp_c,temp_swing_c,temp_sd_c,humidity
    4,4.6,2.2,0.08,1.1,0.006,12.5,5.5,4.5,0.6

An hour of a month is taken to be any hour of that month's daytime: its wind scatters about the mean as `wind_sd_mps`
says, `wet_hours` and `thunder_hours` are the share of hours with measurable rain and with thunder, and its temperature
swings about the mean by `temp_swing_c`, warmest at 15:00 (a cosine: common practice, no published source).
"""

from __future__ import annotations

import csv
import datetime
import functools
import io
import math
from typing import Annotated

import msgspec
from msgspec import Meta

from scheduler.documents import convert
from scheduler.errors import BadInput, readable_table
from scheduler.weather.forecast import Celsius, Chance, Hour, Rain, Speed
from scheduler.weather.limits import Measure, WeatherLimit
from scheduler.weather.risk import STATED_ERRORS, ErrorModel, HourRisk, calm_risk, hour_risk

WARMEST_H = 15
Spread = Annotated[float, Meta(ge=0, le=50)]


class Month(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """The daytime hours of one month (1 to 12): metres a second at 10 m, millimetres, degrees Celsius, shares."""

    month: Annotated[int, Meta(ge=1, le=12)]
    wind_mps: Speed
    wind_sd_mps: Spread
    wet_hours: Chance
    wet_hour_mm: Rain
    thunder_hours: Chance
    temp_c: Celsius
    temp_swing_c: Spread
    temp_sd_c: Spread
    humidity: Chance


class Climate(msgspec.Struct, frozen=True, forbid_unknown_fields=True, cache_hash=True):
    """The twelve months of a place, January first."""

    months: tuple[Month, ...]


COLUMNS = Month.__struct_fields__


@readable_table()
def climate_from_csv(text: str) -> Climate:
    """Return the climate in CSV `text` of the form above; raises `BadInput` naming the line and column."""
    reader = csv.DictReader(io.StringIO(text.removeprefix("\ufeff")))
    if tuple(reader.fieldnames or ()) != COLUMNS:
        raise BadInput("first line", f"must be {','.join(COLUMNS)}")
    found: dict[int, Month] = {}
    for row in reader:
        where = f"line {reader.line_num}"
        if None in row or None in row.values():
            raise BadInput(where, "has more or fewer cells than the first line")
        month = _month(where, row)
        if month.month in found:
            raise BadInput(f"{where}, month", f"{month.month} stands already further up")
        found[month.month] = month
    missing = [number for number in range(1, 13) if number not in found]
    if missing:
        raise BadInput("", f"the month {missing[0]} is missing; a climate has all twelve")
    return Climate(tuple(found[number] for number in range(1, 13)))


def climate_to_csv(climate: Climate) -> str:
    """Return the climate as CSV text that `climate_from_csv` reads back."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    writer.writerows([f"{getattr(month, name):.6g}" for name in COLUMNS] for month in climate.months)
    return out.getvalue()


@functools.lru_cache(maxsize=4096)  # the same for every site and visit of a business
def climate_risk(
    climate: Climate,
    date: datetime.date,
    hour: int,
    limited: tuple[tuple[Measure, WeatherLimit], ...],
    errors: ErrorModel = STATED_ERRORS,
) -> HourRisk:
    """Return the chances that an hour of `date` (0 to 23 by the wall clock) breaks the limits in `limited`.

    Nothing is known of the hour but its season, so no chance is below that of a calm hour that is forecast a week
    ahead: what has no forecast is never safer than what has a good one.
    """
    month = climate.months[date.month - 1]
    swing = month.temp_swing_c * math.cos((hour - WARMEST_H) / 24 * 2 * math.pi)
    usual = Hour(
        start=datetime.datetime(2000, 1, 1, tzinfo=datetime.UTC), wind_mps=month.wind_mps, gust_mps=None,
        rain_mm=month.wet_hours * month.wet_hour_mm, rain_chance=month.wet_hours, thunder_chance=month.thunder_hours,
        temp_c=month.temp_c + swing, humidity=month.humidity,
    )  # fmt: skip
    gust_sd = month.wind_sd_mps * errors.gust_per_wind
    season = msgspec.structs.replace(
        errors, lead_h=(0.0,), wind_sd_mps=(month.wind_sd_mps,), gust_sd_mps=(gust_sd,), temp_sd_c=(month.temp_sd_c,),
        rain_hit=(1.0,), rain_miss=(0.0,), wet_hour_mm=month.wet_hour_mm,
    )  # fmt: skip
    limits = dict(limited)
    known = hour_risk(usual, 0.0, limits, season)
    calm = calm_risk(usual, limits, errors)
    return HourRisk(*map(max, known, calm))


def _month(where: str, row: dict[str, str]) -> Month:
    values: dict[str, float | int] = {}
    for name in COLUMNS:
        cell = row[name].strip()
        try:
            values[name] = int(cell) if name == "month" else float(cell)
        except ValueError:
            raise BadInput(f"{where}, {name}", f'must be a number, is "{cell}"') from None
    try:
        return convert(values, Month, "month")
    except BadInput as fault:
        raise BadInput(f"{where}, {fault.where}" if fault.where else where, fault.problem) from None
