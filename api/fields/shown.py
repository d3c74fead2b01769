"""How values are shown, on pages, on paper and in sentences alike."""

from __future__ import annotations

import datetime
import re
import zoneinfo
from typing import Any

from jinja2 import pass_context
from jinja2.runtime import Context
from markupsafe import Markup

from api.fields.items import item_name, skill_name
from api.fields.wording import wording
from api.languages import ENGLISH, day_in_words, gettext, language
from api.languages.core import core_says, refused_says
from api.languages.whole import kept_together
from scheduler.units import FOOT_MM, LB_KG, feet_inches
from scheduler.week import is_of_several

# A day of the wall clock, in minutes.
DAY_MIN = 24 * 60


def clock(minutes: int) -> str:
    """Return minutes after midnight as 14:05 or 2:05 pm, as the business writes times."""
    return wording().time(minutes)


def short_clock(minutes: int) -> str:
    """Return minutes after midnight as 14:05 or 2:05, where am and pm have no room."""
    return wording().time(minutes, short=True)


def dollars(cents: int) -> str:
    """Return cents as whole amounts with thousands set apart: $12,345, by the sign that the business has chosen."""
    return f"{'-' if cents < 0 else ''}{wording().currency}{abs(cents) / 100:,.0f}"


def feet(length_mm: float) -> str:
    """Return a sold width or projection as the trade says it: 14 ft, 11 ft 6 in; 4.27 m where that is measured."""
    if wording().units == "metric":
        return f"{length_mm / 1000:.2f} m"
    whole, inches = divmod(round(length_mm / FOOT_MM * 12), 12)
    said = gettext("{feet} ft {inches} in") if inches else gettext("{feet} ft")
    return said.format(feet=whole, inches=inches)


def sized(work: str, width_mm: float | None) -> str:
    """Return a kind of work with the awning's width, None without one: 14 ft install; instalación 14 pies."""
    what = gettext(work)
    return what if width_mm is None else gettext("{width} {what}").format(width=feet(width_mm), what=what)


def day_name(date: datetime.date) -> str:
    """Return a day as Mon Apr 12, lun 12 abr."""
    if language() != ENGLISH:
        return day_in_words(date, "EEE d MMM")
    return f"{date:%a} {short_date(date)}"


def short_date(date: datetime.date) -> str:
    """Return a day without its weekday: Apr 12, 12 abr."""
    if language() != ENGLISH:
        return day_in_words(date, "d MMM")
    return f"{date:%b} {date.day}"


def days_from_to(first: datetime.date, last: datetime.date) -> str:
    """Return a span of days: Apr 12–17 or Apr 26–May 1; 12–17 abr or 26 abr–1 may."""
    if language() == ENGLISH:
        return f"{short_date(first)}–{last.day if first.month == last.month else short_date(last)}"
    return f"{first.day if first.month == last.month else short_date(first)}–{short_date(last)}"


def duration(minutes: int) -> str:
    """Return a length of time as 3 h 40 or 45 min."""
    return f"{minutes} min" if minutes < 60 else f"{minutes // 60} h {minutes % 60:02}"


def at(moment: datetime.datetime, timezone: str) -> str:
    """Return a moment as people there say it: Thu Apr 8, 15:05."""
    local = moment.astimezone(zoneinfo.ZoneInfo(timezone))
    return f"{day_name(local.date())}, {clock(local.hour * 60 + local.minute)}"


def pounds(weight_kg: float) -> str:
    """Return a weight as the business measures: 132 lb or 60 kg."""
    return f"{weight_kg:.0f} kg" if wording().units == "metric" else f"{weight_kg / LB_KG:,.0f} lb"


def length(length_mm: float) -> str:
    """Return a measured length as the business measures: 12' 6 1/2" or 3823 mm."""
    return f"{round(length_mm)} mm" if wording().units == "metric" else feet_inches(length_mm)


def long_date(date: datetime.date) -> str:
    """Return a day as letters say it: Monday, April 12; lunes 12 de abril."""
    if language() != ENGLISH:
        return day_in_words(date, "EEEE d 'de' MMMM")
    return f"{date:%A}, {date:%B} {date.day}"


def _short(minutes: int) -> Markup:
    return Markup(short_clock(minutes))  # as it stands: without am and pm it would be taken for a plain time


def _hours(minutes: int) -> Markup:
    return Markup(f"{minutes // 60}:{minutes % 60:02}")  # a length of time, which is no time of day


@pass_context
def said(_: Context, value: Any) -> Any:
    """Return what a page or paper writes in the business's words, sentences of the planning core among it.

    Markup stays as it is. No line breaks between a figure and its unit, but for values within tags (`in_tag`).
    Templates have it as what finishes each value (`finalize`).
    """
    if type(value) is InTag:
        return wording().say(value)
    return kept_together(wording().say(value)) if type(value) is str else value


class InTag(str):
    """A text within a tag, such as an attribute: its blanks stay as they are, as scripts send it back."""


def in_tag(value: Any) -> Any:
    """Return a value to be written within a tag: of a text, no blank becomes another one."""
    return InTag(value) if type(value) is str else value


def times_written(text: str) -> str:
    """Return the times in a field's text as the business writes them: "Mon-Fri 7:30 am-4:30 pm" is read as well."""
    return wording().say(days_written(text))


_DAY = re.compile(r"\b(Mon|Tue|Wed|Thu|Fri|Sat|Sun)\b")


def days_written(text: str) -> str:
    """Return "Mon-Fri" with the days as the language spoken shortens them; they are read back so."""
    return text if language() == ENGLISH else _DAY.sub(lambda day: gettext(day[1]), text)


# By which pages and prints show values.
def first_up(text: str) -> str:
    """Return a text that begins a sentence; names and numbers in it stay as they are written."""
    return text[:1].upper() + text[1:]


_LONG = 200  # letters of a reason that the pile shows whole at once
_STATED = re.compile(r"[;:.]? \(|[;:.] ")  # where a first statement ends


def crew_begins(name: str) -> str:
    """Return a crew's name as a sentence begins with it; as `scheduler.week.crew_begins`, in the language spoken."""
    return gettext("The crew {crew}").format(crew=name) if is_of_several(name) else name


def crew_goes_on(name: str) -> str:
    """Return a crew's name as it stands in the middle of a sentence, in the language spoken."""
    return gettext("the crew {crew}").format(crew=name) if is_of_several(name) else name


def in_two(text: str) -> tuple[str, str]:
    """Return a reason's first statement and what follows it; nothing follows where the whole is short.

    The first says by itself what is in the way, so that nothing has to end in dots.
    """
    if len(text) <= _LONG or (end := _STATED.search(text, 20)) is None:
        return text, ""
    return text[: end.start()], text[end.start() :]


FILTERS = {
    "at": at, "clock": clock, "dollars": dollars, "feet": feet, "day_name": day_name, "duration": duration,
    "feet_inches": length, "pounds": pounds, "times_written": times_written, "short_clock": _short, "hours": _hours,
    "core_says": core_says, "first_up": first_up, "item_name": item_name, "skill_name": skill_name,
    "refused_says": refused_says, "said_as": gettext, "in_tag": in_tag, "in_two": in_two, "sized": sized,
    "crew_begins": crew_begins,
}  # fmt: skip
