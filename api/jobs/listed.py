"""The list of jobs, in parts: small selects by key and index, since a business has thousands of jobs behind it."""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import msgspec
import sqlalchemy as sa
from sqlmodel import Session, col, select

from api import tables
from api.ledger.kept import kept
from api.ledger.plans.documents import reasoned
from api.papers.kits import state_of
from scheduler.kit import Condition, Kit
from scheduler.plan import Because, read_plan

# Rows looked at in one go while the conditions of their kits are compared with the one that is asked for.
_AT_ONCE = 200


@dataclass(frozen=True)
class JobsWanted:
    """Which jobs are asked for; an empty word asks for nothing. `because` is a code of the waiting pile."""

    kind: str = ""
    state: str = ""
    kit: str = ""
    town: str = ""
    because: str = ""
    words: str = ""


@dataclass(frozen=True)
class Where:
    """Where a plan has put a job; `load` is the number of the van's load of that day that its things are in."""

    date: datetime.date
    start: int
    end: int
    crew: str
    helpers: int
    posted: bool
    load: int = 1


@dataclass(frozen=True)
class Places:
    """Where jobs stand: those with a time, and those that the newest plan leaves waiting with the reasons.

    `lifts` says where the second crews of jobs come, of those that have one.
    """

    stops: Mapping[str, Where]
    waiting: Mapping[str, tuple[Because, ...]]
    lifts: Mapping[str, Where]

    def waiting_because(self, code: str) -> list[str]:
        """Return the jobs that wait because of `code`, among other reasons or alone."""
        return [job for job, why in self.waiting.items() if any(one.code == code for one in why)]

    def codes(self) -> dict[str, int]:
        """Return how many jobs wait because of each code."""
        found: dict[str, int] = defaultdict(int)
        for why in self.waiting.values():
            for code in {one.code for one in why}:
                found[code] += 1
        return found


@dataclass(frozen=True)
class JobLine:
    """One line of the list; `work` is its kind of work as people say it, `kind` what that counts as.

    `kit` is None for a visit without a crate to count.
    """

    id: str
    kind: str
    work: str
    state: str
    customer: str
    address: str
    town: str
    width_mm: int | None
    due_on: datetime.date | None
    note: str
    kit: Condition | None
    where: Where | None
    waiting: tuple[Because, ...]


def places(session: Session) -> Places:
    """Return where the jobs stand: as posted, and as the newest plan has those that are not posted."""
    stops: dict[str, Where] = {}
    lifts: dict[str, Where] = {}
    waiting: dict[str, tuple[Because, ...]] = {}
    newest = session.execute(
        sa.select(*map(col, (tables.StoredPlan.id, tables.StoredPlan.start_date, tables.StoredPlan.reasons_wanted)))
        .order_by(col(tables.StoredPlan.id).desc())
        .limit(1)
    ).first()
    if newest is not None:
        read = _read(session, newest.id, newest.start_date, posted=False, without=newest.reasons_wanted)
        stops, waiting, lifts = dict(read.stops), dict(read.waiting), dict(read.lifts)
    posted = tables.PostedWeek
    counting: dict[datetime.date, int] = {}
    rows = sa.select(col(posted.start_date), col(posted.plan_id)).where(col(posted.withdrawn_at).is_(None))
    for start_date, plan_id in session.execute(rows.order_by(col(posted.id).desc()).limit(60)):
        counting.setdefault(start_date, plan_id)
    for start_date, plan_id in sorted(counting.items()):
        read = _read(session, plan_id, start_date, posted=True)
        lifts = {job: at for job, at in lifts.items() if job not in read.stops} | dict(read.lifts)
        stops |= read.stops
    return Places(stops, {job: why for job, why in waiting.items() if job not in stops}, lifts)


