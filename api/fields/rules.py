"""What the business decides for itself: prices, rest, how long a planned week is. Amounts are cents, times minutes."""

from __future__ import annotations

import datetime
from typing import Any

import msgspec

from api.fields.column_limits import ColumnLimit, Whole
from api.fields.limits import MINUTE, MONEY
from scheduler.documents import convert
from scheduler.errors import BadInput
from scheduler.times.durations import Quantile
from scheduler.travel.by_hour import HOURS, MOST_PERCENT, ByHour
from scheduler.week import Cents, Count, Day, RestRule

KINDS = ("install", "survey", "repair")


class _Part(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Common form of all parts: frozen, every key required, no other key allowed."""


class ByKind(_Part, frozen=True):
    """One amount for each kind of visit."""

    install: Cents
    survey: Cents
    repair: Cents

    def of(self, kind: str) -> int:
        """Return the amount for `kind`, one of `KINDS`."""
        return int(getattr(self, kind))


class BusinessPrices(_Part, frozen=True):
    """`late`: a day past due; `skip`: a visit put off to a later week, on top of its lateness by then; `lost`: one
    that the weather ends on the spot; `broken`: a promise not kept; `move`, `retime`, `recrew`: changing what the
    customer has been told.
    """

    late_cents: ByKind
    skip_cents: ByKind
    lost_cents: ByKind
    broken_cents: Cents
    move_cents: Cents
    retime_cents: Cents
    recrew_cents: Cents


class FirstWeek(_Part, frozen=True):
    """The week that the demo is laid out for, and when its forecast was made."""

    start_date: datetime.date
    forecast_source: str
    forecast_issued: datetime.datetime


class Rules(_Part, frozen=True):
    """`week_days` days are planned at a time, from a Monday; `plan_with` is which estimate of a visit's time is used.

    Fasteners from `tall_ladder_from_mm` on are work from a tall ladder, awnings from `large_awning_from_mm` of width on
    catch the wind: both have stricter limits of weather. A posted visit whose chance of being weathered out is
    `weather_doubt_percent` or more counts as unable to go as posted. An hour whose forecast breaks a limit is closed
    unless the chance that it really does is lower than `weather_open_percent`: it is then open at the price of that.
    From a chance of `rain_date_percent` on a second day is proposed for a posted visit.

    For the odds of a week: four drives in five take at most `drive_p80_percent` longer than planned; what is due comes
    late with a chance of `late_delivery_percent`; a visit less likely to go as planned than `odds_below_percent` is
    marked. Where `weigh_late`, a week is planned for the least cost that is to be expected, late arrivals counted.

    `slow_hours`: by hour of the day ("0" to "23") by how many percent drives take longer than timed; hours left out: by
    none. Plans are made without it; what it does to a planned day is shown.

    A crew that is out longer than `weekly_hours` in a week, 0 for no count, costs `weekly_percent` more for each minute
    beyond.

    A crew may come by its yard in mid-day for another load, which takes `reload_min` minutes there; 0: none does.

    Where `rest_within` a crew may take its rest in the middle of a visit, which then takes as much longer.

    `horizon_weeks` weeks to come are planned ahead. An awning of which nobody has named the crate's day comes about
    `crate_weeks` weeks after its order, and a crate that has come is counted within `count_days` days.
    """

    week_days: Day
    rest: RestRule | None
    prices: BusinessPrices
    plan_with: Quantile
    tall_ladder_from_mm: Count
    large_awning_from_mm: Count
    weather_doubt_percent: int = 50
    weather_open_percent: int = 0
    rain_date_percent: int = 30
    drive_p80_percent: int = 20
    late_delivery_percent: int = 10
    odds_below_percent: int = 50
    weigh_late: bool = False
    horizon_weeks: int = 6
    crate_weeks: int = 5
    count_days: int = 1
    weekly_hours: int = 0
    weekly_percent: int = 50
    rest_within: bool = False
    reload_min: int = 0
    slow_hours: dict[str, int] = {}

    @property
    def by_hour(self) -> ByHour:
        """The slow hours as the planning core has them."""
        return ByHour(tuple(self.slow_hours.get(str(hour), 0) for hour in range(HOURS)))


_PERCENT, _LENGTH_MM = Whole(most=100), Whole(most=20_000)
# What each number may be, in files and on the page alike; prices likewise, by kind of visit or one for all.
RULE_LIMITS: dict[str, ColumnLimit] = {
    "week_days": Whole(least=1, most=7),
    "rest.after": MINUTE, "rest.length": Whole(most=240), "rest.earliest": MINUTE, "rest.latest": MINUTE,
    "tall_ladder_from_mm": _LENGTH_MM, "large_awning_from_mm": _LENGTH_MM,
    "weather_doubt_percent": Whole(least=1, most=100), "weather_open_percent": _PERCENT,
    "rain_date_percent": Whole(least=1, most=100),
    "drive_p80_percent": Whole(most=200), "late_delivery_percent": _PERCENT, "odds_below_percent": _PERCENT,
    "horizon_weeks": Whole(least=2, most=8), "crate_weeks": Whole(least=1, most=26), "count_days": Whole(most=14),
    **{f"slow_hours.{hour}": Whole(most=MOST_PERCENT) for hour in range(HOURS)},
    "reload_min": Whole(most=240),
    "weekly_hours": Whole(most=168), "weekly_percent": Whole(most=400),
    **{f"prices.{name}.{kind}": MONEY for name in ("late_cents", "skip_cents", "lost_cents") for kind in KINDS},
    **{f"prices.{name}": MONEY for name in ("broken_cents", "move_cents", "retime_cents", "recrew_cents")},
}  # fmt: skip


def rules_from_data(value: Any) -> Rules:
    """Return the rules held as plain data; raises `BadInput` naming the first key that is wrong."""
    rules = convert(value, Rules, "rules of the business")
    plain = msgspec.to_builtins(rules)
    for key in rules.slow_hours:
        if f"slow_hours.{key}" not in RULE_LIMITS:
            raise BadInput(f"slow_hours.{key}", 'must be an hour of the day, "0" to "23"')
    for where, limit in RULE_LIMITS.items():
        found = plain
        for name in where.split("."):
            found = None if found is None else found.get(name)
        if found is None:
            continue  # no rest is kept, or the hour is none of the slow ones
        try:
            limit.check(found)
        except BadInput as fault:
            raise BadInput(where, fault.problem) from None
    return rules
