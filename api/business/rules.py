"""The business itself, how a week is planned, and its prices."""

from __future__ import annotations

import zoneinfo
from collections.abc import Iterator, Mapping
from typing import Any

import msgspec
from sqlmodel import Session

from api.business.part import (
    BadValues,
    Group,
    Line,
    Part,
    cents,
    chosen,
    dollars_text,
    length,
    length_text,
    words,
)
from api.fields.files.cells import clock_text
from api.fields.files.sheets import time_of_day
from api.fields.limits import LIMITS
from api.fields.rules import KINDS, RULE_LIMITS, Rules, rules_from_data
from api.fields.slow_hours import slow_hours, slow_hours_text
from api.http import versions
from api.http.problems import Problem
from api.languages import gettext, to_say
from api.tables import Business
from scheduler.errors import BadInput
from scheduler.times.defaults import DEFAULT_TIMES_CSV
from scheduler.weather.limits import DEFAULT_LIMITS_CSV

UNITS = (("imperial", "feet and inches"), ("metric", "meters"))
LANGUAGE = (("en", "English"), ("es", "Spanish"))
CLOCKS = (("12", "2:28 pm"), ("24", "14:28"))
YES_NO = (("yes", "yes"), ("no", "no"))
ESTIMATES = (
    ("p50", "the usual time, as often too long as too short (P50)"),
    ("p65", "enough two times in three (P65)"),
    ("p80", "enough four times in five (P80)"),
)

# What a new business starts with: assumptions of this product, to be replaced by the business's own.
DEFAULT_RULES: dict[str, Any] = {
    "week_days": 6,
    "rest": {"after": 360, "length": 30, "earliest": 660, "latest": 840},
    "prices": {
        "late_cents": {"install": 7_000, "survey": 2_500, "repair": 5_000},
        "skip_cents": {"install": 140_000, "survey": 38_000, "repair": 52_000},
        "lost_cents": {"install": 45_000, "survey": 9_000, "repair": 16_000},
        "broken_cents": 400_000,
        "move_cents": 12_000,
        "retime_cents": 3_000,
        "recrew_cents": 1_500,
    },
    "plan_with": "p50",
    "tall_ladder_from_mm": 3_700,
    "large_awning_from_mm": 5_486,
}
_BY_KIND = (
    ("late_cents", "A day late", "$ a day", "what each day past a job's due day costs."),
    ("skip_cents", "Put off to a later week", "$", "what leaving a job out costs, on top of its lateness by then."),
    ("lost_cents", "Sent home by the weather", "$", "a visit that ends on the spot."),
)
_SINGLE = (
    ("broken_cents", "A promise not kept", "$", "A firm time or a day that the customer was given, and did not get."),
    ("move_cents", "Another day than told", "$", "Moving a soft booking to another day."),
    ("retime_cents", "Another hour than told", "$", "Moving a booking to another hour of its day."),
    ("recrew_cents", "Another crew than told", "$", "Sending another crew than the customer was told."),
)


def held(session: Session) -> Business:
    """Return the business; answers 404 where none is set up."""
    row = session.get(Business, 1)
    if row is None:
        raise Problem(404, "No business is set up yet: give it a name and a town first, at /settings/business.")
    return row


def business(session: Session) -> Part:
    """Return the part on the business itself; where there is none yet, taking it in makes it."""
    row = session.get(Business, 1)
    lines = (
        Line("name", "Name", row.name if row else "", words(120), meaning="Stands on papers and messages."),
        Line("town", "Town", row.town if row else "", words(120), meaning="Where the business is at home."),
        Line("timezone", "Time zone", row.timezone if row else "", _zone,
             meaning="By its name in the IANA database, such as America/Chicago; all times of day are in it."),
        Line("phone", "The office's phone", row.phone if row else "", LIMITS["business.phone"],
             meaning="Crews call it from the day sheet; customers and makers are told it in messages and papers."),
        Line("warranty_months", "Warranty", str(row.warranty_months if row else 24), LIMITS["business.warranty_months"],
             "months", "Counted from the day on which an awning was hung; what the maker grants is beyond it."),
        Line("clock", "Times of day", row.clock if row else "12", chosen(CLOCKS), choices=CLOCKS,
             meaning="How times are written; either can be typed anywhere."),
        Line("units", "Lengths and weights", row.units if row else "imperial", chosen(UNITS), choices=UNITS,
             meaning="How they are written; either measure can be typed anywhere."),
        Line("language", "Language of crews and customers", row.language if row else "en", chosen(LANGUAGE),
             choices=LANGUAGE, meaning="For whom no other is entered: day sheets, cautions, messages, letters."),
        Line("currency", "Money", row.currency if row else "$", LIMITS["business.currency"],
             meaning="The sign before every amount."),
    )  # fmt: skip

    def write(session: Session, values: Mapping[str, Any]) -> bool:
        if row is not None:
            return versions.update(session, row, values)
        session.add(Business(**values, rules=DEFAULT_RULES, limits=DEFAULT_LIMITS_CSV, times=DEFAULT_TIMES_CSV))
        session.flush()
        return True

    return Part("business", "The business", "Its name, its phone, and how times, lengths and money are written.",
                (Group("", lines=lines),), write)  # fmt: skip


