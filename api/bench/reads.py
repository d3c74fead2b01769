"""What the bench's pages show: crates to count, counts under way, shorts, and the visits that hang on them."""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

import sqlalchemy as sa
from sqlmodel import Session, col, select

from api import tables
from api.bench.counting import ItemTally, pieces_by_person, tallies, under_way
from api.jobs.listed import Where, places
from api.papers.kits import counts_of, crate_list, expected, kit_of
from scheduler.kit import KitState

AHEAD_DAYS = 7
MOST_LINES = 150
_LAST_TAPS = 12


@dataclass(frozen=True)
class CrateJob:
    """A visit whose crate the bench has to do with; `where` is its place on the posted week or the newest plan.

    `told` is what the customer was told, `then` the visits that follow it.
    """

    id: str
    width_mm: int
    model: str
    town: str
    customer: str
    yard: str
    arrives_on: datetime.date | None
    due_on: datetime.date | None
    where: Where | None
    told: tables.Booking | None
    then: tuple[str, ...]

    @property
    def day(self) -> datetime.date | None:
        """Return the day on which the kit is wanted, as far as one is known."""
        return self.where.date if self.where else self.told.day if self.told else None

    @property
    def times_at(self) -> str:
        """Return where it gets another time: what is posted is changed, all else looks into the weeks ahead."""
        name = quote(self.id, safe="")
        posted = self.where is not None and self.where.posted
        return f"/rebooking/new?visit={name}&cause=short" if posted else f"/jobs/{name}/times"

    @property
    def soon(self) -> tuple[Any, ...]:
        """Sorts by how soon the visit is."""
        start = self.where.start if self.where else self.told.start if self.told else 0
        late = datetime.date.max
        return (self.day or late, start if self.day else 0, self.due_on or late, self.id)


@dataclass(frozen=True)
class UnderWay:
    """A count under way: `counted` of `listed` pieces, `looked` of `items` items looked at."""

    job: CrateJob
    count: tables.CrateCount
    counted: int
    listed: int
    looked: int
    items: int


@dataclass(frozen=True)
class Missing:
    """The open shorts of one visit; `falls` says in words why its promised day cannot be kept, empty where it can."""

    job: CrateJob
    shorts: list[tables.Short]
    falls: str

    @property
    def posted(self) -> bool:
        """Say whether the visit is on a posted week; else its customer was promised a day, or nobody knows one yet."""
        return self.job.where is not None and self.job.where.posted


@dataclass(frozen=True)
class BenchPage:
    """The bench today; each list sorted by how soon the visit is, `left_out` says how many crates are not listed."""

    today: datetime.date
    arriving: list[CrateJob]
    to_count: list[CrateJob]
    under_way: list[UnderWay]
    missing: list[Missing]
    coming: list[CrateJob]
    unnamed: list[CrateJob]
    left_out: int


@dataclass(frozen=True)
class Item:
    """A line of a crate's list; `tally` is None while nobody has looked at it, `before` what the last count found."""

    name: str
    listed: int
    tally: ItemTally | None
    before: tables.BenchCount | None
    missing: int


@dataclass(frozen=True)
class CratePage:
    """One crate: its list with the count under way, the kit by closed counts, shorts, and whether the visit falls."""

    visit: tables.Visit
    job: CrateJob
    today: datetime.date
    count: tables.CrateCount | None
    last: tables.CrateCount | None
    last_by: Mapping[str, int]
    items: list[Item]
    state: KitState | None
    shorts: list[tables.Short]
    falls: str
    taps: list[tables.CountLine]

    @property
    def counted(self) -> int:
        return sum(min(i.tally.counted, i.listed) for i in self.items if i.tally)

    @property
    def listed(self) -> int:
        return sum(i.listed for i in self.items)

    @property
    def untouched(self) -> list[str]:
        """Return the items of the list that nobody has looked at in the count under way."""
        return [i.name for i in self.items if i.tally is None and i.listed] if self.count else []


