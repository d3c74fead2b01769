"""What weather and light stop which kind of work: one table that the business edits, with reasons and sources.

The table is CSV text with the columns `applies_to, measure, value, reason, source`. For a piece of work all rows of its
kind and of its extras (a tall ladder, a large awning, sealant) count, and the strictest row of each measure holds. A
row can so only add caution. `DEFAULT_LIMITS_CSV` is the table that a new business
starts with.

Its figures are set below the published stop lines on purpose: OSHA's 30 mph for handling material is a ceiling and no
target, and the National Weather Service's heat index is for shade, while full sun can add up to 15 °F.

A planner's limits never replace the judgement of the crew lead on the spot, the manufacturer's instructions or local
rules.
"""

from __future__ import annotations

import csv
import io
import math
from typing import Literal, get_args

import msgspec

from scheduler.errors import BadInput, readable_table

Kind = Literal["install", "survey", "repair"]
Extra = Literal["tall ladder", "large awning", "sealant"]
Measure = Literal[
    "wind_mph", "gust_mph", "rain_mm", "rain_chance", "thunder_chance", "thunder_wait_min", "heat_index_f",
    "temp_least_c", "daylight_margin_min",
]  # fmt: skip

MPS_PER_MPH = 0.44704
# "High winds" normally means over 40 mph, or over 30 mph where material is handled: note to 29 CFR 1910.269(x).
# Cassettes and cloth are material handling, so no table may allow more.
HIGH_WIND_MATERIAL_MPH = 30.0

# What each measure can mean, least and most.
RANGES: dict[str, tuple[float, float]] = {
    "wind_mph": (0, HIGH_WIND_MATERIAL_MPH), "gust_mph": (0, HIGH_WIND_MATERIAL_MPH), "rain_mm": (0, 50), "rain_chance":
    (0, 1), "thunder_chance": (0, 1), "thunder_wait_min": (30, 240), "heat_index_f": (60, 125), "temp_least_c": (-40,
    30), "daylight_margin_min": (0, 240),
}  # fmt: skip
_LEAST = ("temp_least_c", "thunder_wait_min", "daylight_margin_min")  # measures whose larger value is the stricter one
_EVERY_KIND = ("wind_mph", "gust_mph", "thunder_chance", "thunder_wait_min", "heat_index_f", "daylight_margin_min")


