"""A job that is asked for and not entered yet: what it is likely to need, and entering it once a time is taken."""

from __future__ import annotations

import datetime
from dataclasses import dataclass, replace

import sqlalchemy as sa
from sqlmodel import Session, col, select

from api import tables
from api.clock import local_day
from api.fields.files.sheets import BadFiles
from api.fields.ids import new_id
from api.jobs import entry, models
from api.jobs.numbers import called_after, job_number
from api.ledger.facts.week import Facts
from api.office.gates import begin_gates
from api.office.work_kinds import offered
from api.papers.needs import Needs
from api.papers.preparation import WALL_SKILLS
from api.papers.stored.inputs import shop_inputs
from api.papers.stored.making import USUAL_HEIGHT_MM, USUAL_WIDTH_MM
from api.week.horizon.document import Horizon, with_job
from api.week.horizon.readiness import Readiness, unsold
from scheduler.errors import BadInput
from scheduler.kit import BOX_LONGER_MM
from scheduler.layout.site.ladders import ladders_for
from scheduler.layout.site.lifting import hands_and_lift
from scheduler.times.durations import Work, estimate, read_times
from scheduler.travel.estimate import great_circle_m

NEW = "new job"  # the id of a job that has none yet; no row can have a blank in its id made by a form
NO_MODEL = "to be chosen"
_USUAL_OUT_MM = 3048  # how far an awning comes out where nobody has said it: 10 ft, the most usual
# An awning's weight where its model is not known: practice, some 12 kg and 12 kg more a metre of width.
_KG, _KG_PER_M = 12, 12
_BRACKETS = 4  # of an awning that nobody has laid out yet


@dataclass(frozen=True)
class WantedJob:
    """What somebody asks a time for: which kind of work where, and of an install how wide, on which wall, how high up.

    `lat` and `lon` None: somewhere in the town. `width_mm` and `height_mm` None: as usual; `wall` empty: not known.
    """

    kind: str
    town: str
    address: str = ""
    lat: float | None = None
    lon: float | None = None
    width_mm: int | None = None
    height_mm: int | None = None
    wall: str = ""
    model: str = ""


@dataclass(frozen=True)
class Buyer:
    """For whom a job is entered."""

    name: str
    phone: str = ""
    email: str = ""


def place_of(session: Session, wanted: WantedJob) -> tuple[float, float]:
    """Return where the job is: its own place, else the middle of the sites that are known in its town.

    Raises `BadInput` for a town without one.
    """
    if wanted.lat is not None and wanted.lon is not None:
        return wanted.lat, wanted.lon
    site = tables.Site
    same = sa.and_(sa.func.lower(col(site.town)) == wanted.town.strip().lower(), col(site.placed))
    lat, lon = session.execute(sa.select(sa.func.avg(col(site.lat)), sa.func.avg(col(site.lon))).where(same)).one()
    if lat is None:
        problem = f'"{wanted.town}" has no site yet that says where it is: give the street and number too, or a pin'
        raise BadInput("town", problem)
    return float(lat), float(lon)


def work_of(session: Session, wanted: WantedJob) -> tables.WorkKind:
    """Return the kind of work that is wanted; raises `BadInput` for one that is not offered."""
    work = session.get(tables.WorkKind, wanted.kind) if "\0" not in wanted.kind else None
    if work is None or not work.active:
        raise BadInput("kind", f'must be one of {", ".join(of for of, _ in offered(session))}, is "{wanted.kind}"')
    return work


def horizon_with(session: Session, horizon: Horizon, wanted: WantedJob, now: datetime.datetime) -> Horizon:
    """Return the weeks ahead with the job that is wanted, as `NEW`; raises `BadInput` as `work_of` and `place_of`."""
    work = work_of(session, wanted)
    lat, lon = place_of(session, wanted)
    known = horizon.facts
    site = tables.Site(id=NEW, customer_id=NEW, town=wanted.town, address=wanted.address, lat=lat, lon=lon)
    install = work.counts_as == "install"
    width = wanted.width_mm or USUAL_WIDTH_MM
    visit = tables.Visit(id=NEW, kind=work.counts_as, work_id=work.id, site_id=NEW, awning_id=NEW if install else None)
    awning = tables.Awning(
        id=NEW, order_id=NEW, model=NO_MODEL, width_mm=width, projection_mm=_USUAL_OUT_MM, weight_kg=_weight(width),
        box_mm=width + BOX_LONGER_MM, boxes=1, yard_id=nearest_yard(known, lat, lon),
    )  # fmt: skip
    known = replace(
        known,
        visits={**known.visits, NEW: visit},
        sites={**known.sites, NEW: site},
        awnings={**known.awnings, **({NEW: awning} if install else {})},
    )
    today = horizon.today
    ready_on, rests = unsold(known, today) if install else (today, ())
    needs = replace(_needs(session, known, wanted, work, width, now), ready_on=ready_on)
    return with_job(horizon, known, visit, Readiness(needs, rests))


