"""What driving costs is entered and shown by the mile where a business measures in feet, by the km where in meters."""

from __future__ import annotations

import datetime

import pytest
from fastapi import FastAPI

from api import tables
from api.access.accounts import Role
from api.business.part import dollars_text, driving_cents, driving_text
from api.database import transaction
from api.office.kind import driving
from api.week.run.planning import prepare_week
from scheduler.errors import BadInput
from tests.service.cast import JSON, PAGE, signed_in


@pytest.mark.parametrize(
    ("text", "units", "cents"),
    [
        ("0.50", "metric", 50),
        ("0.80", "imperial", 49.7097),  # 80 / 1.609344
        ("$0.80/mi", "metric", 49.7097),
        ("0.5 / km", "imperial", 50),
        ("0.8 per mile", "metric", 49.7097),
        ("1 a km", "imperial", 100),
        ("0", "imperial", 0),
    ],
)
def test_amounts_are_read_in_the_own_measure_or_in_that_which_they_name(text: str, units: str, cents: float) -> None:
    assert driving_cents(text, units) == cents


@pytest.mark.parametrize("text", ["", "much", "0.5/h", "-1", "0.5/kmh"])
def test_what_is_no_price_of_driving_is_refused(text: str) -> None:
    with pytest.raises(BadInput):
        driving_cents(text, "imperial")


def test_what_is_shown_is_read_back_as_the_same_whole_cents_of_a_plan() -> None:
    for units in ("imperial", "metric"):
        assert all(round(driving_cents(driving_text(cents, units), units)) == cents for cents in range(1000))


def test_what_was_typed_is_shown_again() -> None:
    for units, measure in (("imperial", "mi"), ("metric", "km")):
        for cents in range(1000):
            typed = f"{dollars_text(cents)}/{measure}"
            assert driving_text(driving_cents(typed, units), units) == typed


def test_a_price_by_the_mile_is_kept_and_shown_as_it_was_typed(app: FastAPI) -> None:
    with transaction(app.state.database) as session:
        session.get_one(tables.Business, 1).units = "imperial"
    manager = signed_in(app, Role.manager)
    settings = "/settings/crews"
    for typed in ("0.65", "0.66/mi", "0.64"):
        mark = manager.get(settings, headers=JSON).headers["etag"].strip('"')
        typed_in = {"mark": mark, "north-1.km_cents": typed}
        saved = manager.post(settings, data=typed_in, headers=PAGE, follow_redirects=False)
        assert saved.status_code == 303, saved.text
        assert '<th scope="col">A mile</th>' in manager.get(settings, headers=PAGE).text
        shown = f"{typed.removesuffix('/mi')}/mi"
        for at in (settings, "/set-up/crews/row?key=north-1"):
            assert f'value="{shown}"' in manager.get(at, headers=PAGE).text, at
    with transaction(app.state.database) as session:
        assert session.get_one(tables.Crew, "north-1").km_cents == pytest.approx(64 / 1.609344, abs=5e-5)
    monday = datetime.date(2027, 4, 12)
    week = prepare_week(app.state.database, monday, datetime.datetime(2027, 4, 8, tzinfo=datetime.UTC)).built.week
    assert next(crew for crew in week.crews if crew.id == "north-1").km_cents == 40  # the form has whole cents


def test_a_file_whose_head_says_km_means_km() -> None:
    column = driving("crew", "km_cents")
    assert column.by_head is not None
    assert column.by_head("A km, $", "0.55") == "0.55/km"
    assert column.by_head("A km, $", "0.55/mi") == "0.55/mi"
    assert column.by_head("Driving", "0.55") == "0.55"


@pytest.mark.parametrize(
    ("units", "currency", "label", "meant"),
    [("imperial", "$", "A mile, $", "such as 0.63/mi"), ("metric", "€", "A km, €", "such as 0.39/km")],
)
def test_the_column_names_the_measure_and_the_money_of_the_business_alone(
    app: FastAPI, units: str, currency: str, label: str, meant: str
) -> None:
    with transaction(app.state.database) as session:
        business = session.get_one(tables.Business, 1)
        business.units, business.currency = units, currency
    manager = signed_in(app, Role.manager)
    page = manager.get("/set-up/crews/row?key=north-1", headers=PAGE).text
    assert f'<label for="km_cents">{label}</label>' in page
    assert f"{meant}</span>" in page
    assert f'<label for="minute_cents">A minute, {currency}</label>' in page
    sent = manager.get("/set-up/crews/table.csv").text
    assert label.split(",")[0] in sent.splitlines()[0]
    assert "mile or km" not in page + sent


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