class WeatherWork(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A piece of work: its kind, how long it takes at the site, and what makes it touchier."""

    kind: Kind
    minutes: int
    tall_ladder: bool = False
    large_awning: bool = False
    sealant: bool = False


class WeatherLimit(msgspec.Struct, frozen=True, forbid_unknown_fields=True, cache_hash=True):
    applies_to: Kind | Extra
    measure: Measure
    value: float
    reason: str
    source: str


class LimitTable(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    rows: tuple[WeatherLimit, ...]


COLUMNS = WeatherLimit.__struct_fields__


@readable_table()
def read_limits(text: str) -> LimitTable:
    """Return the table in CSV `text`; raises `BadInput` naming the line and column that cannot stand.

    Refused are unknown names, values outside what the measure can mean, wind or gusts above OSHA's 30 mph for material
    handling, less than 30 minutes' wait after thunder, a row without reason or source, a doubled row, a kind of work
    without one of the limits that every kind needs, and an extra whose wind limit is above every kind's (it would do
    nothing).
    """
    reader = csv.DictReader(io.StringIO(text.removeprefix("\ufeff")))
    if tuple(reader.fieldnames or ()) != COLUMNS:
        raise BadInput("first line", f"must be {','.join(COLUMNS)}")
    rows: list[WeatherLimit] = []
    for row in reader:
        if not any(row.values()):
            continue
        limit = limit_of(f"line {reader.line_num}", row)
        if any((r.applies_to, r.measure) == (limit.applies_to, limit.measure) for r in rows):
            raise BadInput(
                f"line {reader.line_num}", f"{limit.measure} of {limit.applies_to} stands already further up"
            )
        rows.append(limit)
    _check_whole(rows)
    return LimitTable(tuple(rows))


def limits_for(table: LimitTable, work: WeatherWork) -> dict[Measure, WeatherLimit]:
    """Return the strictest limit of each measure for `work`; measures that nothing limits are left out."""
    names: list[str] = [work.kind]
    names += ["tall ladder"] * work.tall_ladder + ["large awning"] * work.large_awning + ["sealant"] * work.sealant
    found: dict[Measure, WeatherLimit] = {}
    for row in table.rows:
        if row.applies_to in names and (row.measure not in found or _stricter(row, found[row.measure])):
            found[row.measure] = row
    return found


# Lower edges in mph of Beaufort forces 1 to 12 as whole miles an hour (weather.gov/tbw/beaufort, weather.gov/pqr/wind).
_BEAUFORT_MPH = (1, 4, 8, 13, 19, 25, 32, 39, 47, 55, 64, 73)


def beaufort(wind_mph: float) -> int:
    """Return the Beaufort force of a wind rounded to whole miles an hour, as the NWS tables are printed."""
    return sum(round(wind_mph) >= edge for edge in _BEAUFORT_MPH)


def _stricter(a: WeatherLimit, b: WeatherLimit) -> bool:
    return a.value > b.value if a.measure in _LEAST else a.value < b.value


def limit_of(where: str, row: dict[str, str]) -> WeatherLimit:
    """Return the row whose cells are `row`, by column; raises `BadInput` for `where` with the column that is wrong."""
    if None in row or None in row.values():
        raise BadInput(where, "has more or fewer cells than the first line (put text with commas between quotes)")
    cells = {name: cell.strip() for name, cell in row.items()}
    for name, kinds in (("applies_to", (*get_args(Kind), *get_args(Extra))), ("measure", get_args(Measure))):
        if cells[name] not in kinds:
            raise BadInput(f"{where}, {name}", f'must be one of {", ".join(kinds)}, is "{cells[name]}"')
    try:
        value = float(cells["value"])
    except ValueError:
        value = math.nan
    low, high = RANGES[cells["measure"]]
    if not low <= value <= high:
        why = ""
        if value > high and high == HIGH_WIND_MATERIAL_MPH:
            why = "; above 30 mph is high wind for handling material (OSHA, note to 29 CFR 1910.269(x))"
        if value < low and cells["measure"] == "thunder_wait_min":
            why = "; 30 minutes after the last thunder is the usual rule (30-30)"
        raise BadInput(f"{where}, value", f'must be a number from {low:g} to {high:g}, is "{cells["value"]}"{why}')
    for name in ("reason", "source"):
        if not cells[name]:
            raise BadInput(f"{where}, {name}", 'must not be empty; where nothing is published write "common practice"')
    return msgspec.convert({**cells, "value": value}, WeatherLimit)


def _check_whole(rows: list[WeatherLimit]) -> None:
    for kind in get_args(Kind):
        for measure in _EVERY_KIND:
            if not any((r.applies_to, r.measure) == (kind, measure) for r in rows):
                raise BadInput("", f'the table has no {measure} for "{kind}"; every kind of work needs one')
    for measure in ("wind_mph", "gust_mph"):
        loosest = max(r.value for r in rows if r.measure == measure and r.applies_to in get_args(Kind))
        for row in rows:
            if row.measure == measure and row.applies_to in get_args(Extra) and row.value > loosest:
                where = f"{measure} of {row.applies_to}"
                raise BadInput(
                    where, f"is {row.value:g}, above every kind of work's own ({loosest:g}), so it would do nothing"
                )


_OSHA = "common practice, below the 30 mph of the note to 29 CFR 1910.269(x)"
_THUNDER = "National Weather Service, 30-30 rule"

DEFAULT_LIMITS_CSV = f"""\
applies_to,measure,value,reason,source
install,wind_mph,20,A cassette held up between two people acts as a sail,"{_OSHA}"
install,gust_mph,25,A gust comes without warning while hands are full,"{_OSHA}"
install,rain_mm,0.5,"Wet rungs and wet power tools; cloth rolled up wet grows mildew",common practice
install,rain_chance,0.7,Rain is likelier than not by far,common practice
install,thunder_chance,0.4,Ladders and metal profiles in a thunderstorm,"common practice; {_THUNDER}"
install,thunder_wait_min,30,Wait after the last thunder,"{_THUNDER}"
install,heat_index_f,100,"Heavy work in full sun, which adds up to 15 °F","common practice, below NWS danger (103)"
install,temp_least_c,-7,Hands and batteries fail below 20 °F,common practice
install,daylight_margin_min,0,Light enough from civil dawn to civil dusk,civil twilight (sun 6° below the horizon)
survey,wind_mph,25,A tape and a short ladder in the wind,"{_OSHA}"
survey,gust_mph,30,A short ladder in gusts,OSHA note to 29 CFR 1910.269(x)
survey,rain_mm,2,Measuring in light rain is possible but readings smear,common practice
survey,rain_chance,0.9,Rain is nearly certain,common practice
survey,thunder_chance,0.4,Outdoors on a ladder in a thunderstorm,"common practice; {_THUNDER}"
survey,thunder_wait_min,30,Wait after the last thunder,"{_THUNDER}"
survey,heat_index_f,103,The NWS danger band begins,NWS heat index chart
survey,daylight_margin_min,0,Light enough from civil dawn to civil dusk,civil twilight (sun 6° below the horizon)
repair,wind_mph,22,An opened awning catches the wind,"{_OSHA}"
repair,gust_mph,28,A gust on a half-open cloth,"{_OSHA}"
repair,rain_mm,1,Wet rungs and wet power tools,common practice
repair,rain_chance,0.8,Rain is likelier than not by far,common practice
repair,thunder_chance,0.4,Ladders and metal profiles in a thunderstorm,"common practice; {_THUNDER}"
repair,thunder_wait_min,30,Wait after the last thunder,"{_THUNDER}"
repair,heat_index_f,103,The NWS danger band begins,NWS heat index chart
repair,temp_least_c,-7,Hands and batteries fail below 20 °F,common practice
repair,daylight_margin_min,0,Light enough from civil dawn to civil dusk,civil twilight (sun 6° below the horizon)
tall ladder,wind_mph,15,The higher the ladder the longer the lever,"{_OSHA}"
tall ladder,gust_mph,20,A gust at height takes the balance,"{_OSHA}"
tall ladder,rain_mm,0.2,Wet rungs at height,common practice
tall ladder,heat_index_f,95,Dizziness at height,"common practice, in the NWS band extreme caution"
large awning,wind_mph,15,Twice the cloth is twice the sail,"{_OSHA}"
large awning,gust_mph,20,Twice the cloth is twice the sail,"{_OSHA}"
sealant,temp_least_c,5,"Sealant does not cure or stick in the cold; the product's own sheet comes first",common practice
sealant,rain_mm,0.2,Sealant needs a dry joint,common practice
"""

DEFAULT_LIMITS: LimitTable = read_limits(DEFAULT_LIMITS_CSV)
