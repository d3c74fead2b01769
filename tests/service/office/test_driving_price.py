"""What driving costs is entered and shown by the mile where a business measures in feet, by the km where in meters."""

from __future__ import annotations

import pytest
from fastapi import FastAPI

from api import tables
from api.access.accounts import Role
from api.business.part import driving_cents, driving_text
from api.database import transaction
from api.office.kind import driving
from scheduler.errors import BadInput
from tests.service.cast import PAGE, signed_in


@pytest.mark.parametrize(
    ("text", "units", "cents"),
    [
        ("0.50", "metric", 50),
        ("0.80", "imperial", 50),
        ("$0.80/mi", "metric", 50),
        ("0.5 / km", "imperial", 50),
        ("0.8 per mile", "metric", 50),
        ("1 a km", "imperial", 100),
        ("0", "imperial", 0),
    ],
)
def test_amounts_are_read_in_the_own_measure_or_in_that_which_they_name(text: str, units: str, cents: int) -> None:
    assert driving_cents(text, units) == cents


@pytest.mark.parametrize("text", ["", "much", "0.5/h", "-1", "0.5/kmh"])
def test_what_is_no_price_of_driving_is_refused(text: str) -> None:
    with pytest.raises(BadInput):
        driving_cents(text, "imperial")


def test_what_is_shown_is_read_back_as_the_same() -> None:
    for units in ("imperial", "metric"):
        assert all(driving_cents(driving_text(cents, units), units) == cents for cents in range(1000))


def test_a_file_whose_head_says_km_means_km() -> None:
    column = driving("crew", "km_cents", "A mile or km, $")
    assert column.by_head is not None
    assert column.by_head("A km, $", "0.55") == "0.55/km"
    assert column.by_head("A km, $", "0.55/mi") == "0.55/mi"
    assert column.by_head("Driving", "0.55") == "0.55"


def test_both_pages_of_a_crew_say_the_same(app: FastAPI) -> None:
    with transaction(app.state.database) as session:
        session.get_one(tables.Crew, "north-1").km_cents = 39
    manager = signed_in(app, Role.manager)
    form = "/set-up/crews/row?key=north-1"
    for units, shown in (("imperial", "0.63/mi"), ("metric", "0.39/km")):
        with transaction(app.state.database) as session:
            session.get_one(tables.Business, 1).units = units
        assert f'value="{shown}"' in manager.get(form, headers=PAGE).text
        assert f'value="{shown}"' in manager.get("/settings/crews", headers=PAGE).text
