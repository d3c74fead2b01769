"""Every address of the service that may be a page, over the demo with its week posted.

The addresses are those of the routes themselves, so that a new one cannot be forgotten: a part of an address that is
not known here fails the walk.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator
from dataclasses import dataclass

from fastapi import FastAPI
from sqlmodel import col, select

from api import tables
from api.access.accounts import Role
from api.access.guards import statements
from api.database import transaction
from scheduler.plan import read_plan

MONDAY = datetime.date(2027, 4, 12)
# Addresses of pages that are not walked, each with the reason.
NOT_WALKED = {
    "/day-links/open/{token}": "opens a session of its own; tested with the day links",
    "/photos/{photo_id}": "no page",
    "/gate-papers/{paper_id}": "no page",
    "/runs/{run_id}/events": "never ends",
    "/weeks/{start_date}/live": "never ends",
}
# What must follow an address for it to answer.
ASKED = {
    "/crews/{crew_id}/visits": "?start_date=2027-04-12",
    "/set-up/{kind_id}/row": "?key=north",
    "/stock/moves": "?yard=north&item=lag+3/8+x+3+in",
}
SETTINGS = ("business", "week", "prices", "crews", "weather", "times")


@dataclass(frozen=True)
class Walk:
    """A page to be walked: its address and the roles that may see it."""

    address: str
    roles: tuple[Role, ...]


def values(app: FastAPI) -> dict[str, list[str]]:
    """Return what stands for each part of an address, from what the demo holds."""
    with transaction(app.state.database) as session:
        stored = session.exec(select(tables.StoredPlan).order_by(col(tables.StoredPlan.id).desc())).first()
        assert stored is not None
        plan = read_plan(stored.plan)
        route = next(r for r in plan.routes if r.crew == "north-1")
        visit = route.stops[0].job
        first = {
            name: str(session.exec(select(key).order_by(key)).first())
            for name, key in {
                "customer_id": tables.Customer.id,
                "site_id": tables.Site.id,
                "survey_id": tables.SiteSurvey.id,
                "order_id": tables.Order.id,
                "awning_id": tables.Awning.id,
                "short_id": tables.Short.id,
            }.items()
        }
        install = session.exec(select(tables.KitState.visit_id).order_by(col(tables.KitState.visit_id))).first()
    plans = [str(stored.id)]
    return {
        **{name: [value] for name, value in first.items()},
        "start_date": [MONDAY.isoformat()],
        "day": [(MONDAY + datetime.timedelta(days=route.day)).isoformat()],
        "crew_id": ["north-1"],
        "visit_id": list(dict.fromkeys([visit, "J-1042", install or "J-1042"])),
        "plan_id": plans,
        "other_id": [str(int(plans[0]) - 1)],
        "part_id": list(SETTINGS),
        "plot": ["cost"],
        "kind": ["bad-input"],
        "kind_id": ["yards", "people", "days-off", "crews", "shelf", "models"],
    }


def pages(app: FastAPI) -> Iterator[Walk]:
    """Yield every address of the service that may be a page; those that answer otherwise are sorted out later."""
    known = values(app)
    nowhere = re.compile(
        r"\{(file_id|run_id|case_id|message_id|one_id|account_id|link_id|webhook_id|maker_order_id|export_id|import_id|load_id)\}"
    )  # records, not in the demo
    for method, path, permission in statements(app):
        is_file = re.search(r"\.\w+$", path) is not None  # such as .pdf
        if method != "GET" or is_file or path in NOT_WALKED or nowhere.search(path):
            continue
        if path == "/records/{table}/{key}":
            rows = ("customer", "site", "order", "awning", "visit")
            for row in rows:
                yield Walk(f"/records/{row}s/{known[f'{row}_id'][0]}", tuple(r for r in Role if r in permission.roles))
            continue
        names = re.findall(r"\{(\w+)\}", path)
        unknown = [name for name in names if name not in known]
        assert not unknown, f"say in `values` what stands for {unknown} of {path}"
        addresses = [path]
        for name in names:
            addresses = [a.replace(f"{{{name}}}", value) for a in addresses for value in known[name]]
        roles = tuple(Role) if permission.everyone else tuple(role for role in Role if role in permission.roles)
        for address in addresses:
            yield Walk(address + ASKED.get(path, ""), roles)
