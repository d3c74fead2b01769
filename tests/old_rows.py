"""A database of an earlier form with rows in its tables, for tests of upgrades and of what a start cut off leaves."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa

from api.database import upgrade

AT = "2027-04-08 12:00:00.000000"
DAY = "2027-04-12"

# Rows by the form that first has the table, in an order that foreign keys allow.
ROWS: dict[str, list[tuple[str, dict[str, Any]]]] = {
    "0001": [
        (
            "business",
            {
                "id": 1,
                "name": "Old Awnings",
                "town": "T",
                "timezone": "America/Chicago",
                "units": "imperial",
                "rules": "{}",
                "limits": "",
                "times": "",
                "version": 1,
            },
        ),
        ("customer", {"id": "C", "name": "Cole", "phone": "1", "email": "", "note": "", "version": 1}),
        (
            "history",
            {"id": 1, "at": AT, "by": "office", "did": "made", "noun": "visit", "noun_id": "J-1", "detail": "{}"},
        ),
        (
            "stored_plan",
            {
                "id": 1,
                "start_date": DAY,
                "fingerprint": "f",
                "week": "{}",
                "plan": "{}",
                "cost_cents": 5,
                "bound_cents": 4,
                "seconds": 1.5,
                "made_at": AT,
                "made_by": "maud",
                "note": "",
            },
        ),
        ("yard", {"id": "north", "name": "North", "lat": 41.0, "lon": -98.0, "version": 1}),
        (
            "person",
            {
                "id": "P",
                "name": "Pat",
                "yard_id": "north",
                "role": "lead",
                "phone": "",
                "skills": "[]",
                "weekdays": "01234",
                "day_cents": 0,
                "active": True,
                "version": 1,
            },
        ),
        ("posted_week", {"id": 1, "start_date": DAY, "plan_id": 1, "posted_at": AT, "posted_by": "maud", "version": 1}),
        (
            "site",
            {
                "id": "S",
                "customer_id": "C",
                "town": "t",
                "address": "a",
                "lat": 41.0,
                "lon": -98.0,
                "storeys": 1,
                "access": "",
                "version": 1,
            },
        ),
        (
            "stock_item",
            {"item": "shim", "yard_id": "north", "name": "shim", "on_hand": 40, "counted_on": DAY, "version": 1},
        ),
        (
            "van",
            {
                "id": "V",
                "yard_id": "north",
                "payload_kg": 900,
                "rack_mm": 6000,
                "boxes": 2,
                "onboard": "{}",
                "version": 1,
            },
        ),
        (
            "crew",
            {
                "id": "north-1",
                "name": "One",
                "yard_id": "north",
                "lead_id": "P",
                "van_id": "V",
                "day_cents": 0,
                "minute_cents": 0,
                "overtime_minute_cents": 0,
                "km_cents": 39,
                "active": True,
                "version": 1,
            },
        ),
        ("delivery", {"id": 1, "item": "shim", "yard_id": "north", "quantity": 5, "due_on": DAY, "version": 1}),
        (
            "sales_order",
            {
                "id": "O",
                "customer_id": "C",
                "site_id": "S",
                "ordered_on": DAY,
                "state": "open",
                "note": "",
                "version": 1,
            },
        ),
        (
            "awning",
            {
                "id": "A",
                "order_id": "O",
                "model": "m",
                "width_mm": 4000,
                "projection_mm": 3000,
                "weight_kg": 60,
                "box_mm": 4200,
                "boxes": 1,
                "cloth": "c",
                "yard_id": "north",
                "version": 1,
            },
        ),
        (
            "site_survey",
            {
                "id": "Y",
                "site_id": "S",
                "awning_id": "A",
                "surveyed_on": DAY,
                "surveyed_by": "P",
                "document": "{}",
                "version": 1,
            },
        ),
        (
            "visit",
            {
                "id": "J-1",
                "kind": "install",
                "site_id": "S",
                "order_id": "O",
                "awning_id": "A",
                "state": "open",
                "skills": "[]",
                "fault": "",
                "note": "",
                "version": 1,
            },
        ),
        (
            "bench_count",
            {
                "id": 1,
                "visit_id": "J-1",
                "item": "shim",
                "counted": 3,
                "damaged": 0,
                "counted_on": DAY,
                "counted_by": "P",
            },
        ),
        (
            "booking",
            {
                "id": 1,
                "visit_id": "J-1",
                "crew_id": "north-1",
                "day": DAY,
                "start": 480,
                "hold": "firm",
                "told_how": "",
                "told_words": "",
                "version": 1,
            },
        ),
        (
            "day_result",
            {
                "id": 1,
                "visit_id": "J-1",
                "crew_id": "north-1",
                "day": DAY,
                "outcome": "done",
                "why": "",
                "checks": "{}",
                "noted_at": AT,
                "noted_by": "P",
            },
        ),
        ("kit_state", {"visit_id": "J-1", "loaded_by": "", "version": 1}),
        ("prepared", {"visit_id": "J-1", "what": "layout", "fingerprint": "f", "document": "{}", "made_at": AT}),
        ("short", {"id": 1, "visit_id": "J-1", "item": "shim", "missing": 2, "version": 1}),
        ("visit_hours", {"id": 1, "visit_id": "J-1", "weekday": 1, "start": 480, "end": 600}),
    ],
    "0002": [
        ("account", {"id": 1, "name": "maud", "role": "manager", "password": "x", "active": True, "version": 1}),
        (
            "day_link",
            {
                "id": 1,
                "crew_id": "north-1",
                "day": DAY,
                "digest": "d",
                "made_at": AT,
                "made_by": "maud",
                "expires_at": AT,
            },
        ),
        ("sign_in", {"digest": "d", "account_id": 1, "made_at": AT, "expires_at": AT}),
    ],
    "0003": [
        (
            "plan_run",
            {
                "id": 1,
                "start_date": DAY,
                "state": "done",
                "seconds": 2.0,
                "asked_at": AT,
                "asked_by": "maud",
                "phase": "",
                "progress": "[]",
                "week": "{}",
                "because": "{}",
                "fixed": "{}",
                "from_plan": 1,
                "best": "",
                "plan_id": 1,
                "fault": "",
            },
        ),
        (
            "crate_count",
            {
                "id": 1,
                "visit_id": "J-1",
                "begun_at": AT,
                "begun_by": "P",
                "closed_by": "",
                "cloth": "",
                "cover": "",
                "note": "",
                "version": 1,
            },
        ),
        (
            "count_line",
            {"id": 1, "count_id": 1, "item": "shim", "pieces": 3, "damaged": 0, "code": "", "at": AT, "by": "P"},
        ),
        (
            "reservation",
            {
                "id": 1,
                "posted_id": 1,
                "visit_id": "J-1",
                "item": "shim",
                "yard_id": "north",
                "pieces": 2,
                "day": DAY,
                "state": "held",
                "changed_at": AT,
            },
        ),
    ],
}


def fill(engine: sa.Engine, form: str) -> None:
    """Bring an empty database to `form`, with rows that were made in each form up to it."""
    for step in sorted(ROWS):
        if step > form:
            break
        upgrade(engine, step)
        with engine.begin() as connection:
            for table, values in ROWS[step]:
                names = ", ".join(f'"{name}"' for name in values)
                marks = ", ".join(f":{name}" for name in values)
                connection.execute(sa.text(f"INSERT INTO {table} ({names}) VALUES ({marks})"), values)


def still_there(engine: sa.Engine, form: str) -> None:
    """Check that every row of `fill` is in the database as it was; what preparation makes is made anew."""
    with engine.connect() as connection:
        for step in sorted(ROWS):
            for table, values in ROWS[step] if step <= form else []:
                if table in ("prepared", "sign_in"):
                    continue
                names = ", ".join(f'"{name}"' for name in values)
                (row,) = connection.execute(sa.text(f"SELECT {names} FROM {table}")).all()
                shown = [str(value).replace("'", '"') for value in row]
                for name, value, found in zip(values, values.values(), shown, strict=True):
                    same = str(value).removesuffix(".000000")
                    # A column may have been made one of parts: its 40 is 40.0 then.
                    also = str(int(value)) if value is True else f"{value}.0" if type(value) is int else same
                    assert found.removesuffix(".000000") in (same, also), (table, name)
