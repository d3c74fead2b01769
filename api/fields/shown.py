"""How values are shown, on pages, on paper and in sentences alike."""

from __future__ import annotations

import datetime
import zoneinfo

from scheduler.units import FOOT_MM, LB_KG, feet_inches

# A day of the wall clock, in minutes.
DAY_MIN = 24 * 60


def clock(minutes: int) -> str:
    """Return minutes after midnight as 7:05."""
    return f"{minutes // 60}:{minutes % 60:02}"


def dollars(cents: int) -> str:
    """Return cents as whole dollars with thousands set apart: $12,345."""
    return f"{'-' if cents < 0 else ''}${abs(cents) / 100:,.0f}"


def feet(length_mm: float) -> str:
    """Return a sold width or projection in feet as the trade says it: 14 ft, 11 ft 6 in."""
    whole, inches = divmod(round(length_mm / FOOT_MM * 12), 12)
    return f"{whole} ft {inches} in" if inches else f"{whole} ft"


def day_name(date: datetime.date) -> str:
    """Return a day as Mon Apr 12."""
    return f"{date:%a} {short_date(date)}"


def short_date(date: datetime.date) -> str:
    """Return a day without its weekday: Apr 12."""
    return f"{date:%b} {date.day}"


def duration(minutes: int) -> str:
    """Return a length of time as 3 h 40 or 45 min."""
    return f"{minutes} min" if minutes < 60 else f"{minutes // 60} h {minutes % 60:02}"


def at(moment: datetime.datetime, timezone: str) -> str:
    """Return a moment as people there say it: Thu Apr 8, 15:05."""
    local = moment.astimezone(zoneinfo.ZoneInfo(timezone))
    return f"{day_name(local.date())}, {clock(local.hour * 60 + local.minute)}"


def pounds(weight_kg: float) -> str:
    """Return a weight as the trade says it: 60 kg (132 lb)."""
    return f"{weight_kg:.0f} kg ({weight_kg / LB_KG:.0f} lb)"


def hour(minute: int) -> str:
    """Return minutes after midnight as customers say them: 9:15 am."""
    hours, minutes = divmod(minute % DAY_MIN, 60)
    return f"{(hours + 11) % 12 + 1}:{minutes:02} {'am' if hours < 12 else 'pm'}"


def long_date(date: datetime.date) -> str:
    return f"{date:%A}, {date:%B} {date.day}"


# By which pages and prints show values.
FILTERS = {
    "at": at, "clock": clock, "dollars": dollars, "feet": feet, "day_name": day_name, "duration": duration,
    "feet_inches": feet_inches, "pounds": pounds,
}  # fmt: skip