def week(session: Session) -> Part:
    """Return the part on the form of a week: days, rest, the estimate planned with, from where on work is touchier."""
    row = held(session)
    rules = rules_from_data(row.rules)
    rest = msgspec.to_builtins(rules.rest) if rules.rest is not None else DEFAULT_RULES["rest"]
    tall, large = (length_text(mm, row.units) for mm in (rules.tall_ladder_from_mm, rules.large_awning_from_mm))
    groups = (
        Group("Days and times", lines=(
            Line("week_days", "Days planned from Monday", str(rules.week_days), RULE_LIMITS["week_days"], "days",
                 "6 plans Monday to Saturday."),
            Line("plan_with", "Time planned for a visit", rules.plan_with, chosen(ESTIMATES), choices=ESTIMATES,
                 meaning="Which estimate of the task times a plan is made with."),
        )),
        Group("Rest on the way", "A day longer than this needs a rest, wherever it is best taken.", lines=(
            Line("rest", "A rest is kept", "no" if rules.rest is None else "yes", chosen(YES_NO), choices=YES_NO),
            Line("rest_after", "On days longer than", str(rest["after"]), RULE_LIMITS["rest.after"], "min",
                 "From leaving the yard."),
            Line("rest_length", "Length", str(rest["length"]), RULE_LIMITS["rest.length"], "min"),
            Line("rest_earliest", "Begun at the earliest", clock_text(rest["earliest"]), time_of_day, times=True),
            Line("rest_latest", "Begun at the latest", clock_text(rest["latest"]), time_of_day, times=True),
            Line("rest_within", "It may fall in the middle of a visit", "yes" if rules.rest_within else "no",
                 chosen(YES_NO), choices=YES_NO,
                 meaning="The visit then ends as much later. Local rules on rests go first."),
        )),
        Group("Second loads", "A van that cannot carry a whole day comes by its yard again.", lines=(
            Line("reload_min", "Another load takes", str(rules.reload_min), RULE_LIMITS["reload_min"], "min",
                 "In the yard, besides the drives there and on; 0: crews take all along in the morning."),
        )),
        Group("Hours of a week", "In the United States work past 40 hours a week is paid at one and a half.", lines=(
            Line("weekly_hours", "A crew's week is", str(rules.weekly_hours), RULE_LIMITS["weekly_hours"], "hours",
                 "From leaving the yard to being back, all days together; 0 counts none."),
            Line("weekly_percent", "Each minute past that costs", str(rules.weekly_percent),
                 RULE_LIMITS["weekly_percent"], "% more", "Of what a minute out of that crew costs."),
        )),
        Group("Slow hours on the road", "Plans are made with drives as they are timed. What slow hours do to a planned "
              "day is shown on the week sheet and on day sheets.", lines=(
            Line("slow_hours", "Drives take longer", slow_hours_text(rules.slow_hours), slow_hours,
                 meaning="Hours with percent, such as 7-9 25, 16-18 40; empty: no hour is slow.", wide=True),
        )),
        Group("The weeks ahead", "What is sold today is given a time weeks ahead, long before its week is posted.",
              lines=(
            Line("horizon_weeks", "Planned ahead", str(rules.horizon_weeks), RULE_LIMITS["horizon_weeks"],
                 to_say("weeks"), "Made anew every night; times may move until their week is posted, promises hold."),
            Line("crate_weeks", "A crate usually comes", str(rules.crate_weeks), RULE_LIMITS["crate_weeks"],
                 "weeks after the order", "Where the maker has named no day."),
            Line("count_days", "A crate is counted within", str(rules.count_days), RULE_LIMITS["count_days"], "days"),
        )),
        Group("Touchier work", "From here on the stricter weather limits hold; local rules and the maker's come first.",
              lines=(
            Line("tall_ladder_from_mm", "Tall ladder: fasteners from", tall, length, to_say("high"),
                 "Above the ground; either measure can be typed."),
            Line("large_awning_from_mm", "Large awning: from", large, length, to_say("wide"),
                 "Wide cloth catches the wind like a sail."),
        )),
        Group("Doubtful weather", lines=(
            Line("weather_open_percent", "An hour over a limit stays open below", str(rules.weather_open_percent),
                 RULE_LIMITS["weather_open_percent"], "% chance of being weathered out",
                 "A plan may then use it, at the price of that chance; 0 closes every such hour."),
            Line("weather_doubt_percent", "A visit can't go as posted from", str(rules.weather_doubt_percent),
                 RULE_LIMITS["weather_doubt_percent"], "% chance of being weathered out",
                 "By the newest forecast; the office is then asked for another time."),
            Line("rain_date_percent", "A rain date is proposed from", str(rules.rain_date_percent),
                 RULE_LIMITS["rain_date_percent"], "% chance of being weathered out",
                 "A second day, kept free for a posted visit that may be moved."),
        )),
        Group("Will it hold?", "What the odds on the week sheet are worked out with, besides the spread of task times.",
              lines=(
            Line("drive_p80_percent", "Four drives in five take at most", str(rules.drive_p80_percent),
                 RULE_LIMITS["drive_p80_percent"], "% longer than planned"),
            Line("late_delivery_percent", "A crate or part comes late", str(rules.late_delivery_percent),
                 RULE_LIMITS["late_delivery_percent"], "% of the time", "Each further day late is as rare again."),
            Line("odds_below_percent", "A visit is marked below", str(rules.odds_below_percent),
                 RULE_LIMITS["odds_below_percent"], "% chance to go as planned"),
            Line("weigh_late", "Late arrivals are weighed", "yes" if rules.weigh_late else "no", chosen(YES_NO),
                 choices=YES_NO, meaning="A week then takes the routes that are to be expected to cost least: a "
                 "little dearer as planned, with fewer customers kept waiting. Not where crews meet for a lift."),
        )),
    )  # fmt: skip

    def write(session: Session, values: Mapping[str, Any]) -> bool:
        new = dict(row.rules)
        plain = ("week_days", "plan_with", "tall_ladder_from_mm", "large_awning_from_mm", "weather_doubt_percent",
                 "weather_open_percent", "rain_date_percent", "drive_p80_percent", "late_delivery_percent",
                 "odds_below_percent", "horizon_weeks", "crate_weeks", "count_days", "weekly_hours", "weekly_percent",
                 "reload_min", "slow_hours")  # fmt: skip
        for name in plain:
            new[name] = values[name]
        new["rest"], new["rest_within"] = None, values["rest_within"] == "yes"
        new["weigh_late"] = values["weigh_late"] == "yes"
        if values["rest"] == "yes":
            new["rest"] = {name: values[f"rest_{name}"] for name in ("after", "length", "earliest", "latest")}
            if new["rest"]["latest"] < new["rest"]["earliest"]:
                raise BadValues([("rest_latest", "must not come before the earliest")])
        return _kept(session, row, new)

    return Part("week", "The week", "Which days are planned, the rest on the way, and where work gets touchier.",
                groups, write)  # fmt: skip


