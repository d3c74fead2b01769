"""What takes hours from a customer's offer, each with its reason in words."""

from __future__ import annotations

import datetime
import itertools
from typing import NamedTuple

import msgspec

from scheduler.weather.forecast import Hour
from scheduler.weather.heat import band, fahrenheit, heat_index_f
from scheduler.weather.limits import MPS_PER_MPH, Measure, WeatherLimit
from scheduler.weather.local_day import clock

# Reasons in order of rank: where the clock, the crews or the dark close an hour, its weather is of no interest.
CLOCK, NO_CREW, DARK = "clock change", "no crew", "dark"
GUST, WIND, THUNDER, THUNDER_WAIT, RAIN, HEAT, COLD = "gust", "wind", "thunder", "thunder wait", "rain", "heat", "cold"
TOO_SHORT = "too short"
CODES = (CLOCK, NO_CREW, DARK, GUST, WIND, THUNDER, THUNDER_WAIT, RAIN, HEAT, COLD, TOO_SHORT)
_CLOSED = (CLOCK, NO_CREW, DARK)


class Lost(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Minutes `start` to `end` of `day` that cannot be used; `codes` from `CODES`, `reason` the same in words."""

    day: int
    start: int
    end: int
    codes: tuple[str, ...]
    reason: str


class LostBlock(NamedTuple):
    """Minutes `start` to `end` closed by `code`; of several with one code the largest `severity` gives the words."""

    start: int
    end: int
    code: str
    severity: float
    words: str


def lost_sentence(lost: Lost, start_date: datetime.date) -> str:
    """Return a loss as one line: "Wed 13:00–17:00 lost: gusts 31 mph (limit 25)"."""
    date = start_date + datetime.timedelta(days=lost.day)
    return f"{date:%a} {clock(lost.start)}–{clock(lost.end)} lost: {lost.reason}"


def hour_blocks(hour: Hour, start: int, limits: dict[Measure, WeatherLimit]) -> list[LostBlock]:
    """Return what the forecast for `hour`, which begins at minute `start`, closes by `limits`.

    A value that is not reported closes nothing. Thunder closes the wait after it too.
    """
    blocks: list[LostBlock] = []

    def close(code: str, severity: float, words: str, end: int = start + 60, begin: int = start) -> None:
        blocks.append(LostBlock(begin, end, code, severity, words))

    speeds: tuple[tuple[str, Measure, float | None], ...] = (
        (GUST, "gust_mph", hour.gust_mps), (WIND, "wind_mph", hour.wind_mps),
    )  # fmt: skip
    for code, measure, mps in speeds:
        if mps is not None and (top := _value(limits, measure)) is not None and mps / MPS_PER_MPH > top + 1e-9:
            name = "gusts" if code == GUST else "wind"
            close(code, mps, f"{name} {_more_than(mps / MPS_PER_MPH, top)} mph (limit {top:g})")
    top = _value(limits, "thunder_chance")
    if top is not None and hour.thunder_chance is not None and hour.thunder_chance > top:
        close(THUNDER, hour.thunder_chance, f"thunder {hour.thunder_chance:.0%} likely (limit {top:.0%})")
        wait = round(_value(limits, "thunder_wait_min") or 0)
        if wait:
            close(THUNDER_WAIT, 0, f"{wait} min wait after thunder", start + 60 + wait, start + 60)
    top = _value(limits, "rain_mm")
    if top is not None and hour.rain_mm is not None and hour.rain_mm > top:
        close(RAIN, 1 + hour.rain_mm, f"rain {_more_than(hour.rain_mm, top, 1)} mm an hour (limit {top:g})")
    else:
        top = _value(limits, "rain_chance")
        if top is not None and hour.rain_chance is not None and hour.rain_chance > top:
            close(RAIN, hour.rain_chance, f"rain {hour.rain_chance:.0%} likely (limit {top:.0%})")
    top = _value(limits, "heat_index_f")
    if top is not None and hour.humidity is not None:
        index = heat_index_f(fahrenheit(hour.temp_c), hour.humidity * 100)
        if index > top:
            named = f", {band(index)}" if band(index) else ""
            close(HEAT, index, f"heat index {_more_than(index, top)} °F in the shade{named} (limit {top:g})")
    least = _value(limits, "temp_least_c")
    if least is not None and hour.temp_c < least:
        close(COLD, -hour.temp_c, f"{-_more_than(-hour.temp_c, -least)} °C (at least {least:g})")
    return blocks


def lost_from_blocks(day: int, start: int, end: int, blocks: list[LostBlock]) -> list[Lost]:
    """Return the losses within `start` to `end`, in order; neighbours with the same codes join, in the worst words."""
    edges = sorted({start, end, *(t for b in blocks for t in (b.start, b.end) if start < t < end)})
    lost: list[Lost] = []
    running: dict[str, LostBlock] = {}
    for a, b in itertools.pairwise(edges):
        here: dict[str, LostBlock] = {}
        for block in blocks:
            if (
                block.start < b
                and a < block.end
                and (block.code not in here or block.severity > here[block.code].severity)
            ):
                here[block.code] = block
        codes = tuple(code for code in CODES if code in here)
        if codes and codes[0] in _CLOSED:
            codes = codes[:1]
        if not codes:
            running = {}
            continue
        joins = bool(lost) and bool(running) and lost[-1].codes == codes and lost[-1].end == a
        if joins and codes[0] not in _CLOSED:
            here = {c: max(here[c], running[c], key=lambda block: block.severity) for c in codes}
        elif joins and here[codes[0]].words != running[codes[0]].words:
            joins = False
        reason = "; ".join(here[c].words for c in codes)
        lost[-1 if joins else len(lost) :] = [Lost(day, lost[-1].start if joins else a, b, codes, reason)]
        running = here
    return lost


def _value(limits: dict[Measure, WeatherLimit], measure: Measure) -> float | None:
    return limits[measure].value if measure in limits else None


def _more_than(value: float, limit: float, digits: int = 0) -> float | int:
    """Round for showing, but never down to the limit that the value broke."""
    shown = round(value, digits)
    while shown <= limit:
        digits += 1
        shown = round(value, digits) if digits < 6 else value
        if digits >= 6:
            break
    return int(shown) if shown == int(shown) else shown
