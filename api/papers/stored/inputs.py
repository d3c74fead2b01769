"""What the papers of visits are made of, as the database holds it, and the fingerprint that each paper must bear.

Everything is read as plain columns and never parsed: to find what is stale among ten thousand jobs, texts are hashed
as they stand.
"""

from __future__ import annotations

import dataclasses
import datetime
import functools
import hashlib
from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from typing import Any
from zoneinfo import ZoneInfo

import sqlalchemy as sa
from sqlmodel import Session, col

from api import tables
from api.database import parts
from api.ledger.fingerprint import code_of
from scheduler.errors import BadInput
from scheduler.layout.drawing.paper.measures import Units
from scheduler.layout.site.tools import ladder_sizes_ft

MOTOR_SKILL = "motor-setup"
_OPEN = sa.select(col(tables.Visit.id)).where(col(tables.Visit.state) == "open")


@dataclass(frozen=True)
class ShopInputs:
    """What the papers of all visits depend on: the table of task times, units, and the sizes of ladders owned.

    `zone` is the business's time zone, for hours of shade; `today` its date, which a drawing shows and no fingerprint
    has: None where papers are only judged.
    """

    times: str
    units: Units
    stepladders_ft: tuple[int, ...]
    extension_ft: tuple[int, ...]
    zone: str
    today: datetime.date | None

    @functools.cached_property
    def times_print(self) -> str:
        """The fingerprint of the table of task times."""
        return _hash(self.times, code_of("scheduler.times.durations", "api.papers.stored.making"))


@dataclass(frozen=True)
class Counted:
    """The newest count of one item, and the count that it is of (None: from a file)."""

    counted: int
    damaged: int
    count_id: int | None


@dataclass(frozen=True)
class Missed:
    """As much of a short as its kit's condition depends on."""

    item: str
    missing: int
    count_id: int | None
    arrived_on: datetime.date | None


@dataclass(frozen=True)
class AwningInputs:
    """As much of an awning as its papers depend on; `survey` is the text of the survey that counts, None without."""

    width_mm: int
    motor: str | None
    box_mm: int
    boxes: int
    survey: str | None
    maker: Mapping[str, int]


@dataclass(frozen=True)
class SiteInputs:
    """Whose wall it is and where, as the drawing shows it."""

    customer: str
    address: str
    lat: float
    lon: float


@dataclass
class JobInputs:
    """What the papers of one visit depend on; `awning` is that of an install, None for surveys and repairs."""

    visit_id: str
    kind: str
    motor: bool
    awning: AwningInputs | None
    site: SiteInputs
    counts: dict[str, Counted] = field(default_factory=dict)
    shorts: list[Missed] = field(default_factory=list)
    loaded: bool = False


def shop_inputs(session: Session, now: datetime.datetime | None = None) -> ShopInputs:
    """Return what all papers depend on, to make them at `now`; raises `BadInput` where no business has been set up."""
    own = tables.Business
    business = session.execute(sa.select(col(own.times), col(own.units), col(own.timezone))).first()
    if business is None:
        raise BadInput("", "this database holds no business yet; load one first")
    kinds = sa.select(col(tables.Equipment.kind)).where(col(tables.Equipment.active)).distinct()
    owned = set(session.execute(kinds).scalars())
    for onboard in session.execute(sa.select(col(tables.Van.onboard))).scalars():
        owned.update(onboard)
    today = now.astimezone(ZoneInfo(business.timezone)).date() if now is not None else None
    return ShopInputs(business.times, business.units, *ladder_sizes_ft(owned), business.timezone, today)


def job_inputs(session: Session, visit_ids: Collection[str] | None) -> dict[str, JobInputs]:
    """Return by visit what its papers depend on; of all open visits where `visit_ids` is None, in order of their ids.

    Each statement sees the database of its own moment. A paper is always stored with the fingerprint of the very
    values that it was made of: where these do not fit together, it is stale at the next look.
    """
    if visit_ids is None:
        return _read(session, _OPEN)
    found: dict[str, JobInputs] = {}
    for ids in parts(visit_ids):
        found |= _read(session, ids)
    return found


def _read(session: Session, ids: Any) -> dict[str, JobInputs]:
    visit, awning, site, customer = tables.Visit, tables.Awning, tables.Site, tables.Customer
    rows = session.execute(
        sa.select(
            col(visit.id), col(visit.kind), col(visit.skills), col(awning.id), col(awning.width_mm),
            col(awning.motor), col(awning.box_mm), col(awning.boxes),
            col(customer.name), col(site.address), col(site.town), col(site.lat), col(site.lon),
        )
        .join(site, col(site.id) == visit.site_id)
        .join(customer, col(customer.id) == site.customer_id)
        .outerjoin(awning, sa.and_(col(awning.id) == visit.awning_id, col(visit.kind) == "install"))
        .where(col(visit.id).in_(ids))
        .order_by(col(visit.id))
    ).all()  # fmt: skip
    if not rows:
        return {}
    awnings = sa.select(col(visit.awning_id)).where(col(visit.id).in_(ids), col(visit.kind) == "install")
    surveys, maker = _surveys(session, awnings), _maker(session, awnings)
    found = {}
    for visit_id, kind, skills, awning_id, width_mm, motor, box_mm, boxes, *where in rows:
        its = None
        if awning_id is not None:
            its = AwningInputs(width_mm, motor, box_mm, boxes, surveys.get(awning_id), maker.get(awning_id, {}))
        name, address, town, lat, lon = where
        place = SiteInputs(name, ", ".join(part for part in (address, town) if part), lat, lon)
        found[visit_id] = JobInputs(visit_id, kind, MOTOR_SKILL in skills, its, place)
    _add_counts(session, ids, found)
    return found