def _read(session: Session, plan_id: int, start_date: datetime.date, *, posted: bool, without: bool = False) -> Places:
    """Return the places of one stored plan, which never changes but for the reasons that it is still `without`."""

    def make() -> Places:
        columns = select(tables.StoredPlan.plan, tables.StoredPlan.reasons)
        text, reasons = session.exec(columns.where(tables.StoredPlan.id == plan_id)).one()
        plan = reasoned(read_plan(text), reasons)
        stops: dict[str, Where] = {}
        lifts: dict[str, Where] = {}
        for route in plan.routes:
            date, load = start_date + datetime.timedelta(days=route.day), 1
            for stop in route.stops:
                load += bool(stop.reload)
                where = Where(date, stop.start, stop.end, route.crew, route.helpers, posted, load)
                if stop.job:
                    stops[stop.job] = where
                elif stop.assist:
                    lifts[stop.assist] = where
        return Places(stops, {skipped.job: skipped.because for skipped in plan.skipped}, lifts)

    return kept(session, ("places", plan_id, posted, without), make)


def jobs_list(
    session: Session, wanted: JobsWanted, standing: Places, after: str | None, limit: int
) -> tuple[list[JobLine], str | None]:
    """Return jobs in order of their ids, and the id to go on `after`, None at the end."""
    lines: list[JobLine] = []
    for line in _matching(session, wanted, standing, after, limit):
        if len(lines) == limit:
            return lines, lines[-1].id
        lines.append(line)
    return lines, None


def _matching(
    session: Session, wanted: JobsWanted, standing: Places, after: str | None, limit: int
) -> Iterator[JobLine]:
    at_once = _AT_ONCE if wanted.kit else limit + 1
    while True:
        found = session.execute(_select(wanted, standing, after).limit(at_once)).all()
        kits = conditions(session, [(row.id, row.awning_id) for row in found if row.kind == "install"])
        for row in found:
            kit = kits.get(row.id)
            if not wanted.kit or wanted.kit == kit:
                yield JobLine(
                    row.id, row.kind, row.work, row.state, row.name, row.address, row.town, row.width_mm, row.due_on,
                    row.fault or row.note, kit, standing.stops.get(row.id), standing.waiting.get(row.id, ()),
                )  # fmt: skip
        if len(found) < at_once:
            return
        after = found[-1].id


def _select(wanted: JobsWanted, standing: Places, after: str | None) -> Any:
    visit, site, customer, awning = tables.Visit, tables.Site, tables.Customer, tables.Awning
    asked: Any = (
        sa.select(
            col(visit.id), col(visit.kind), col(tables.WorkKind.name).label("work"), col(visit.state),
            col(visit.due_on), col(visit.fault), col(visit.note),
            col(visit.awning_id), col(customer.name), col(site.address), col(site.town), col(awning.width_mm),
        )
        .join(site, col(site.id) == visit.site_id)
        .join(customer, col(customer.id) == site.customer_id)
        .join(tables.WorkKind, col(tables.WorkKind.id) == visit.work_id)
        .outerjoin(awning, col(awning.id) == visit.awning_id)
        .order_by(col(visit.id))
    )  # fmt: skip
    if after is not None:
        asked = asked.where(col(visit.id) > after)
    for column, value in ((visit.work_id, wanted.kind), (visit.state, wanted.state), (site.town, wanted.town)):
        if value:
            asked = asked.where(col(column) == value)
    if wanted.because:
        asked = asked.where(col(visit.id).in_(standing.waiting_because(wanted.because)))
    for word in wanted.words.split():
        columns = (visit.id, visit.order_id, visit.awning_id, visit.fault, visit.note, customer.name, customer.phone,
                   site.address, site.town)  # fmt: skip
        asked = asked.where(sa.or_(*(col(column).icontains(word, autoescape=True) for column in columns)))
    if wanted.kit:
        asked = asked.where(col(visit.kind) == "install", col(visit.awning_id).is_not(None))
        asked = asked.where(*_likely(wanted.kit))
    return asked