def enter(session: Session, known: Facts, wanted: WantedJob, buyer: Buyer, *, by: str, now: datetime.datetime) -> str:
    """Enter the job for `buyer` with its customer, site and, of an install, its order and awning; return its number.

    Raises `BadFiles` with every value that cannot stand, `BadInput` as `work_of` and `place_of`.
    """
    install = work_of(session, wanted).counts_as == "install"
    lat, lon = place_of(session, wanted)
    visit_id = job_number(session, new_id("J"))
    ids = {
        name: called_after(session, visit_id, table, letter)
        for name, table, letter in (
            ("customers", tables.Customer, "C"), ("sites", tables.Site, "S"), ("orders", tables.Order, "O"),
            ("awnings", tables.Awning, "A"),
        )
    }  # fmt: skip
    said = [f"{wanted.wall} wall" if wanted.wall else "", f"{wanted.height_mm} mm up" if wanted.height_mm else ""]
    rows = {
        "customers": {"customer": ids["customers"], "name": buyer.name, "phone": buyer.phone, "email": buyer.email},
        "sites": {
            "site": ids["sites"], "customer": ids["customers"], "town": wanted.town, "lat": f"{lat:.6f}",
            "address": wanted.address or "address to be told", "lon": f"{lon:.6f}", "storeys": "1",
        },
    }  # fmt: skip
    visit = {"visit": visit_id, "kind": wanted.kind, "site": ids["sites"], "order": "", "awning": ""}
    visit["note"] = ", ".join(filter(None, ["sold with a time", *said]))
    visit["skills"] = WALL_SKILLS.get(wanted.wall, "") if install else ""
    parts: dict[str, int] = {}
    if install:
        width = wanted.width_mm or USUAL_WIDTH_MM
        cells = entry.empty_cells("awnings") | {
            "awning": ids["awnings"], "order": ids["orders"], "model": wanted.model or NO_MODEL,
            "width_mm": f"{width} mm", "projection_mm": f"{_USUAL_OUT_MM} mm",
            "yard": nearest_yard(known, lat, lon),
        }  # fmt: skip
        cells, parts = models.filled(session, cells, known.business.units)
        cells["weight_kg"] = cells["weight_kg"] or f"{_weight(width)} kg"
        cells["box_mm"] = cells["box_mm"] or f"{width + BOX_LONGER_MM} mm"
        today = local_day(session, now).isoformat()
        rows["orders"] = {"order": ids["orders"], "site": ids["sites"], "ordered_on": today, "note": ""}
        rows["awnings"] = cells
        visit |= {"order": ids["orders"], "awning": ids["awnings"]}
    rows["visits"] = visit
    full = {table: entry.empty_cells(table) | cells for table, cells in rows.items()}
    entry.keep(session, full, by=by, now=now)
    begin_gates(session, session.get_one(tables.Visit, visit_id), by=by, now=now)
    if parts:
        models.pack(session, ids["awnings"], parts, by=by, now=now)
    session.flush()
    return visit_id


def faults(bad: BadFiles) -> BadInput:
    """Return the first fault of rows that could not be entered, named by its field of the form."""
    name, problem = next(iter(entry.faults_by_field(bad).items()))
    return BadInput(name.rpartition(".")[2] or "name", problem)


def towns_known(session: Session) -> list[str]:
    """Return the towns in which sites are known, by name."""
    return sorted(set(session.exec(select(tables.Site.town)).all()), key=str.casefold)


def nearest_yard(known: Facts, lat: float, lon: float) -> str:
    """Return the yard that lies nearest to a place; raises `BadInput` where the business has none."""
    yards = list(known.yards.values())
    if not yards:
        raise BadInput("", "the business has no yard yet: add one first")
    metres = great_circle_m([(lat, lon), *((yard.lat, yard.lon) for yard in yards)])[0, 1:]
    return yards[int(metres.argmin())].id


def _weight(width_mm: int) -> int:
    return round(_KG + _KG_PER_M * width_mm / 1000)


def _needs(
    session: Session, known: Facts, wanted: WantedJob, work_kind: tables.WorkKind, width: int, now: datetime.datetime
) -> Needs:  # fmt: skip
    height = wanted.height_mm or USUAL_HEIGHT_MM
    install = work_kind.counts_as == "install"
    rides = install or work_kind.carries
    lift = hands_and_lift(_weight(width), height, width)
    shop = shop_inputs(session, now)
    ladders = ladders_for(height, stepladders_ft=shop.stepladders_ft, extension_ft=shop.extension_ft)
    work = Work(
        kind=work_kind.counts_as,  # type: ignore[arg-type]  # the table's own check keeps it to these three
        width_mm=width,
        brackets=_BRACKETS if install else 0,
        holes=0,
        wall=wanted.wall or "wood-studs",  # type: ignore[arg-type]
        height_mm=height,
        hood=False,
        motor=False,
        hands=lift.hands if install else 2,
        material_lift=install and lift.material_lift,
    )
    made = estimate(work, read_times(known.business.times))
    rules = known.rules
    short = "stepladder" if ladders.kind == "stepladder" else "ladder"
    of_wall = {WALL_SKILLS[wanted.wall]} if install and wanted.wall in WALL_SKILLS else set[str]()
    return Needs(
        minutes=work_kind.minutes or max(1, made.planned_min(rules.plan_with)),
        hands=max(lift.hands if install else 1, work_kind.hands),
        skills=tuple(sorted({*work_kind.skills, *of_wall})),
        equipment={**({} if ladders.kind is None else {f"{short}-{ladders.size_ft}": 1}), **work_kind.tools},
        parts=dict(work_kind.parts),
        weight_kg=_weight(width) if rides else 0,
        box_mm=width + BOX_LONGER_MM if rides else 0,
        boxes=1 if rides else 0,
        tall_ladder=install and height >= rules.tall_ladder_from_mm,
        large_awning=install and width >= rules.large_awning_from_mm,
        sealant=False,
        ready_on=None,
        because=(),
        yard_id=nearest_yard(known, *place_of(session, wanted)) if install else None,
    )
