"""Calendar feeds against the rules and examples of RFC 5545 (source.md), read by a second parser (vobject)."""

from __future__ import annotations

import datetime
import io
import re
import zoneinfo
from pathlib import Path

import dateutil.tz  # type: ignore[import-untyped]
import icalendar
import pytest
import vobject  # type: ignore[import-untyped]
from hypothesis import given
from hypothesis import strategies as st

from api import tables
from api.feeds.calendar import CalendarEvent, Revision, _add_zone, _calendar, _entry
from api.ledger.plans.days import PostedStop

HERE = Path(__file__).parent
BUSINESS = tables.Business(
    name="Tallow Bend Awning Works", town="Tallow Bend", timezone="America/New_York", units="imperial", rules={},
    limits="", times="",
)  # fmt: skip
AT = datetime.datetime(2027, 3, 1, 15, 30, tzinfo=datetime.UTC)


def feed(
    description: str = "words",
    *,
    date: datetime.date = datetime.date(1998, 3, 12),
    hold: str = "firm",
    off: bool = False,
) -> bytes:
    """Return our feed with one event, from 8:30 to 9:30 by the clock of New York."""
    stop = PostedStop("north-1", date, 510, 570)
    event = CalendarEvent(Revision(AT, None if off else stop, hold), stop, 2)
    place, geo = "1; Back\\Lane, T, U", (41.5, -98.25)
    calendar = _calendar("Feed", BUSINESS)
    calendar.add_component(
        _entry(event, BUSINESS, uid="J@x.eaveboard", summary="Summary", description=description, place=place, geo=geo)
    )
    _add_zone(calendar, BUSINESS.timezone)
    return bytes(calendar.to_ical())


def lines_of(data: bytes) -> list[str]:
    """Return the content lines, unfolded as 3.1 says: CRLF and one blank or tab are taken out, before decoding."""
    return re.sub(rb"\r\n[ \t]", b"", data).decode().split("\r\n")[:-1]


def test_unfolding_is_that_of_the_example() -> None:
    assert lines_of((HERE / "folded.txt").read_bytes()) == lines_of((HERE / "unfolded.txt").read_bytes())


@pytest.mark.slow
# U+FEFF is left out: at the start of a text readers take it for a byte order mark.
@given(
    st.text(st.characters(exclude_categories=["Cs", "Cc"], exclude_characters="\ufeff") | st.just("\n"), max_size=300)
)
def test_lines_are_folded_at_75_octets_and_the_text_comes_back(text: str) -> None:
    data = feed(text)
    physical = data.split(b"\r\n")
    assert all(len(line) <= 75 for line in physical)
    assert b"\n" not in data.replace(b"\r\n", b"")
    assert physical[-1] == b""
    found = [line for line in lines_of(data) if line.startswith("DESCRIPTION:")]
    escaped = found[0].removeprefix("DESCRIPTION:") if found else ""
    back = re.sub(r"\\(.)", lambda m: "\n" if m[1] in "nN" else m[1], escaped)  # 3.3.11
    assert back == text
    assert not re.search(r"(?<!\\)(?:\\\\)*[,;]", escaped)


def test_our_meeting_is_at_the_moment_of_the_rfcs() -> None:
    theirs = vobject.readOne((HERE / "meeting.ics").read_bytes().decode()).vevent
    ours = vobject.readOne(feed().decode()).vevent
    assert ours.dtstart.value == theirs.dtstart.value == datetime.datetime(1998, 3, 12, 13, 30, tzinfo=datetime.UTC)
    assert ours.dtend.value == theirs.dtend.value
    assert [line for line in lines_of(feed()) if line.startswith(("DTSTART;", "DTEND;"))] == [
        line for line in lines_of((HERE / "meeting.ics").read_bytes()) if line.startswith(("DTSTART;", "DTEND;"))
    ]


