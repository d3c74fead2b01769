"""What the week sheet says of each job beyond its plan: customer, town, width, wall, kit, cautions, locks.

Read by small selects, not with everything that planning looks at: a sheet of 600 visits must open at once.
"""

from __future__ import annotations

import datetime
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from typing import Any

import msgspec
from sqlmodel import Session, col, select

from api import tables
from api.fields.shown import feet
from api.languages import gettext
from api.ledger.facts.week import rain_dates
from api.ledger.kept import kept
from api.papers.shown.cautions import LEAD_PAINT_BEFORE

# Cautions that every wall with an awning has: they stand on the wall drawing and the day sheet, not on the week's.
ON_EVERY_WALL = frozenset(
    {
        "material-lift", "overhead-lift", "ladder", "ladder-surroundings", "service-wind", "hidden-services", "cover",
        "outer-inside", "one-line",
    }
)  # fmt: skip
KIT_MARKS = {"loaded": "■", "verified": "✓", "short": "◧", "uncounted": "□"}


@dataclass(frozen=True)
class KitMark:
    """The condition of an install's kit, and for a short one the last day on which something of it is expected."""

    condition: str
    expected_on: datetime.date | None = None

    @property
    def mark(self) -> str:
        return KIT_MARKS[self.condition]


@dataclass(frozen=True)
class Promise:
    """How firmly the customer's time is held today, with the mark of this state of the booking."""

    hold: str
    mark: str


@dataclass(frozen=True)
class JobLabel:
    """How a job is named on the page: `what` is "14 ft" for an install of that width, else its kind of work.

    `wall` is empty where no wall is surveyed; `kit` None for a visit without one; `locked_by` says who wants it left
    where it is, None for nobody; `promise` is what the customer has been told by now, None for nothing;
    `rain_date` the second day that is kept for it.
    """

    what: str
    wall: str
    town: str
    customer: str
    kit: KitMark | None
    cautions: tuple[str, ...]
    locked_by: str | None
    promise: Promise | None = None
    rain_date: tables.RainDate | None = None
    phone: str = ""
    address: str = ""
    access: str = ""

    @property
    def family(self) -> str:
        """Return what a line has room for: the family name of a person, the whole of any other name."""
        words = self.customer.split()
        return words[-1] if len(words) == 2 else self.customer

    @property
    def size(self) -> str:
        """Return the width as 14′ or 11′ 6″, else the kind."""
        feet, inches = gettext("{feet} ft"), gettext("{feet} ft {inches} in")
        units = feet.removeprefix("{feet}"), inches.rpartition("{inches}")[2]
        return self.what.replace(units[0], "′").replace(units[1], "″") if self.what[:1].isdigit() else self.what


def jobs_by_id(session: Session, job_ids: Collection[str], ready: Collection[str]) -> dict[str, JobLabel]:
    """Return the names of the jobs of a week that the database knows; `ready` are those with a whole kit some day."""
    ids = list(job_ids)
    visit, site, awning = tables.Visit, tables.Site, tables.Awning
    rows: Iterable[Any] = session.execute(
        select(  # type: ignore[call-overload]
            visit.id,
            visit.kind,
            tables.WorkKind.name.label("work"),  # type: ignore[attr-defined]
            visit.awning_id,
            site.town,
            site.address,
            site.access,
            site.built,
            tables.Customer.name,
            tables.Customer.phone,
            awning.width_mm,
        )
        .join(site, col(site.id) == visit.site_id)
        .join(tables.Customer, col(tables.Customer.id) == site.customer_id)
        .join(tables.WorkKind, col(tables.WorkKind.id) == visit.work_id)
        .outerjoin(awning, col(awning.id) == visit.awning_id)
        .where(col(visit.id).in_(ids))
    ).all()
    walls = _walls(session, [row.awning_id for row in rows if row.awning_id is not None])
    kits, cautions = _kits(session, ids, ready), _cautions(session, ids)
    locked = select(tables.Lock.visit_id, tables.Lock.locked_by).where(col(tables.Lock.visit_id).in_(ids))
    locks: dict[str, str] = dict(session.exec(locked).all())
    told = tables.Booking
    still = select(told).where(col(told.visit_id).in_(ids), col(told.withdrawn_at).is_(None)).order_by(col(told.id))
    promises = {booking.visit_id: Promise(booking.hold, booking.mark) for booking in session.exec(still)}
    second = {row.visit_id: row for row in rain_dates(session)}
    # A plan can name a visit that is gone from the database; it stays on the sheet under its id.
    found = {job_id: JobLabel("visit", "", "", "", None, (), None) for job_id in ids}
    for row in rows:
        install = row.kind == "install"
        old = row.built is not None and row.built < LEAD_PAINT_BEFORE and row.kind != "survey"
        found[row.id] = JobLabel(
            what=feet(row.width_mm) if install and row.width_mm is not None else row.work,
            wall=walls.get(row.awning_id or "", "") if install else "",
            town=row.town,
            customer=row.name,
            kit=kits.get(row.id, KitMark("uncounted")) if install else None,
            cautions=(*cautions.get(row.id, ()), *(("lead paint?",) if old else ())),
            locked_by=locks.get(row.id),
            promise=promises.get(row.id),
            rain_date=second.get(row.id),
            phone=row.phone,
            address=row.address,
            access=row.access,
        )
    return found


