"""An invented business of any size, for benchmarks: the demo's, with its crews and jobs many times over.

Each job has its own customer, site, order, awning, maker's list and survey; widths, weights and heights vary, so that
hardly two walls are alike. Done jobs lie behind, jobs of later weeks are promised, and those of the week are counted.
"""

from __future__ import annotations

import datetime
import random
from collections import defaultdict
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa
from sqlmodel import Session, SQLModel

from api import tables
from api.business.seed import read_business
from tests.conftest import DEMO

Rows = dict[type[SQLModel], list[dict[str, Any]]]
# Of which rows the demo's are kept as they are.
_SHOP = (
    tables.Business, tables.Yard, tables.Person, tables.Van, tables.Crew, tables.CrewHours, tables.Equipment,
    tables.StockItem, tables.StoredForecast,
)  # fmt: skip
_WORK = (
    tables.Customer, tables.Site, tables.Order, tables.Awning, tables.MakerPart, tables.SiteSurvey, tables.Visit,
    tables.VisitHours, tables.Booking, tables.BenchCount,
)  # fmt: skip


@dataclass(frozen=True)
class Size:
    """How many jobs of each kind, and how many crews."""

    done: int
    week: int
    later: int
    crews: int


@dataclass(frozen=True)
class Pattern:
    """A demo job with all that belongs to it."""

    customer: dict[str, Any]
    site: dict[str, Any]
    order: dict[str, Any]
    awning: dict[str, Any]
    maker: list[dict[str, Any]]
    survey: dict[str, Any]
    visit: dict[str, Any]


def fill(session: Session, size: Size, start_date: datetime.date, seed: int = 1) -> list[str]:
    """Put the business into an empty database; return the ids of the week's jobs."""
    chance = random.Random(seed)
    demo: Rows = defaultdict(list)
    for row in read_business(DEMO).rows:
        demo[type(row)].append(row.model_dump())
    _more_crews(demo, size.crews)
    patterns = _patterns(demo)
    work: Rows = defaultdict(list)
    states = ["done"] * size.done + ["week"] * size.week + ["later"] * size.later
    for number, state in enumerate(states, 1):
        _add_job(work, patterns[number % len(patterns)], number, state, start_date, demo[tables.Crew], chance)
    for item in demo[tables.StockItem]:
        item["on_hand"] = 50 * len(states)
    for table in (*_SHOP, *_WORK):
        rows = demo[table] if table in _SHOP else work[table]
        if rows:
            keyless = [{k: v for k, v in row.items() if not (k == "id" and v is None)} for row in rows]
            session.execute(sa.insert(table), keyless)
    return [f"J-{number:05}" for number, state in enumerate(states, 1) if state == "week"]


def _patterns(demo: Rows) -> list[Pattern]:
    """Return the demo's installs that can go, with a survey."""
    of = {table: {row["id"]: row for row in demo[table]} for table in (tables.Customer, tables.Site, tables.Order,
                                                                       tables.Awning)}  # fmt: skip
    surveys = {row["awning_id"]: row for row in demo[tables.SiteSurvey]}
    maker: dict[str, list[dict[str, Any]]] = defaultdict(list)
    for part in demo[tables.MakerPart]:
        maker[part["awning_id"]].append(part)
    found = []
    for visit in demo[tables.Visit]:
        survey = surveys.get(visit["awning_id"])
        if visit["kind"] == "install" and survey and survey["document"]["wall"]["kind"] not in _CARRY_NOTHING:
            site = of[tables.Site][visit["site_id"]]
            order = of[tables.Order][visit["order_id"]]
            customer, awning = of[tables.Customer][site["customer_id"]], of[tables.Awning][visit["awning_id"]]
            found.append(Pattern(customer, site, order, awning, maker[awning["id"]], survey, visit))
    return found


_CARRY_NOTHING = ("brick-veneer", "fascia")


