"""Lengths and weights as they may be typed by mistake: refused in a sentence, however long they are."""

from __future__ import annotations

import pytest

from api.fields.measures import office_length, office_weight
from scheduler.errors import BadInput


@pytest.mark.parametrize("units", ["imperial", "metric"])
@pytest.mark.parametrize("text", ["9" * 400, "9" * 5000, "1" * 310 + ".5", "0." + "0" * 5000 + "1"])
def test_a_figure_of_hundreds_of_digits_is_refused_in_a_sentence(text: str, units: str) -> None:
    for read in (office_weight, office_length):
        with pytest.raises(BadInput) as refused:
            read(text, units)
        assert len(refused.value.problem) < 250


def test_a_bare_weight_is_pounds_where_the_business_measures_in_feet() -> None:
    assert (office_weight("100", "imperial"), office_weight("100", "metric")) == (45, 100)