def _surveys(session: Session, awnings: Any) -> dict[str, str]:
    """Return the newest survey of each awning, as the text that the database holds."""
    survey = tables.SiteSurvey
    rows = sa.select(col(survey.awning_id), sa.cast(col(survey.document), sa.Text))
    rows = rows.where(col(survey.awning_id).in_(awnings)).order_by(col(survey.surveyed_on), col(survey.id))
    return dict(iter(session.execute(rows)))


def _maker(session: Session, awnings: Any) -> dict[str, dict[str, int]]:
    part = tables.MakerPart
    rows = sa.select(col(part.awning_id), col(part.item), col(part.quantity))
    rows = rows.where(col(part.awning_id).in_(awnings)).order_by(col(part.awning_id), col(part.item))
    found: dict[str, dict[str, int]] = defaultdict(dict)
    for awning_id, item, quantity in session.execute(rows):
        found[awning_id][item] = quantity
    return found


def _add_counts(session: Session, ids: Any, found: Mapping[str, JobInputs]) -> None:
    count, short, kit = tables.BenchCount, tables.Short, tables.KitState
    counts = sa.select(
        col(count.visit_id), col(count.item), col(count.counted), col(count.damaged), col(count.count_id)
    ).where(col(count.visit_id).in_(ids))
    for visit_id, item, *rest in session.execute(counts.order_by(col(count.id))):  # the newest of an item stays
        if visit_id in found:
            found[visit_id].counts[item] = Counted(*rest)
    shorts = sa.select(
        col(short.visit_id), col(short.item), col(short.missing), col(short.count_id), col(short.arrived_on)
    ).where(col(short.visit_id).in_(ids))
    for visit_id, *rest in session.execute(shorts.order_by(col(short.id))):
        if visit_id in found:
            found[visit_id].shorts.append(Missed(*rest))
    on_vans = sa.select(col(kit.visit_id)).where(col(kit.visit_id).in_(ids), col(kit.loaded_on).is_not(None))
    for visit_id in session.execute(on_vans).scalars():
        if visit_id in found:
            found[visit_id].loaded = True


def fingerprints(shop: ShopInputs, job: JobInputs) -> dict[str, str]:
    """Return the fingerprint that each paper of a visit must bear; which of them there are, making them decides.

    A paper that is made of another one bears that one's fingerprint among its inputs: it is made of the same values.
    """
    awning = job.awning
    wall = ""
    prints: dict[str, str] = {}
    if awning is not None and awning.survey is not None:
        code = code_of("scheduler.layout", "scheduler.units", "api.papers.stored.making")
        wall = prints["layout"] = _hash("layout", code, awning.survey, awning.maker.get("bracket", 0))
        prints["drawing"] = _hash("drawing", wall, shop.units, shop.zone, job.visit_id, *dataclasses.astuple(job.site))
        kit = (*awning.maker.items(), awning.box_mm, awning.boxes, shop.stepladders_ft, shop.extension_ft)
        prints["kit"] = _hash("kit", code_of("scheduler.kit"), wall, *kit)
        prints["fault"] = _hash("fault", prints["drawing"], prints["kit"])
        counts = sorted((item, c.counted, c.damaged, c.count_id) for item, c in job.counts.items())
        shorts = ((s.item, s.missing, s.count_id, s.arrived_on) for s in job.shorts)
        prints["condition"] = _hash(
            "condition", code_of("api.papers.kits"), prints["kit"], job.loaded, *counts, "shorts", *shorts
        )
    size = (awning.width_mm, awning.motor) if awning is not None else ()
    prints["duration"] = _hash("duration", shop.times_print, wall, job.kind, job.motor, *size)
    return prints


def made_fingerprints(session: Session, visit_ids: Collection[str] | None) -> dict[str, dict[str, str]]:
    """Return by visit and paper the fingerprints of what is stored; of all open visits where `visit_ids` is None."""
    made, found = tables.Prepared, defaultdict[str, dict[str, str]](dict)
    rows = sa.select(col(made.visit_id), col(made.what), col(made.fingerprint))
    if visit_ids is None:
        asked = [rows.where(col(made.visit_id).in_(_OPEN))]
    else:
        asked = [rows.where(col(made.visit_id).in_(ids)) for ids in parts(visit_ids)]
    for statement in asked:
        for visit_id, what, fingerprint in session.execute(statement):
            found[visit_id][what] = fingerprint
    return found


def is_fresh(made: Mapping[str, str], wanted: Mapping[str, str]) -> bool:
    """Say whether the stored papers of a visit are all there and all of today's inputs.

    The papers of a visit are written together: with the layout come the drawing and, unless something stops the job,
    the kit; in place of them a fault. So it is enough that what is there is fresh, and that the first of them is.
    """
    if any(wanted.get(what) != fingerprint for what, fingerprint in made.items()) or "duration" not in made:
        return False
    return "layout" not in wanted or ("layout" in made) != ("fault" in made)


def _hash(*parts: object) -> str:
    """Return the SHA-256 of plain values; their notation keeps 1, "1" and (1,) apart."""
    return hashlib.sha256(repr(parts).encode("utf-8", "surrogatepass")).hexdigest()
