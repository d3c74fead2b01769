"""Work windows: when customer, crews, daylight and weather all allow the work, and what took the other hours.

    work_windows(customer_hours, start_date, timezone, site, forecast, work, limits, crew_hours, visit_cents, errors)
        -> WorkWindows(windows, lost, unforecast)

All of it is pure. `windows` are `scheduler.week.Window` values (`day, start, end, risk_cents`) ready for a job of the
week document; `lost` says what was taken from the customer's hours and by what; `unforecast` lists open hours beyond
the forecast.

Times are minutes after local midnight by the wall clock, days count from `start_date`. A working day does not cross a
clock change: on a day with one, the longer side of it is the working day.

Which windows are given: the planner charges a job the smallest `risk_cents` among the windows that hold its service. So
each open stretch is given whole at the risk of its worst visit, and within it every stretch in which any visit of this
length is noticeably safer, at its own risk. With these the planner pays, for each start, the risk of that very start
within one step.
"""

from __future__ import annotations

import datetime
import functools
import itertools
import zoneinfo
from collections.abc import Callable, Sequence
from typing import NamedTuple

import msgspec

from scheduler.errors import BadInput
from scheduler.weather.climate import Climate, climate_risk
from scheduler.weather.daylight import daylight
from scheduler.weather.forecast import HOUR, Forecast, Hour
from scheduler.weather.limits import LimitTable, Measure, WeatherLimit, WeatherWork, limits_for
from scheduler.weather.local_day import DAY_MIN, LocalDay, clock, local_day
from scheduler.weather.lost import CLOCK, DARK, NO_CREW, TOO_SHORT, Lost, LostBlock, hour_blocks, lost_from_blocks
from scheduler.weather.risk import STATED_ERRORS, ErrorModel, HourRisk, calm_risk, chance_of_any, hour_risk
from scheduler.week import Window

_MILD = Hour(  # no heat and no frost: of them nothing is known without a climate
    start=datetime.datetime(2000, 1, 1, tzinfo=datetime.UTC), wind_mps=0.0, gust_mps=None, rain_mm=0.0,
    rain_chance=None, thunder_chance=0.0, temp_c=18.0, humidity=0.5,
)  # fmt: skip
STEP_CENTS = 500  # risks that differ by less (and by less than a quarter) share a window


