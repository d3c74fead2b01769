"""Every refusal of the week document: one sentence that begins with the path to the key."""

from __future__ import annotations

import datetime
import json
from typing import Any

import msgspec
import pytest

from scheduler.documents import encode
from scheduler.errors import BadInput
from scheduler.week import checked, clock_time, day_name, read_week, week_from_data
from tests import contract

JOB: dict[str, Any] = {
    "id": "alder", "place": "hill", "yard": "yard", "minutes": 90, "hands": 2, "weight_kg": 60, "box_mm": 4200,
    "boxes": 1, "skills": ["masonry"], "equipment": {"ladder-24": 1}, "parts": {"anchor-1/2": 4}, "ready_day": 0,
    "windows": [{"day": 0, "start": 480, "end": 720, "risk_cents": 0}], "due_day": -1, "late_cents": 500,
    "skip_cents": 40000,
    "booked": {"crew": "oak", "day": 0, "start": 500, "hold": "day", "move_cents": 1, "retime_cents": 2,
               "recrew_cents": 3},
}  # fmt: skip
FOLLOW = {"first": "alder", "then": "birch", "min_days": 0, "max_days": 1, "same_crew": False}
WEEK: dict[str, Any] = {
    "format": "week/1", "id": "w", "start_date": "2027-03-15", "days": 2, "timezone": "America/Denver",
    "places": [{"id": "yard", "lat": 40, "lon": -105.5}, {"id": "hill", "lat": 40.1, "lon": -105}],
    "travel": {"minutes": [[0, 20], [25, 0]], "metres": [[0, 15000], [16000, 0]]},
    "rest": {"after": 360, "length": 30, "earliest": 660, "latest": 840},
    "yards": [{"id": "yard", "place": "yard"}],
    "crews": [
        {"id": "oak", "yard": "yard", "hands": 2, "skills": ["masonry"],
         "shifts": [{"day": 0, "start": 420, "end": 960, "overtime": 60}, {"day": 1, "start": 420, "end": 960,
                                                                         "overtime": 0}],
         "vehicle": {"payload_kg": 600, "rack_mm": 7000, "boxes": 4}, "onboard": {"ladder-24": 1}, "day_cents": 5000,
         "minute_cents": 90, "overtime_minute_cents": 45, "km_cents": 80},
    ],
    "helpers": [{"yard": "yard", "day": 1, "count": 1, "day_cents": 18000}],
    "equipment": [{"id": "ladder-24", "yard": "yard", "count": [1, 1]}],
    "stock": [{"id": "anchor-1/2", "yard": "yard", "on_hand": 10, "arrivals": [{"day": 1, "qty": 6}]}],
    "jobs": [JOB, {**JOB, "id": "birch", "booked": None}, {**JOB, "id": "cedar", "booked": None, "yard": None}],
    "follows": [FOLLOW],
    "broken_cents": 400000,
}  # fmt: skip
GONE = object()


def changed(path: str, value: Any) -> dict[str, Any]:
    """Return WEEK with `value` at `path` (`jobs.0.windows.0.end`); GONE takes the key out."""
    data: dict[str, Any] = json.loads(json.dumps(WEEK))
    *way, last = [int(key) if key.isdigit() else key for key in path.split(".")]
    holder: Any = data
    for key in way:
        holder = holder[key]
    if value is GONE:
        del holder[last]
    else:
        holder[last] = value
    return data


def test_a_valid_week_reads_back_as_it_was_written() -> None:
    week = week_from_data(WEEK)
    assert week.start_date == datetime.date(2027, 3, 15)
    assert week.jobs[0].booked is not None
    assert week.jobs[0].due_day == -1
    assert read_week(encode(week)) == week
    assert read_week(b"\xef\xbb\xbf" + encode(week)) == week  # some editors put a mark before UTF-8


def test_an_empty_week_is_a_week() -> None:
    lists = ("places", "yards", "crews", "helpers", "equipment", "stock", "jobs", "follows")
    nothing: dict[str, Any] = {key: [] for key in lists}
    week = week_from_data(WEEK | nothing | {"travel": {"minutes": [], "metres": []}, "rest": None})
    assert (week.jobs, week.crews) == ((), ())


