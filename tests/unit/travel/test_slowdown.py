"""Slow hours become one factor for the week: the mean over the working day, or its worst hour."""

import pytest

from scheduler.errors import BadInput
from scheduler.travel import Slowdowns, week_factor

RUSH = Slowdowns({"7": 1.5, "8": 1.3, "17": 1.4})


def test_the_mean_weighs_each_minute_of_the_working_day() -> None:
    # 7:30 to 9:00: half an hour at 1.5, an hour at 1.3.
    assert week_factor(RUSH, 450, 540) == pytest.approx((0.5 * 1.5 + 1.3) / 1.5)
    # 7:00 to 17:00: 1.5, 1.3 and eight hours at 1; the hour from 17:00 is not part of it.
    assert week_factor(RUSH, 420, 1020) == pytest.approx((1.5 + 1.3 + 8) / 10)


def test_the_worst_hour_counts_only_when_the_working_day_touches_it() -> None:
    assert week_factor(RUSH, 420, 1020, "worst") == 1.5
    assert week_factor(RUSH, 480, 1020, "worst") == 1.3
    assert week_factor(RUSH, 480, 1021, "worst") == 1.4
    assert week_factor(RUSH, 540, 600, "worst") == 1


@pytest.mark.parametrize("hour", ["24", "-1", "07", "seven", ""])
def test_a_key_that_is_no_hour_is_named(hour: str) -> None:
    with pytest.raises(BadInput) as fault:
        week_factor(Slowdowns({hour: 1.2}), 420, 1020)
    assert fault.value.where == f"factor_by_hour.{hour}"


@pytest.mark.parametrize(("start", "end"), [(600, 600), (700, 600), (-1, 60), (0, 1441)])
def test_an_impossible_working_day_is_refused(start: int, end: int) -> None:
    with pytest.raises(BadInput, match="end"):
        week_factor(RUSH, start, end)
