"""The forecast file that people can write by hand."""

from __future__ import annotations

import datetime

import pytest

from scheduler.errors import BadInput
from scheduler.weather.forecast import COLUMNS, forecast_from_csv, forecast_to_csv

ISSUED = datetime.datetime(2027, 3, 14, 18, tzinfo=datetime.UTC)
HEAD = ",".join(COLUMNS)
TEXT = f"""{HEAD}
2027-03-15T15:00Z,6,11,0.4,0.5,0.1,12,0.7
2027-03-15T09:00-04:00,4.5,,0,,,11.5,
"""


def test_rows_are_sorted_and_empty_means_not_reported() -> None:
    forecast = forecast_from_csv(TEXT, "by hand", ISSUED)
    first, second = forecast.hours
    assert first.start == datetime.datetime(2027, 3, 15, 13, tzinfo=datetime.UTC)
    assert (first.gust_mps, first.rain_chance, first.thunder_chance, first.humidity) == (None, None, None, None)
    assert first.rain_mm == 0
    assert second.gust_mps == 11
    assert second.start - first.start == datetime.timedelta(hours=2)


def test_written_and_read_back() -> None:
    forecast = forecast_from_csv(TEXT, "by hand", ISSUED)
    assert forecast_from_csv(forecast_to_csv(forecast), "by hand", ISSUED) == forecast


@pytest.mark.parametrize(
    ("row", "where", "words"),
    [
        ("2027-03-15T13:00,4,,,,,11,", "line 4, start_utc", "zone"),
        ("monday,4,,,,,11,", "line 4, start_utc", '"monday"'),
        ("2027-03-15T13:00Z,4,,,,,11,", "hours[1].start", "an hour or more after"),
        ("2027-03-15T14:30Z,4,,,,,11,", "hours[2].start", "an hour or more after"),
        ("2027-03-16T13:00Z,,,,,,11,", "line 4, wind_mps", "leave the whole line out"),
        ("2027-03-16T13:00Z,4,,,,,,", "line 4, temp_c", "must not be empty"),
        ("2027-03-16T13:00Z,468.5,,,,,11,", "line 4, wind_mps", "at most 113.5"),
        ("2027-03-16T13:00Z,-4,,,,,11,", "line 4, wind_mps", "at least 0"),
        ("2027-03-16T13:00Z,4,,,10,,11,", "line 4, rain_chance", "at most 1"),
        ("2027-03-16T13:00Z,4,,,,,nan,", "line 4, temp_c", ""),
        ("2027-03-16T13:00Z,4,,,,,11", "line 4", "more or fewer cells"),
    ],
)
def test_a_faulty_row_is_named(row: str, where: str, words: str) -> None:
    with pytest.raises(BadInput) as fault:
        forecast_from_csv(TEXT + row + "\n", "by hand", ISSUED)
    assert fault.value.where == where
    assert words in fault.value.problem


def test_an_issue_time_without_zone_is_refused() -> None:
    with pytest.raises(BadInput, match="issued"):
        forecast_from_csv(TEXT, "by hand", datetime.datetime(2027, 3, 14, 18))