REFUSED = [
    # keys and types
    ("note", 1, "note: is not a key"),
    ("jobs.1.Minutes", 90, "jobs[1].Minutes: is not a key"),
    ("jobs.1.", 90, 'jobs[1]."": is not a key'),
    ("broken_cents", GONE, "broken_cents: is missing"),
    ("jobs.2.windows.0.risk_cents", GONE, "jobs[2].windows[0].risk_cents: is missing"),
    ("format", "week/3", 'format: must be "week/1" or "week/2", is "week/3"'),
    ("id", "", "id: must not be empty"),
    ("days", 0, "days: must be at least 1, is 0"),
    ("days", 2.5, "days: must be a whole number, is 2.5"),
    ("days", True, "days: must be a whole number, is true"),
    ("jobs.0.minutes", -1, "jobs[0].minutes: must be at least 0, is -1"),
    ("jobs.0.minutes", "90", 'jobs[0].minutes: must be a whole number, is "90"'),
    ("jobs.0.minutes", None, "jobs[0].minutes: must be a whole number, is null"),
    ("jobs.0.minutes", float("nan"), "jobs[0].minutes: must be a finite number, is nan"),
    ("jobs.0.minutes", 10**40, "jobs[0].minutes: must be at most 1000000, is 1000000000"),
    ("jobs.0.due_day", "soon", 'jobs[0].due_day: must be a whole number or null, is "soon"'),
    ("jobs.0.skills", "masonry", 'jobs[0].skills: must be a list, is "masonry"'),
    ("jobs.0.skills.0", "", "jobs[0].skills[0]: must not be empty"),
    ("jobs.0.skip_cents", -5, "jobs[0].skip_cents: must be at least 0, is -5"),
    ("jobs.0.parts.anchor-1/2", -4, "jobs[0].parts.anchor-1/2: must be at least 0, is -4"),
    ("jobs.0.parts.anchor-1/2", 5_000_000, "jobs[0].parts.anchor-1/2: must be at most 1000000, is 5000000"),
    ("jobs.0.equipment.scaffold", 1.5, "jobs[0].equipment.scaffold: must be a whole number, is 1.5"),
    ("jobs.0.equipment.", 1, "jobs[0].equipment: has an entry without a name"),
    ("crews.0.onboard.ladder-24", None, "crews[0].onboard.ladder-24: must be a whole number, is null"),
    ("jobs.0.booked.hold", "loose", 'jobs[0].booked.hold: must be "firm", "day" or "soft", is "loose"'),
    ("follows.0.same_crew", 1, "follows[0].same_crew: must be true or false, is 1"),
    ("places.0.lat", 91, "places[0].lat: must be at most 90, is 91"),
    ("places.0.lon", float("inf"), "places[0].lon: must be a finite number, is inf"),
    ("places.0.lat", "40", 'places[0].lat: must be a number, is "40"'),
    ("jobs", {}, "jobs: must be a list, is {}"),
    ("rest", [], "rest: must be an object or null, is []"),
    ("start_date", "15 March", 'start_date: must be a date such as 2027-03-15, is "15 March"'),
    ("start_date", "2027-02-30", 'start_date: must be a date such as 2027-03-15, is "2027-02-30"'),
    ("start_date", 20270315, "start_date: must be a date such as 2027-03-15, is 20270315"),
    ("timezone", "Denver", 'timezone: "Denver" is not an IANA zone'),
    ("timezone", "../etc/passwd", "timezone: "),
    ("timezone", "\x00", 'timezone: "\\u0000" is not an IANA zone'),
    ("jobs.0.id", "\ud800", "jobs[0].id: holds half a character"),
    # days and times
    ("crews.0.shifts.1.day", 2, "crews[0].shifts[1].day: must be a day of this week, 0 to 1, is 2"),
    ("crews.0.shifts.0.end", 420, "crews[0].shifts[0].end: must come after start (420), is 420"),
    ("crews.0.shifts.0.overtime", -1, "crews[0].shifts[0].overtime: must be at least 0, is -1"),
    ("helpers.0.day", 2, "helpers[0].day: must be a day of this week"),
    ("stock.0.arrivals.0.day", 2, "stock[0].arrivals[0].day: must be a day of this week"),
    ("jobs.2.windows.0.day", 2, "jobs[2].windows[0].day: must be a day of this week"),
    ("jobs.2.windows.0.day", -1, "jobs[2].windows[0].day: must be at least 0"),
    ("jobs.2.windows.0.end", 480, "jobs[2].windows[0].end: must come after start (480), is 480"),
    ("jobs.2.ready_day", 2, "jobs[2].ready_day: must be a day of this week"),
    ("jobs.0.booked.day", 2, "jobs[0].booked.day: must be a day of this week"),
    ("rest.latest", 600, "rest.latest: must not come before earliest (660), is 600"),
    # ids: doubled
    ("places.1.id", "yard", 'places[1].id: id "yard" stands already in places[0]'),
    ("jobs.2.id", "alder", 'jobs[2].id: id "alder" stands already in jobs[0]'),
    ("yards", WEEK["yards"] * 2, 'yards[1].id: id "yard" stands already in yards[0]'),
    ("crews", WEEK["crews"] * 2, 'crews[1].id: id "oak" stands already in crews[0]'),
    ("crews.0.shifts.1.day", 0, "crews[0].shifts[1].day: day 0 stands already in crews[0].shifts[0]"),
    ("helpers", WEEK["helpers"] * 2, 'helpers[1].yard: yard and day "yard" and 1 stands already in helpers[0]'),
    ("equipment", WEEK["equipment"] * 2, "equipment[1].id: id and yard"),
    ("stock", WEEK["stock"] * 2, "stock[1].id: id and yard"),
    ("follows", [FOLLOW, FOLLOW], "follows[1].first: first and then"),
    # ids: dangling
    ("yards.0.place", "moor", 'yards[0].place: no place has the id "moor"'),
    ("crews.0.yard", "moor", 'crews[0].yard: no yard has the id "moor"'),
    ("helpers.0.yard", "moor", 'helpers[0].yard: no yard has the id "moor"'),
    ("equipment.0.yard", "moor", 'equipment[0].yard: no yard has the id "moor"'),
    ("stock.0.yard", "moor", 'stock[0].yard: no yard has the id "moor"'),
    ("jobs.0.place", "moor", 'jobs[0].place: no place has the id "moor"'),
    ("jobs.0.yard", "moor", 'jobs[0].yard: no yard has the id "moor"'),
    ("jobs.0.booked.crew", "moor", 'jobs[0].booked.crew: no crew has the id "moor"'),
    ("follows.0.first", "moor", 'follows[0].first: no job has the id "moor"'),
    ("follows.0.then", "moor", 'follows[0].then: no job has the id "moor"'),
    # sizes
    ("travel.minutes", [[0, 20]], "travel.minutes: must have one row a place (2), has 1"),
    ("travel.metres.1", [16000], "travel.metres[1]: must have one number a place (2), has 1"),
    ("travel.minutes.1", [25, 3], "travel.minutes[1][1]: must be 0, from a place to itself, is 3"),
    ("travel.minutes.0.1", -1, "travel.minutes[0][1]: must be at least 0, is -1"),
    ("equipment.0.count", [1], "equipment[0].count: must hold one number a day (2), holds 1"),
    # follows
    ("follows.0.max_days", -1, "follows[0].max_days: must be at least 0"),
    ("follows.0", FOLLOW | {"min_days": 2}, "follows[0].max_days: must not be less than min_days (2), is 1"),
    ("follows.0", FOLLOW | {"then": "alder"}, "follows[0]: closes a circle (alder → alder)"),
]