def _add_job(
    work: Rows,
    like: Pattern,
    number: int,
    state: str,
    start_date: datetime.date,
    crews: list[dict[str, Any]],
    chance: random.Random,
) -> None:
    n = f"{number:05}"
    customer, site, order, awning, visit = f"C-{n}", f"S-{n}", f"O-{n}", f"A-{n}", f"J-{n}"
    part = chance.uniform(0.85, 1.0)
    document = _survey_like(like.survey["document"], f"V-{n}", part, chance)
    name = f"{like.customer['name']} {number}"
    work[tables.Customer].append({**like.customer, "id": customer, "name": name})
    work[tables.Site].append(
        {
            **like.site,
            "id": site,
            "customer_id": customer,
            "lat": like.site["lat"] + chance.uniform(-0.05, 0.05),
            "lon": like.site["lon"] + chance.uniform(-0.05, 0.05),
        }
    )
    work[tables.Order].append({**like.order, "id": order, "customer_id": customer, "site_id": site})
    width_mm, here = round(document["awning"]["width"]), start_date - datetime.timedelta(days=30)
    work[tables.Awning].append(
        {**like.awning, "id": awning, "order_id": order, "width_mm": width_mm, "arrives_on": here}
    )
    work[tables.MakerPart] += [{**line, "awning_id": awning} for line in like.maker]
    work[tables.SiteSurvey].append(
        {**like.survey, "id": f"V-{n}", "site_id": site, "awning_id": awning, "document": document}
    )
    work[tables.Visit].append(
        {
            **like.visit,
            "id": visit,
            "site_id": site,
            "order_id": order,
            "awning_id": awning,
            "state": "done" if state == "done" else "open",
            "due_on": None,
            "minutes": None,
        }
    )
    if state == "week":
        hours = {"day": None, "start": 480, "end": 1080}
        work[tables.VisitHours] += [{"visit_id": visit, "weekday": day, **hours} for day in range(5)]
    if state == "later":
        crew, day = chance.choice(crews), start_date + datetime.timedelta(days=chance.randrange(7, 120))
        told = {"start": 540, "hold": "day", "told_at": None, "told_how": "", "told_words": ""}
        work[tables.Booking].append({"visit_id": visit, "crew_id": crew["id"], "day": day, **told})
    for line in like.maker:
        counted = {"counted": line["quantity"], "damaged": 0, "counted_on": here, "counted_by": "bench"}
        work[tables.BenchCount].append({"visit_id": visit, "item": line["item"], **counted})


def _survey_like(document: dict[str, Any], name: str, part: float, chance: random.Random) -> dict[str, Any]:
    """Return the survey of an awning `part` as wide, somewhat lighter or heavier and higher or lower."""
    awning, place = document["awning"], document["place"]
    width = round(awning["width"] * part)
    return {
        **document,
        "id": name,
        "awning": {
            **awning,
            "width": width,
            "arms": [round(arm * part) for arm in awning["arms"]],
            "weight_kg": round(awning["weight_kg"] * part * chance.uniform(0.95, 1.05), 1),
        },
        "place": {**place, "height": place["height"] - chance.randrange(0, 40)},
    }


def _more_crews(demo: Rows, wanted: int) -> None:
    """Add crews like those of the demo, each with people and a van of its own."""
    crews, people = demo[tables.Crew], {row["id"]: row for row in demo[tables.Person]}
    vans = {row["id"]: row for row in demo[tables.Van]}
    own = len(crews)
    for number in range(own, wanted):
        like, name = crews[number % own], f"crew-{number + 1}"
        extra = {"lead_id": f"lead-{number + 1}", "helper_id": f"helper-{number + 1}", "van_id": f"van-x{number + 1}"}
        crews.append({**like, "id": name, "name": name, **extra})
        helper = people[like["helper_id"]] if like["helper_id"] else people[like["lead_id"]]
        demo[tables.Person].append({**people[like["lead_id"]], "id": extra["lead_id"]})
        demo[tables.Person].append({**helper, "id": extra["helper_id"], "role": "helper"})
        demo[tables.Van].append({**vans[like["van_id"]], "id": extra["van_id"]})
        spans = [row for row in demo[tables.CrewHours] if row["crew_id"] == like["id"]]
        demo[tables.CrewHours] += [{**span, "crew_id": name} for span in spans]