class Span(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Minutes `start` to `end` after local midnight of `day`."""

    day: int
    start: int
    end: int


class SitePoint(NamedTuple):
    """Degrees north and east."""

    lat: float
    lon: float


class WorkWindows(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    windows: tuple[Window, ...]
    lost: tuple[Lost, ...]
    unforecast: tuple[Span, ...]


class _Slot(NamedTuple):
    """Minutes `start` to `end` with one chance of loss; slots of one `hour` are not counted twice for a visit.

    `hour` is that whose weather it is, by its place in the forecast (below 0: without one): the wait after thunder is
    of the hour that thunders.
    """

    start: int
    end: int
    hour: int
    chance: float


# What is found for a day is looked up by hundreds of values, again for every visit: they are hashed once.
class _Closed(msgspec.Struct, frozen=True, cache_hash=True):
    blocks: tuple[LostBlock, ...]


class _Weather(msgspec.Struct, frozen=True, cache_hash=True):
    blocks: tuple[LostBlock, ...]
    slots: tuple[_Slot, ...]


def work_windows(
    customer_hours: Sequence[Span],
    start_date: datetime.date,
    timezone: str,
    site: SitePoint,
    forecast: Forecast | None,
    work: WeatherWork,
    limits: LimitTable,
    crew_hours: Sequence[Span] | None,
    visit_cents: int,
    errors: ErrorModel = STATED_ERRORS,
    climate: Climate | None = None,
    open_below: float = 0.0,
) -> WorkWindows:
    """Return when `work` can be done at `site`, with the expected cost of losing the visit to the weather.

    `customer_hours`: when the customer lets us in, any number of spans a day. `crew_hours`: when any crew works (None:
    not limited here). `forecast`: for the site; None, or hours that it does not hold, leave the hours open at the
    chance that `climate` gives the season, without one at `errors.unforecast_chance`, and never lower than
    that of a calm hour forecast at the longest lead time. `visit_cents`: the price of a
    visit lost on the spot. `open_below`: an hour whose forecast breaks a limit is closed unless its chance of loss is
    lower than this; it is then open at the price of that chance (0: all are closed). Windows and losses are in order of
    day and start. Raises `BadInput` for an unknown zone, a span that ends before it starts, or work without duration.
    """
    zone = _zone(timezone)
    if work.minutes < 1:
        raise BadInput("work.minutes", f"must be 1 or more, is {work.minutes}")
    for where, spans in (("customer_hours", customer_hours), ("crew_hours", crew_hours or ())):
        for n, span in enumerate(spans):
            if not 0 <= span.start < span.end <= DAY_MIN:
                raise BadInput(
                    f"{where}[{n}]", f"must start before it ends, within 0 to {DAY_MIN}: {span.start} to {span.end}"
                )
    found = limits_for(limits, work)
    limited = tuple(found.items())
    margin = round(found["daylight_margin_min"].value) if "daylight_margin_min" in found else None
    days: list[WorkWindows] = []
    for day in sorted({span.day for span in customer_hours}):
        date = start_date + datetime.timedelta(days=day)
        local = local_day(date, zone)
        crews = None if crew_hours is None else tuple(s for s in crew_hours if s.day == day)
        closed = _closed(local, date, site, margin, crews)
        weather = _weather(local, forecast, limited, errors, climate, date, open_below)
        hours = tuple(sorted((s for s in customer_hours if s.day == day), key=lambda s: (s.start, s.end)))
        days.append(_day(day, hours, closed, weather, work.minutes, visit_cents, errors.dependence))
    return WorkWindows(
        tuple(window for one in days for window in one.windows),
        tuple(lost for one in days for lost in one.lost),
        _joined([span for one in days for span in one.unforecast]),
    )


@functools.lru_cache(maxsize=4096)  # of a business's visits many are alike, and every page asks for each of them again
def _day(
    day: int,
    hours: tuple[Span, ...],
    closed: _Closed,
    weather: _Weather,
    minutes: int,
    visit_cents: int,
    dependence: float,
) -> WorkWindows:
    """Return what is left of a day's hours by what closes parts of them, and what the rest may cost."""
    windows: list[Window] = []
    lost: list[Lost] = []
    unforecast: list[Span] = []
    blocks = closed.blocks + weather.blocks
    for span in hours:
        here = [b for b in blocks if b.start < span.end and span.start < b.end]
        opened = _open(span, here)
        short = [LostBlock(a, b, TOO_SHORT, minutes, f"{b - a} min left, the work takes {minutes}")
                 for a, b in opened if b - a < minutes]  # fmt: skip
        lost += lost_from_blocks(day, span.start, span.end, here + short)
        for a, b in opened:
            if b - a >= minutes:
                near = [s for s in weather.slots if s.start < b and a < s.end]
                windows += _priced(day, a, b, minutes, near, visit_cents, dependence)
                unforecast += [Span(day, max(a, s.start), min(b, s.end)) for s in near if s.hour < 0]
    return WorkWindows(tuple(windows), tuple(lost), tuple(unforecast))


def _zone(timezone: str) -> zoneinfo.ZoneInfo:
    try:
        return zoneinfo.ZoneInfo(timezone)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
        raise BadInput("timezone", f'"{timezone}" is not an IANA zone such as America/Denver') from None


@functools.lru_cache(maxsize=1024)
def _closed(
    local: LocalDay, date: datetime.date, site: SitePoint, margin: int | None, crews: tuple[Span, ...] | None
) -> _Closed:
    """Return what closes hours whatever the weather: the clock change, no crew, no light.

    `margin`: minutes of daylight to leave at either end; None where the work needs no daylight.
    """
    blocks = [
        LostBlock(0, local.first, CLOCK, 0, "the clocks change"),
        LostBlock(local.last, DAY_MIN, CLOCK, 0, "the clocks change"),
    ]
    if crews is not None:
        edge = 0
        for span in sorted(crews, key=lambda s: s.start):
            blocks.append(LostBlock(edge, span.start, NO_CREW, 0, "no crew works then"))
            edge = max(edge, span.end)
        blocks.append(LostBlock(edge, DAY_MIN, NO_CREW, 0, "no crew works then"))
    if margin is not None:
        light = daylight(site.lat, site.lon, date)
        if light is None:
            blocks.append(LostBlock(0, DAY_MIN, DARK, 0, "no daylight on this date"))
        else:
            dawn, dusk = local.minute(light.dawn) + margin, local.minute(light.dusk) - margin
            blocks.append(LostBlock(0, min(dawn, DAY_MIN), DARK, 0, f"no daylight before {clock(dawn)}"))
            blocks.append(LostBlock(max(dusk, 0), DAY_MIN, DARK, 0, f"no daylight after {clock(dusk)}"))
    return _Closed(tuple(b for b in blocks if b.end > b.start))


@functools.lru_cache(maxsize=256)  # the same for all sites of a forecast and all works with the same limits
def _weather(
    local: LocalDay,
    forecast: Forecast | None,
    limited: tuple[tuple[Measure, WeatherLimit], ...],
    errors: ErrorModel,
    climate: Climate | None,
    date: datetime.date,
    open_below: float,
) -> _Weather:
    """Return what the forecast closes on a day, and its slots with their chances, gaps filled in (`hour` < 0)."""
    limits = dict(limited)
    wait = round(limits["thunder_wait_min"].value) if "thunder_wait_min" in limits else 0
    blocks: list[LostBlock] = []
    slots: list[_Slot] = []

    calm = calm_risk(_MILD, limits, errors)

    def unknown(minute: int) -> HourRisk:
        if climate is None:
            return HourRisk(*map(max, HourRisk(errors.unforecast_chance, 0.0, 0.0, 0.0), calm))
        return climate_risk(climate, date, min(minute // 60, 23), limited, errors)

    edge = 0  # minute up to which slots are known
    for n, hour in enumerate(forecast.hours if forecast else ()):
        start = local.minute(hour.start)
        if start + 60 + wait <= 0 or start >= DAY_MIN or forecast is None:
            continue
        lead_h = max(0.0, (hour.start - forecast.issued) / HOUR)
        risk = hour_risk(hour, lead_h, limits, errors)
        if risk.any() >= open_below:
            blocks += hour_blocks(hour, start, limits)
        slots += _unknown(edge, start, unknown)
        slots.append(_Slot(start, start + 60, n, risk.any()))
        edge = max(edge, start + 60)
        if risk.thunder:
            # The wait, however long: the same thunder, so that a visit pays once for it and the hours that it came in.
            slots.append(_Slot(start + 60, start + 60 + wait, n, risk.thunder))
    slots += _unknown(edge, DAY_MIN, unknown)
    return _Weather(tuple(blocks), tuple(s for s in slots if s.end > s.start and s.end > 0))


def _unknown(start: int, end: int, risk: Callable[[int], HourRisk]) -> list[_Slot]:
    """Return slots of at most an hour for a time without forecast; `risk` gives the chances from a minute on."""
    edges = [*range(start, end, 60), end]
    return [_Slot(a, b, -1 - a, risk(a).any()) for a, b in itertools.pairwise(edges)]


def _open(span: Span, blocks: list[LostBlock]) -> list[tuple[int, int]]:
    """Return the stretches of `span` that no block touches."""
    opened, edge = [], span.start
    for block in sorted(blocks, key=lambda b: b.start):
        if block.start > edge:
            opened.append((edge, min(block.start, span.end)))
        edge = max(edge, block.end)
    if edge < span.end:
        opened.append((edge, span.end))
    return opened


def _priced(
    day: int, start: int, end: int, minutes: int, slots: list[_Slot], visit_cents: int, dependence: float
) -> list[Window]:
    """Return the windows of one open stretch: whole at its worst visit's risk, and each safer stretch at its own."""
    last = end - minutes
    turns = {start, *(t for s in slots for t in (s.start, s.start - minutes + 1, s.end, s.end - minutes + 1))}
    starts = sorted(t for t in turns if start <= t <= last)
    cents = []
    for t in starts:
        worst: dict[int, float] = {}
        for slot in slots:
            if slot.start < t + minutes and t < slot.end:
                worst[slot.hour] = max(worst.get(slot.hour, 0.0), slot.chance)
        cents.append(round(visit_cents * chance_of_any(tuple(worst.values()), dependence)))
    ends = [*(t - 1 for t in starts[1:]), last]  # the last start at which each price holds
    windows: dict[tuple[int, int], int] = {}
    for top in _levels(cents):
        n = 0
        while n < len(starts):
            run = n
            while run < len(starts) and cents[run] <= top:
                run += 1
            if run > n:
                windows.setdefault((starts[n], ends[run - 1] + minutes), max(cents[n:run]))
            n = run + 1
    return [Window(day, a, b, price) for (a, b), price in sorted(windows.items())]


def _levels(cents: list[int]) -> list[int]:
    """Return the risks at which stretches are cut out: ascending, the largest of each group that differs little."""
    levels: list[int] = []
    base: int | None = None
    for value in sorted(set(cents)):
        if base is None or value > max(base + STEP_CENTS, base + base // 4):
            base = value
            levels.append(value)
        levels[-1] = value
    return levels


def _joined(spans: list[Span]) -> tuple[Span, ...]:
    joined: list[Span] = []
    for span in sorted(set(spans), key=lambda s: (s.day, s.start, s.end)):
        if joined and joined[-1].day == span.day and span.start <= joined[-1].end:
            joined[-1] = Span(span.day, joined[-1].start, max(joined[-1].end, span.end))
        else:
            joined.append(span)
    return tuple(joined)