def _likely(condition: str) -> Iterator[sa.ColumnElement[bool]]:
    """Yield what a kit in this condition must fulfil in any case; what does is then looked at item by item.

    An awning whose maker's list nobody has entered yet goes by the list that its drawing gave, which only that tells.
    """
    visit, part, count = tables.Visit, tables.MakerPart, tables.BenchCount
    of_part = sa.and_(col(count.visit_id) == visit.id, col(count.item) == part.item)
    of_awning = col(part.awning_id) == visit.awning_id
    unlisted = ~sa.exists().where(of_awning)
    uncounted = sa.exists().where(of_awning, ~sa.exists().where(of_part).correlate(visit, part))
    if condition == "uncounted":
        yield sa.or_(uncounted, unlisted)
        return
    yield sa.exists().where(col(count.visit_id) == visit.id)
    if condition == "short":
        too_few = col(count.counted) - col(count.damaged) < col(part.quantity)
        yield sa.or_(sa.exists().where(of_awning, of_part, too_few), unlisted)
    else:
        yield ~uncounted
    if condition == "loaded":
        on_van = col(tables.KitState.loaded_on).is_not(None)
        yield sa.exists().where(col(tables.KitState.visit_id) == visit.id, on_van)


def conditions(session: Session, installs: Sequence[tuple[str, str | None]]) -> dict[str, Condition]:
    """Return the condition of the kits of `installs` (visit and awning), without those that have no list yet."""
    visits = {visit: awning for visit, awning in installs if awning is not None}
    if not visits:
        return {}
    listed: dict[str, dict[str, int]] = defaultdict(dict)
    part = tables.MakerPart
    rows = sa.select(col(part.awning_id), col(part.item), col(part.quantity))
    for awning, item, quantity in session.execute(rows.where(col(part.awning_id).in_(set(visits.values())))):
        listed[awning][item] = quantity
    unlisted = [visit for visit, awning in visits.items() if awning not in listed]
    made = tables.Prepared
    kits = sa.select(col(made.visit_id), col(made.document)).where(
        col(made.visit_id).in_(unlisted), col(made.what) == "kit"
    )
    for visit, document in session.execute(kits) if unlisted else ():
        listed[visits[visit]] = msgspec.json.decode(document, type=Kit).crate()
    counts, shorts, loaded = _counted(session, visits)
    return {
        visit: state_of(listed[awning], counts.get(visit, {}), shorts.get(visit, ()), visit in loaded).condition
        for visit, awning in visits.items()
        if awning in listed
    }


def _counted(session: Session, visits: Collection[str]) -> tuple[Any, dict[str, list[tables.Short]], set[str]]:
    """Return the newest count by visit and item, shorts by visit, and which visits are loaded.

    Counts come as plain columns, named as in `BenchCount`: there are ten of them to a kit.
    """
    count, state = tables.BenchCount, tables.KitState
    columns = (count.visit_id, count.item, count.counted, count.damaged, count.count_id)
    wanted = sa.select(*map(col, columns)).where(col(count.visit_id).in_(visits)).order_by(col(count.id))
    counts: dict[str, dict[str, Any]] = defaultdict(dict)
    for row in session.execute(wanted):
        counts[row.visit_id][row.item] = row
    shorts: dict[str, list[tables.Short]] = defaultdict(list)
    for short in session.exec(select(tables.Short).where(col(tables.Short.visit_id).in_(visits))):
        shorts[short.visit_id].append(short)
    on_vans = select(state.visit_id).where(col(state.visit_id).in_(visits), col(state.loaded_on).is_not(None))
    return counts, shorts, set(session.exec(on_vans))


def towns_and_kinds(session: Session) -> tuple[list[str], list[tuple[str, str]]]:
    """Return by what the list is narrowed: the towns that have a site, and the kinds of work as (id, name)."""
    kind = sa.select(col(tables.WorkKind.name), col(tables.WorkKind.id))
    town = sa.select(col(tables.Site.town), sa.literal("")).distinct()
    found = sorted(tuple(row) for row in session.execute(sa.union_all(kind, town)))
    return [name for name, one in found if not one], [(one, name) for name, one in found if one]
