"""The demo's week with as many crews as a large yard has: each further crew has another one's week, by other names.

    more_crews(database, start_date, 12)

Every row that a page of the week reads is there for each copy (customer, site, awning, survey, count, kit), so that the
sheet is as full, and its words are as long, as the demo's.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa
from msgspec.structs import replace
from sqlmodel import SQLModel

from api import tables
from api.database import transaction
from api.ledger.plans.stored import newest_plan
from scheduler.audit import audit
from scheduler.documents import encode
from scheduler.plan import Plan, read_plan
from scheduler.price import price
from scheduler.week import Week, read_week

# Copied in this order, each row that hangs on one copied before it.
_TABLES = (
    "customer", "site", "sales_order", "awning", "maker_part", "site_survey", "visit", "visit_hours", "crate_count",
    "bench_count", "kit_state", "prepared",
)  # fmt: skip
_CREWS = ("Bellwether", "Tamarisk", "Northgate", "Quickbeam", "Sandpiper", "Fairweather", "Oldfield", "Rosewood")
_NAMES = (
    "Ida Marchbanks", "Lucius Oakhanger", "Wren Tolliver", "Agnes Pettibone", "Hollis Dunmore", "Marisol Quintana",
    "Otis Farrow",
)  # fmt: skip


def more_crews(database: sa.Engine, start_date: datetime.date, wanted: int) -> None:
    """Give the business so many crews, and its newest plan their weeks; the plan keeps every rule."""
    with transaction(database) as session:
        stored = newest_plan(session, start_date)
        assert stored is not None
        week, plan = read_week(stored.week.encode()), read_plan(stored.plan.encode())
        own = [crew for crew in week.crews if any(route.crew == crew.id for route in plan.routes)]
        for number in range(wanted - len(week.crews)):
            like = own[number % len(own)]
            jobs = [stop.job for route in plan.routes if route.crew == like.id for stop in route.stops]
            ids = {job: f"{job}-{number + 2}" for job in jobs}
            crew = f"{like.id}-{number + 2}"
            _copy(session.connection(), ids, like.id, crew, number)
            week, plan = _with_crew(week, plan, like.id, crew, ids)
        broken = audit(week, plan).broken_rules
        assert not broken, broken[:6]
        kept = {name: getattr(stored, name) for name in ("start_date", "fingerprint", "seconds", "made_at", "made_by")}
        documents = {"week": encode(week).decode(), "plan": encode(plan).decode()}
        session.add(tables.StoredPlan(**kept, **documents, cost_cents=plan.cost.total, bound_cents=None))


def _with_crew(week: Week, plan: Plan, like: str, crew: str, ids: Mapping[str, str]) -> tuple[Week, Plan]:
    """Return week and plan with one more crew that does what `like` does, for jobs of its own."""
    jobs = [replace(job, id=ids[job.id], booked=None) for job in week.jobs if job.id in ids]
    the_crew = next(c for c in week.crews if c.id == like)
    yards = sorted({the_crew.yard, *(r.yard for r in week.helpers)})
    needs = {item for job in jobs for item in job.equipment}
    week = replace(
        week,
        crews=(*week.crews, replace(the_crew, id=crew)),
        jobs=(*week.jobs, *jobs),
        equipment=tuple(replace(e, count=tuple(n + 2 * (e.id in needs) for n in e.count)) for e in week.equipment),
        helpers=tuple(replace(h, count=h.count + (h.yard in yards)) for h in week.helpers),
        stock=tuple(replace(s, on_hand=s.on_hand + sum(j.parts.get(s.id, 0) for j in jobs)) for s in week.stock),
    )
    routes = tuple(
        replace(route, crew=crew, stops=tuple(replace(stop, job=ids[stop.job]) for stop in route.stops))
        for route in plan.routes
        if route.crew == like
    )
    plan = replace(plan, routes=(*plan.routes, *routes), bound=None)
    return week, replace(plan, cost=price(week, plan.routes))


def _copy(connection: sa.Connection, visits: Mapping[str, str], like: str, crew: str, number: int) -> None:
    """Copy a crew with its people and van, and the rows of its visits under other ids."""
    at = SQLModel.metadata.tables
    row = _one(connection, at["crew"], like)
    people = {row[key]: f"{row[key]}-{number + 2}" for key in ("lead_id", "helper_id") if row[key]}
    for old, new in people.items():
        _put(connection, at["person"], {**_one(connection, at["person"], old), "id": new})
    van = f"{row['van_id']}-{number + 2}"
    _put(connection, at["van"], {**_one(connection, at["van"], row["van_id"]), "id": van})
    renamed = {"id": crew, "name": _CREWS[number % len(_CREWS)], "van_id": van}
    renamed |= {key: people[row[key]] for key in ("lead_id", "helper_id") if row[key]}
    _put(connection, at["crew"], {**row, **renamed})
    for span in connection.execute(sa.select(at["crew_hours"]).where(at["crew_hours"].c.crew_id == like)).mappings():
        _put(connection, at["crew_hours"], {**span, "crew_id": crew})
    new_ids: dict[str, dict[Any, Any]] = {"visit": dict(visits)}
    for old in visits:
        visit = _one(connection, at["visit"], old)
        site = _one(connection, at["site"], visit["site_id"])
        rows = {"site": visit["site_id"], "sales_order": visit["order_id"], "awning": visit["awning_id"]}
        for table, key in {**rows, "customer": site["customer_id"]}.items():
            if key:
                new_ids.setdefault(table, {})[key] = f"{key}-{number + 2}"
    for name in _TABLES:
        _copy_rows(connection, at[name], new_ids, number)


def _copy_rows(connection: sa.Connection, table: sa.Table, new_ids: dict[str, dict[Any, Any]], number: int) -> None:
    hangs_on = {
        column.name: key.column.table.name
        for column in table.columns
        for key in column.foreign_keys
        if key.column.table.name in new_ids
    }
    own = new_ids.get(table.name)
    for row in connection.execute(sa.select(table)).mappings().all():
        if own is not None and row["id"] not in own:
            continue
        on = {column: new_ids[of].get(row[column]) for column, of in hangs_on.items() if row[column] is not None}
        if own is None and (not on or None in on.values()):
            continue
        new = {**row, **{column: value for column, value in on.items() if value is not None}}
        if own is not None:
            new["id"] = own[row["id"]]
        elif table.name == "site_survey":
            new["id"] = f"{row['id']}-{number + 2}"
        elif "id" in row:
            del new["id"]
        if "count_id" in new:
            new["count_id"] = None
        if table.name == "customer":
            new["name"] = _NAMES[(number + len(row["name"])) % len(_NAMES)]
        _put(connection, table, new)


def _one(connection: sa.Connection, table: sa.Table, row_id: str) -> dict[str, Any]:
    return dict(connection.execute(sa.select(table).where(table.c.id == row_id)).mappings().one())


def _put(connection: sa.Connection, table: sa.Table, row: Mapping[str, Any]) -> None:
    connection.execute(sa.insert(table).values(**row))