@pytest.mark.parametrize(("path", "value", "says"), REFUSED, ids=[f"{p}-{n}" for n, (p, _, _) in enumerate(REFUSED)])
def test_refuses_in_one_sentence_with_the_way_to_the_key(path: str, value: Any, says: str) -> None:
    with pytest.raises(BadInput) as caught:
        week_from_data(changed(path, value))
    sentence = str(caught.value)
    assert sentence.startswith(says)
    assert "\n" not in sentence
    assert len(sentence) < 200
    assert sentence.startswith(caught.value.where + ": ")


def test_the_circle_named_is_the_circle_itself_not_what_hangs_on_it() -> None:
    pairs = [("cedar", "alder"), ("alder", "birch"), ("birch", "alder")]
    data = changed("follows", [FOLLOW | {"first": a, "then": b} for a, b in pairs])
    with pytest.raises(
        BadInput, match=r"follows\[2\]: closes a circle \((alder → birch → alder|birch → alder → birch)\)"
    ):
        week_from_data(data)


def test_a_long_chain_of_follows_is_no_circle() -> None:
    jobs = [{**JOB, "id": f"j{n}", "booked": None} for n in range(5000)]
    chain = [FOLLOW | {"first": f"j{n}", "then": f"j{n + 1}"} for n in range(4999)]
    week = week_from_data(WEEK | {"jobs": jobs, "follows": chain})
    assert len(week.follows) == 4999


def test_what_the_format_allows_is_not_refused() -> None:
    overlapping = [{"day": 0, "start": 480, "end": 600, "risk_cents": 5}, {"day": 0, "start": 500, "end": 700,
                                                                        "risk_cents": 0}]  # fmt: skip
    for path, value in [
        ("jobs.0.windows", overlapping),
        ("jobs.0.windows", []),
        ("jobs.0.minutes", 0),
        ("jobs.0.due_day", 40),
        ("jobs.0.ready_day", None),
        ("crews.0.shifts", []),  # a booking's crew may be off
        ("equipment", []),
        ("stock", []),
        ("follows.0.max_days", None),
        ("crews.0.shifts.0.end", 5000),
        ("travel.metres", [[0, 1], [2, 0]]),
    ]:
        week_from_data(changed(path, value))


def test_a_week_built_in_code_is_checked_too() -> None:
    week = week_from_data(WEEK)
    with pytest.raises(BadInput, match="start_date: must be a date"):
        checked(msgspec.structs.replace(week, start_date=datetime.datetime(2027, 3, 15, 8)))


@pytest.mark.parametrize("form", ["week/1", "week/2"])
def test_the_weeks_of_the_format_are_read_and_written_as_they_are(form: str) -> None:
    contract.here("weeks")
    files = contract.weeks(form)
    assert files
    for file in files:
        raw = file.read_bytes()
        week = read_week(raw)
        assert week.format == form
        assert json.loads(msgspec.json.encode(week)) == json.loads(raw)


def test_times_and_days_as_people_write_them() -> None:
    week = week_from_data(WEEK)
    assert [clock_time(m) for m in (0, 510, 1439, 1510, -5)] == ["0:00", "8:30", "23:59", "25:10", "-0:05"]
    assert [day_name(week, d) for d in (0, 1, -1, 300)] == ["Mon Mar 15", "Tue Mar 16", "Sun Mar 14", "Sun Jan 9"]
    assert day_name(week, 10_000_000) == "day 10000000"
