"""The wind above which no table of limits may allow work (see source.md)."""

from __future__ import annotations

import pytest

from scheduler.errors import BadInput
from scheduler.weather.limits import DEFAULT_LIMITS, DEFAULT_LIMITS_CSV, HIGH_WIND_MATERIAL_MPH, read_limits


def test_no_default_limit_allows_high_wind_with_material() -> None:
    winds = [row.value for row in DEFAULT_LIMITS.rows if row.measure in ("wind_mph", "gust_mph")]
    assert winds
    assert max(winds) <= HIGH_WIND_MATERIAL_MPH == 30


@pytest.mark.parametrize("mph", ["30.1", "35", "100"])
@pytest.mark.parametrize("row", ["install,wind_mph,20", "survey,gust_mph,30", "tall ladder,gust_mph,20"])
def test_a_table_that_allows_more_is_refused(row: str, mph: str) -> None:
    assert row in DEFAULT_LIMITS_CSV
    with pytest.raises(BadInput, match="high wind for handling material"):
        read_limits(DEFAULT_LIMITS_CSV.replace(row, f"{row.rpartition(',')[0]},{mph}"))


def test_exactly_thirty_is_allowed() -> None:
    table = read_limits(DEFAULT_LIMITS_CSV.replace("install,gust_mph,25", "install,gust_mph,30"))
    assert [row.value for row in table.rows if (row.applies_to, row.measure) == ("install", "gust_mph")] == [30]