def prices(session: Session) -> Part:
    """Return the part with the prices of lateness, of leaving out, and of changing what customers were told."""
    row = held(session)
    now: Mapping[str, Any] = msgspec.to_builtins(rules_from_data(row.rules).prices)
    rows = tuple(
        (f"{gettext(label)}: {gettext(meaning)}", tuple(
            Line(f"{key}.{kind}", f"{gettext(label)}, {gettext(kind)}", dollars_text(now[key][kind]), cents, unit)
            for kind in KINDS
        ))
        for key, label, unit, meaning in _BY_KIND
    )  # fmt: skip
    by_kind = Group("For each kind of visit", heads=tuple(gettext(kind).capitalize() for kind in KINDS), rows=rows)
    told = tuple(
        Line(key, label, dollars_text(now[key]), cents, unit, meaning) for key, label, unit, meaning in _SINGLE
    )
    moves = Group("Changing what a customer was told",
                  "Moving a booking is allowed where it saves the week more than this.", lines=told)  # fmt: skip
    groups = (by_kind, moves)

    def write(session: Session, values: Mapping[str, Any]) -> bool:
        new = {key: {kind: values[f"{key}.{kind}"] for kind in KINDS} for key, *_ in _BY_KIND}
        return _kept(
            session, row, {**row.rules, "prices": {**new, **{key: values[key] for key, *_ in _SINGLE}}}
        )  # fmt: skip

    return Part("prices", "Prices", "What the planner weighs: money that the business would really miss.",
                groups, write)  # fmt: skip


def _kept(session: Session, row: Business, rules: dict[str, Any]) -> bool:
    """Store the rules, which are read back by the check that planning uses."""
    try:
        taken: Rules = rules_from_data(rules)
    except BadInput as fault:
        raise BadValues([(fault.where, fault.problem)]) from None
    return versions.update(session, row, {"rules": msgspec.to_builtins(taken)})


def _zone(text: str) -> str:
    try:
        zoneinfo.ZoneInfo(text)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
        raise BadInput("", f'must be the name of a time zone such as America/Chicago, is "{text}"') from None
    return text


def zones() -> Iterator[str]:
    """Yield the names of all time zones, to choose from."""
    yield from sorted(zoneinfo.available_timezones())
