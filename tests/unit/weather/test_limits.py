"""The table of limits as a business edits it."""

from __future__ import annotations

import pytest

from scheduler.errors import BadInput
from scheduler.weather.limits import DEFAULT_LIMITS, DEFAULT_LIMITS_CSV, WeatherWork, limits_for, read_limits


def values(work: WeatherWork) -> dict[str, float]:
    return {measure: limit.value for measure, limit in limits_for(DEFAULT_LIMITS, work).items()}


def test_the_strictest_row_of_kind_and_extras_holds() -> None:
    plain = values(WeatherWork("install", 120))
    tall = values(WeatherWork("install", 120, tall_ladder=True))
    both = values(WeatherWork("install", 120, tall_ladder=True, large_awning=True, sealant=True))
    assert (plain["wind_mph"], plain["gust_mph"], plain["rain_mm"]) == (20, 25, 0.5)
    assert (tall["wind_mph"], tall["gust_mph"], tall["heat_index_f"]) == (15, 20, 95)
    assert both["temp_least_c"] == 5  # the warmer limit is the stricter one
    assert both["rain_mm"] == 0.2
    assert "temp_least_c" not in values(WeatherWork("survey", 45))


def test_an_extra_never_makes_a_survey_less_careful_than_its_kind() -> None:
    for extra in ("tall_ladder", "large_awning", "sealant"):
        for kind in ("install", "survey", "repair"):
            bare = values(WeatherWork(kind, 60))
            more = values(WeatherWork(kind, 60, **{extra: True}))
            for measure, value in bare.items():
                stricter_up = measure in ("temp_least_c", "thunder_wait_min", "daylight_margin_min")
                assert more[measure] >= value if stricter_up else more[measure] <= value


def test_every_limit_says_why_and_where_from() -> None:
    for row in DEFAULT_LIMITS.rows:
        assert len(row.reason) > 10
        assert "common practice" in row.source or any(
            a in row.source for a in ("OSHA", "National Weather", "NWS", "civil")
        )


def test_tall_ladders_and_large_awnings_stop_earlier_than_any_kind() -> None:
    for measure in ("wind_mph", "gust_mph"):
        kinds = [
            r.value
            for r in DEFAULT_LIMITS.rows
            if r.measure == measure and r.applies_to in ("install", "survey", "repair")
        ]
        extras = [
            r.value
            for r in DEFAULT_LIMITS.rows
            if r.measure == measure and r.applies_to in ("tall ladder", "large awning")
        ]
        assert len(extras) == 2
        assert max(extras) < min(kinds)


@pytest.mark.parametrize(
    ("old", "new", "where", "words"),
    [
        ("install,wind_mph,20", "install,wind_mph,brisk", "line 2, value", '"brisk"'),
        ("install,wind_mph,20", "install,wind_mph,nan", "line 2, value", "must be a number"),
        ("install,wind_mph,20", "install,wind_mph,-1", "line 2, value", "from 0 to 30"),
        ("install,wind_mph", "instal,wind_mph", "line 2, applies_to", "install, survey, repair"),
        ("install,wind_mph", "install,wind_kmh", "line 2, measure", "wind_mph"),
        ("install,gust_mph", "install,wind_mph", "line 3", "stands already"),
        ("install,thunder_wait_min,30", "install,thunder_wait_min,10", "line 7, value", "30-30"),
        (",common practice\ninstall,rain_chance", ",\ninstall,rain_chance", "line 4, source", "common practice"),
        ("tall ladder,wind_mph,15", "tall ladder,wind_mph,28", "wind_mph of tall ladder", "do nothing"),
        ("applies_to,measure", "applies_to;measure", "first line", "must be applies_to,measure"),
        ("install,wind_mph,20,", "install,wind_mph,20,surplus,", "line 2", "more or fewer cells"),
    ],
)
def test_a_faulty_table_is_refused_with_the_line(old: str, new: str, where: str, words: str) -> None:
    assert old in DEFAULT_LIMITS_CSV
    with pytest.raises(BadInput) as fault:
        read_limits(DEFAULT_LIMITS_CSV.replace(old, new, 1))
    assert fault.value.where == where
    assert words in fault.value.problem


def test_a_limit_that_every_kind_needs_cannot_be_left_out() -> None:
    lines = [line for line in DEFAULT_LIMITS_CSV.splitlines() if not line.startswith("repair,gust_mph")]
    with pytest.raises(BadInput, match='no gust_mph for "repair"'):
        read_limits("\n".join(lines))


def test_a_table_saved_by_a_spreadsheet_is_read() -> None:
    assert read_limits("\ufeff" + DEFAULT_LIMITS_CSV.replace("\n", "\r\n") + "\r\n,,,,\r\n") == DEFAULT_LIMITS