def bench_page(
    session: Session, today: datetime.date, yard: str | None = None, posted_falls: Mapping[str, str] | None = None
) -> BenchPage:
    """Return the bench's list; `yard`: of that yard alone.

    posted_falls: why posted visits cannot go as posted, by visit; None: not asked.
    """
    waiting = _uncounted(session, today, yard)
    counts = {row.visit_id: row for row in session.exec(_open_counts(yard))}
    short_rows: dict[str, list[tables.Short]] = defaultdict(list)
    for short in session.exec(_open_shorts(yard)):
        short_rows[short.visit_id].append(short)
    jobs = jobs_of(session, {*waiting, *counts, *short_rows}, today)
    crates = sorted((jobs[visit] for visit in waiting if visit not in counts), key=lambda job: job.soon)
    here = [job for job in crates if job.arrives_on is not None and job.arrives_on < today]
    later = [job for job in crates if job.arrives_on is not None and job.arrives_on > today]
    return BenchPage(
        today=today,
        arriving=[job for job in crates if job.arrives_on == today],
        to_count=here[:MOST_LINES],
        under_way=_under_way(session, counts, jobs),
        missing=_missing(session, short_rows, jobs, today, posted_falls),
        coming=sorted(later, key=lambda job: (job.arrives_on, *job.soon))[:MOST_LINES],
        unnamed=[job for job in crates if job.arrives_on is None][:MOST_LINES],
        left_out=max(0, len(here) - MOST_LINES),
    )


def crate_page(
    session: Session, visit: tables.Visit, today: datetime.date, posted_falls: Mapping[str, str] | None = None
) -> CratePage | None:
    """Return the page of a visit's crate, None where it has none; `posted_falls` as for `bench_page`."""
    job = jobs_of(session, {visit.id}, today).get(visit.id)
    if job is None:
        return None
    listed, count = crate_list(session, visit) or {}, under_way(session, visit.id)
    found = tallies(session, count.id) if count is not None and count.id is not None else {}
    before, state = counts_of(session, [visit.id])[visit.id], kit_of(session, visit)
    closed = select(tables.CrateCount).where(tables.CrateCount.visit_id == visit.id)
    last = session.exec(
        closed.where(col(tables.CrateCount.closed_at).is_not(None)).order_by(col(tables.CrateCount.id).desc())
    ).first()
    missing = dict(state.missing) if state else {}
    names = dict.fromkeys((*listed, *found, *(item for item in before if before[item].counted)))
    taps: list[tables.CountLine] = []
    if count is not None:
        lines = select(tables.CountLine).where(tables.CountLine.count_id == count.id)
        taps = list(session.exec(lines.order_by(col(tables.CountLine.id).desc()).limit(_LAST_TAPS)))
    wanted = select(tables.Short).where(tables.Short.visit_id == visit.id)
    shorts = list(session.exec(wanted.order_by(col(tables.Short.id))))
    return CratePage(
        visit=visit,
        job=job,
        today=today,
        count=count,
        last=last,
        last_by=pieces_by_person(session, last.id) if last is not None and last.id is not None else {},
        items=[Item(n, listed.get(n, 0), found.get(n), before.get(n), missing.get(n, 0)) for n in names],
        state=state,
        shorts=[short for short in shorts if short.arrived_on is None],
        falls=_falls(job, missing, shorts, today, posted_falls),
        taps=taps,
    )


def jobs_of(session: Session, visit_ids: Collection[str], today: datetime.date) -> dict[str, CrateJob]:
    """Return the installs among `visit_ids` with what is known of when they go."""
    if not visit_ids:
        return {}
    visit, awning, site, customer = tables.Visit, tables.Awning, tables.Site, tables.Customer
    rows = (
        sa.select(visit, awning, col(site.town), col(customer.name))
        .join(awning, col(awning.id) == visit.awning_id)
        .join(site, col(site.id) == visit.site_id)
        .join(customer, col(customer.id) == site.customer_id)
        .where(col(visit.id).in_(visit_ids))
    )
    told: dict[str, tables.Booking] = {}
    bookings = select(tables.Booking).where(
        col(tables.Booking.visit_id).in_(visit_ids),
        col(tables.Booking.withdrawn_at).is_(None),
        tables.Booking.day >= today,
    )
    for booking in session.exec(bookings.order_by(col(tables.Booking.id))):
        told[booking.visit_id] = booking
    then: dict[str, list[str]] = defaultdict(list)
    follows = select(tables.VisitFollows).where(col(tables.VisitFollows.first_id).in_(visit_ids))
    for follow in session.exec(follows.order_by(col(tables.VisitFollows.then_id))):
        then[follow.first_id].append(follow.then_id)
    stops = places(session).stops
    found = {}
    for row, kit, town, name in session.execute(rows):
        where = stops.get(row.id)
        found[row.id] = CrateJob(
            id=row.id,
            width_mm=kit.width_mm,
            model=kit.model,
            town=town,
            customer=name,
            yard=kit.yard_id,
            arrives_on=kit.arrives_on,
            due_on=row.due_on,
            where=where if where is not None and where.date >= today else None,
            told=told.get(row.id),
            then=tuple(then[row.id]),
        )
    return found