@pytest.mark.parametrize("hold", ["firm", "day", "soft"])
@pytest.mark.parametrize("off", [False, True])
def test_an_event_has_what_it_must_and_nothing_twice(hold: str, off: bool) -> None:
    lines = lines_of(feed(hold=hold, off=off))
    assert lines[0] == "BEGIN:VCALENDAR"
    assert lines[-1] == "END:VCALENDAR"
    inside = lines[lines.index("BEGIN:VEVENT") + 1 : lines.index("END:VEVENT")]
    names = [re.split("[;:]", line)[0] for line in inside]
    assert len(names) == len(set(names))
    assert {"UID", "DTSTAMP", "DTSTART", "DTEND", "SEQUENCE", "STATUS"} <= set(names)
    assert "DTSTAMP:20270301T153000Z" in inside
    assert "SEQUENCE:2" in inside
    status = "CANCELLED" if off else {"firm": "CONFIRMED", "day": "CONFIRMED", "soft": "TENTATIVE"}[hold]
    assert f"STATUS:{status}" in inside
    if hold == "day":
        assert "DTSTART;VALUE=DATE:19980312" in inside
        assert "DTEND;VALUE=DATE:19980313" in inside  # the day after: DTEND is not part of the event (3.6.1)
    assert "LOCATION:1\\; Back\\\\Lane\\, T\\, U" in inside
    assert "GEO:41.5;-98.25" in inside
    assert lines.count("VERSION:2.0") == sum(line.startswith("PRODID:") for line in lines) == 1
    assert not any(line.startswith("METHOD") for line in lines)


@pytest.mark.parametrize(
    ("date", "utc_hour"),
    [(datetime.date(2027, 3, 13), 13), (datetime.date(2027, 3, 14), 12), (datetime.date(2027, 11, 7), 13)],
)
def test_the_time_zone_is_in_the_feed_and_right_round_a_clock_change(date: datetime.date, utc_hour: int) -> None:
    """The clocks of New York change on March 14 and November 7, 2027; 8:30 is after the change on both days."""
    data = feed(date=date)
    lines = lines_of(data)
    assert "TZID:America/New_York" in lines[lines.index("BEGIN:VTIMEZONE") : lines.index("END:VTIMEZONE")]
    own = data.replace(b"America/New_York", f"New York {date}".encode())  # vobject keeps each name's first rules
    start = vobject.readOne(own.decode()).vevent.dtstart.value
    assert start == datetime.datetime(date.year, date.month, date.day, utc_hour, 30, tzinfo=datetime.UTC)


def test_daylight_time_begins_by_the_clock_before_the_change_as_in_the_rfcs_example() -> None:
    """The example's April 4, 1999: DTSTART:19990404T020000 with TZOFFSETFROM:-0500, and October 25, 1998."""
    ours = lines_of(feed())
    theirs = lines_of((HERE / "meeting.ics").read_bytes())
    for kind in ("STANDARD", "DAYLIGHT"):
        start = theirs.index(f"BEGIN:{kind}")
        part = set(theirs[start + 1 : theirs.index(f"END:{kind}")])
        starts = [n for n, line in enumerate(ours) if line == f"BEGIN:{kind}"]
        assert part in [set(ours[n + 1 : ours.index(f"END:{kind}", n)]) for n in starts]


@pytest.mark.parametrize("timezone", ["America/Chicago", "America/Phoenix", "Europe/Berlin", "Australia/Lord_Howe"])
def test_every_hour_of_the_year_is_told_right(timezone: str) -> None:
    """By dateutil's reader of VTIMEZONE, against the zone database."""
    business = tables.Business(**{**BUSINESS.model_dump(), "timezone": timezone})
    zone = zoneinfo.ZoneInfo(timezone)
    calendar = _calendar("Feed", business)
    event = icalendar.Event()
    event.add("dtstart", datetime.datetime(2027, 6, 1, 8, tzinfo=zone))
    calendar.add_component(event)
    _add_zone(calendar, timezone)
    told = dateutil.tz.tzical(io.StringIO(calendar.to_ical().decode().replace("\r\n", "\n"))).get(timezone)
    hour = datetime.datetime(2027, 1, 1, 0, 30)
    while hour.year == 2027:
        if hour.replace(tzinfo=zone).utcoffset() == hour.replace(tzinfo=zone, fold=1).utcoffset():
            assert told.utcoffset(hour) == zone.utcoffset(hour), hour
        hour += datetime.timedelta(hours=1)