def _walls(session: Session, awning_ids: list[str]) -> dict[str, str]:
    """Return the kind of wall by awning, of its newest survey."""
    survey = tables.SiteSurvey
    kind = col(survey.document)["wall"]["kind"].as_string()
    rows = session.execute(
        select(survey.awning_id, kind)
        .where(col(survey.awning_id).in_(awning_ids))
        .order_by(col(survey.surveyed_on), col(survey.id))
    )
    return {awning_id: str(kind).replace("-", " ") for awning_id, kind in rows}


def _kits(session: Session, ids: list[str], ready: Collection[str]) -> dict[str, KitMark]:
    """Return the kits that are not plainly uncounted; as the bench has them today, not as when the week was planned."""
    short, state, count = tables.Short, tables.KitState, tables.BenchCount
    counted = set(session.exec(select(count.visit_id).where(col(count.visit_id).in_(ids)).distinct()))
    found = {visit_id: KitMark("verified") for visit_id in ids if visit_id in counted and visit_id in ready}
    loaded = select(state.visit_id).where(col(state.visit_id).in_(ids), col(state.loaded_on).is_not(None))
    found |= {visit_id: KitMark("loaded") for visit_id in session.exec(loaded)}
    missing = select(short).where(col(short.visit_id).in_(ids), col(short.arrived_on).is_(None))
    days: dict[str, list[datetime.date | None]] = {}
    for row in session.exec(missing):
        days.setdefault(row.visit_id, []).append(row.expected_on)
    for visit_id, expected in days.items():
        known = [day for day in expected if day is not None]
        found[visit_id] = KitMark("short", max(known) if len(known) == len(expected) else None)
    return found


class _Finding(msgspec.Struct):
    level: str
    code: str


class _Findings(msgspec.Struct):
    """As much of a layout as is looked at here."""

    findings: tuple[_Finding, ...]


def _cautions(session: Session, ids: list[str]) -> dict[str, tuple[str, ...]]:
    """Return what each wall's layout warns of beyond what every wall does; a layout is read once, while it lasts."""
    made = tables.Prepared
    rows = session.execute(
        select(made.visit_id, made.fingerprint).where(col(made.visit_id).in_(ids), made.what == "layout")
    ).all()
    read: dict[str, tuple[str, ...]] = kept(session, ("cautions by layout",), dict)
    unread = [row.visit_id for row in rows if row.fingerprint not in read]
    if unread:
        layouts = select(made.fingerprint, made.document).where(col(made.visit_id).in_(unread), made.what == "layout")
        for fingerprint, document in session.exec(layouts):
            findings = msgspec.json.decode(document, type=_Findings).findings
            codes = dict.fromkeys(f.code for f in findings if f.level == "caution" and f.code not in ON_EVERY_WALL)
            read[fingerprint] = tuple(code.replace("-", " ") for code in codes)
    return {row.visit_id: read[row.fingerprint] for row in rows}
