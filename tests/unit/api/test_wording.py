"""How a business writes times, lengths and money: the same value and the same sentence in each way."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.fields import shown
from api.fields.files.sheets import time_of_day
from api.fields.wording import PLAIN, Wording, worded
from scheduler.units import both

US, METRIC = Wording("12", "imperial", "$"), Wording("24", "metric", "€")


@given(st.integers(0, 24 * 60 - 1))
def test_a_time_is_read_back_as_it_is_written_either_way(minutes: int) -> None:
    for wording in (PLAIN, US):
        assert time_of_day(wording.time(minutes)) == minutes
    assert US.say(PLAIN.time(minutes)) == US.time(minutes)
    assert US.say(US.time(minutes)) == US.time(minutes)  # what is written so already stays


@pytest.mark.parametrize(
    ("plain", "american"),
    [
        ("free from 8:16 to 14:05.", "free from 8:16 am to 2:05 pm."),
        ("Tue 0:30–12:00 lost: gusts", "Tue 12:30 am–12:00 pm lost: gusts"),
        ("2027-04-12T14:28:00+00:00", "2027-04-12T14:28:00+00:00"),
        ("north-1:0:480", "north-1:0:480"),
        ("a slope of 1:12.5", "a slope of 1:12.5"),
        ("3:5", "3:5"),
        ("at 25:10", "at 25:10"),
    ],
)
def test_only_times_of_day_are_put_in_other_words(plain: str, american: str) -> None:
    assert US.say(plain) == american
    assert PLAIN.say(plain) == plain


def test_lengths_weights_and_money() -> None:
    assert METRIC.say(f"Bracket at {both(3823)}, 5 more than {both(100)}.") == "Bracket at 3823 mm, 5 more than 100 mm."
    assert METRIC.say("35 kg (77 lb) in a steady 24 mph") == "35 kg in a steady 39 km/h"
    assert US.say("31 lb (14 kg), 9 am none, 2:28 pm") == "31 lb, 9 am none, 2:28 pm"
    assert METRIC.say("31 lb (14 kg), 9 am none, 12 pm all") == "14 kg, 9:00 none, 12:00 all"
    assert US.say("35 kg (77 lb) in a steady 24 mph") == "77 lb in a steady 24 mph"
    assert METRIC.say("would save $310.") == "would save €310."
    # The planner's sentences have cents, which pages write no smaller than they matter.
    assert US.say("$1,710.62 worse, at most $28.50, or $8.00 more") == "$1,711 worse, at most $28, or $8.00 more"
    assert METRIC.say("it would save $692.00.") == "it would save €692."
    with worded(lambda: METRIC):
        written = [shown.feet(4267), shown.length(3823), shown.pounds(60), shown.dollars(123_456), shown.clock(868)]
    assert written == ["4.27 m", "3823 mm", "60 kg", "€1,235", "14:28"]
    with worded(lambda: US):
        written = [shown.feet(4267), shown.length(3823), shown.pounds(60), shown.dollars(123_456), shown.clock(868)]
    assert written == ["14 ft", "12' 6 1/2\"", "132 lb", "$1,235", "2:28 pm"]
    assert shown.clock(868) == "14:28"


def test_it_is_asked_once_and_only_where_something_is_written() -> None:
    asked = []

    def find() -> Wording:
        asked.append(1)
        return US

    with worded(find):
        assert not asked
        assert [shown.clock(60), shown.clock(61)] == ["1:00 am", "1:01 am"]
    assert asked == [1]