def _falls(
    job: CrateJob, missing: Mapping[str, int], shorts: list[tables.Short], today: datetime.date,
    posted_falls: Mapping[str, str] | None,
) -> str:  # fmt: skip
    """Return why the day that was posted or told cannot be kept; empty where it can.

    Of a posted visit that is what is said of it everywhere; of one that is promised only, what its kit lacks.
    """
    if posted_falls is not None and job.where is not None and job.where.posted:
        return posted_falls.get(job.id, "")
    posted = job.where if job.where is not None and job.where.posted else None
    day = posted.date if posted else job.told.day if job.told else None
    if day is None:
        return ""
    why = []
    for item, pieces in missing.items():
        comes, words = expected(item, pieces, shorts, today)
        if comes is None or comes > day:
            why.append(words)
    return " ".join(why)


def _uncounted(session: Session, today: datetime.date, yard: str | None) -> list[str]:
    """Return the open installs whose crate has not been counted, or not all of it; those far ahead are left out."""
    visit, awning, part, count = tables.Visit, tables.Awning, tables.MakerPart, tables.BenchCount
    counted = sa.exists().where(col(count.visit_id) == visit.id)
    item_counted = sa.exists().where(col(count.visit_id) == visit.id, col(count.item) == part.item)
    item_left = sa.exists().where(col(part.awning_id) == awning.id, ~item_counted)
    soon = today + datetime.timedelta(days=AHEAD_DAYS)
    rows = (
        select(visit.id)
        .join(awning, col(awning.id) == visit.awning_id)
        .where(visit.state == "open", visit.kind == "install")
        .where(sa.or_(~counted, item_left))
        .where(sa.or_(col(awning.arrives_on).is_(None), col(awning.arrives_on) <= soon))
    )
    return list(session.exec(rows if yard is None else rows.where(awning.yard_id == yard)))


def _open_counts(yard: str | None) -> Any:
    count, visit, awning = tables.CrateCount, tables.Visit, tables.Awning
    rows = select(count).where(col(count.closed_at).is_(None)).join(visit, col(visit.id) == count.visit_id)
    rows = rows.where(visit.state == "open")
    if yard is None:
        return rows
    return rows.join(awning, col(awning.id) == visit.awning_id).where(awning.yard_id == yard)


def _open_shorts(yard: str | None) -> Any:
    short, visit, awning = tables.Short, tables.Visit, tables.Awning
    rows = select(short).where(col(short.arrived_on).is_(None)).join(visit, col(visit.id) == short.visit_id)
    rows = rows.where(visit.state == "open").order_by(col(short.id))
    if yard is None:
        return rows
    return rows.join(awning, col(awning.id) == visit.awning_id).where(awning.yard_id == yard)


def _under_way(
    session: Session, counts: Mapping[str, tables.CrateCount], jobs: Mapping[str, CrateJob]
) -> list[UnderWay]:
    found = []
    for visit_id, count in counts.items():
        if visit_id not in jobs:
            continue
        listed = crate_list(session, session.get_one(tables.Visit, visit_id)) or {}
        seen = tallies(session, count.id or 0)
        pieces = sum(min(tally.counted, listed.get(item, 0)) for item, tally in seen.items())
        looked = len(listed.keys() & seen.keys())
        found.append(UnderWay(jobs[visit_id], count, pieces, sum(listed.values()), looked, len(listed)))
    return sorted(found, key=lambda one: one.job.soon)


def _missing(
    session: Session, shorts: Mapping[str, list[tables.Short]], jobs: Mapping[str, CrateJob], today: datetime.date,
    posted_falls: Mapping[str, str] | None,
) -> list[Missing]:  # fmt: skip
    """Return the shorts by visit; what is missing of a kit is what its open shorts add up to."""
    found = []
    for visit_id, rows in shorts.items():
        if visit_id not in jobs:  # without an awning any more
            continue
        missing: dict[str, int] = defaultdict(int)
        for row in rows:
            missing[row.item] += row.missing
        found.append(Missing(jobs[visit_id], rows, _falls(jobs[visit_id], missing, rows, today, posted_falls)))
    return sorted(found, key=lambda one: one.job.soon)
