"""From rows to documents: the one file that knows both.

`week_of` makes the week document of a business's rows and of what preparation found out about each visit. It also says,
for each visit that cannot go, because of what: the week document holds only that it cannot.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import msgspec

from api import tables
from api.fields.shown import DAY_MIN
from api.ledger.facts.gates import gate_words, holding
from api.ledger.facts.week import Facts
from api.ledger.plans.documents import DrivesTimed
from api.papers.needs import Needs
from api.week.amiss import amiss, is_odd
from api.week.assists import assist_of, unfit
from api.week.crews import crews_of, dates_of, helpers_of, shifts_of, skills_by_day
from api.week.following import after_others, follows_of, rows_of, worked_days
from api.week.rain_dates import KeptFree, with_rain_dates
from scheduler import week as w
from scheduler.plan import Because, Plan, Skipped
from scheduler.weather.limits import LimitTable, Measure, WeatherLimit, WeatherWork
from scheduler.weather.lost import CLOCK, NO_CREW, TOO_SHORT, lost_sentence
from scheduler.weather.windows import SitePoint, Span, work_windows

# The most that a week document takes. What is beyond is planned as if it were just that: one odd row, such as a due day
# of another century, must not keep the whole week from being planned.
_DUE_DAYS, _MOST_CENTS, _MOST_PIECES = 10_000, 10_000_000_000, 1_000_000


@dataclass(frozen=True)
class BuiltWeek:
    """The week, its crews with names; for visits that it cannot take the reasons, by id; and who timed the drives.

    `kept` is what rain dates have taken out of it. `assists` is by job what a second crew is asked for, which the first
    format has no key for.
    """

    week: w.Week
    because: dict[str, tuple[Because, ...]]
    timed: DrivesTimed | None
    kept: tuple[KeptFree, ...] = ()
    assists: Mapping[str, w.Assist] = field(default_factory=dict)


def open_visits(facts: Facts, start_date: datetime.date) -> list[tables.Visit]:
    """Return the visits that the week may take: open ones, but none that has its day before or after it.

    One whose day cannot be right is among them, so that the week can say so.
    """
    after = start_date + datetime.timedelta(days=facts.rules.week_days)
    taken = [v for v in facts.visits.values() if v.state == "open" and v.id not in facts.elsewhere]
    told = {visit_id: booking.day for visit_id, booking in facts.bookings.items()}
    return [v for v in taken if v.id not in told or told[v.id] < after or is_odd(told[v.id])]


def week_of(facts: Facts, prepared: Mapping[str, Needs], start_date: datetime.date) -> BuiltWeek:
    """Return the week that begins on `start_date`: every visit of `open_visits`, each of which `prepared` must hold.

    Raises `BadInput` where rows contradict each other.
    """
    visits = open_visits(facts, start_date)
    places = places_of(facts, visits)
    shifts = shifts_of(facts, start_date)
    because: dict[str, tuple[Because, ...]] = {}
    jobs = []
    for visit in visits:
        job, reasons = job_of(facts, visit, prepared[visit.id], start_date, shifts)
        jobs.append(job)
        if reasons:
            because[job.id] = reasons
    travel, timed = facts.drives.between([(p.lat, p.lon) for p in places])
    week = w.Week(
        format="week/1",
        id=f"week-{start_date}",
        start_date=start_date,
        days=facts.rules.week_days,
        timezone=facts.business.timezone,
        places=tuple(places),
        travel=travel,
        rest=facts.rules.rest,
        yards=tuple(w.Yard(id=yard.id, place=f"yard-{yard.id}") for yard in facts.yards.values()),
        crews=crews_of(facts, shifts, {job.booked.crew for job in jobs if job.booked is not None}, start_date),
        helpers=helpers_of(facts, start_date),
        equipment=_equipment(facts, start_date),
        stock=_stock(facts, start_date, {job.id for job in jobs}),
        jobs=tuple(jobs),
        follows=follows_of(facts, jobs, start_date),
        broken_cents=facts.rules.prices.broken_cents,
    )
    names = {crew.id: crew.name for crew in facts.crews.values()}
    week, kept = with_rain_dates(week, facts.rain_dates, start_date)
    document = w.week_from_data(msgspec.to_builtins(week))
    named = w.with_names(document, names, skills_by_day(facts, start_date))
    named = w.with_rows(named, rows_of(facts, jobs, start_date), worked_days(facts, start_date))
    asked = {v.id: assist_of(v, prepared[v.id].minutes) for v in visits}
    return BuiltWeek(named, because, timed, kept, {name: one for name, one in asked.items() if one is not None})


def places_of(facts: Facts, visits: Sequence[tables.Visit]) -> list[w.Place]:
    """Return the yards' places, then those of the visits' sites, each once."""
    places = [w.Place(id=f"yard-{yard.id}", lat=yard.lat, lon=yard.lon) for yard in facts.yards.values()]
    for site_id in dict.fromkeys(visit.site_id for visit in visits):
        site = facts.sites[site_id]
        places.append(w.Place(id=site.id, lat=site.lat, lon=site.lon))
    return places


def with_because(plan: Plan, because: Mapping[str, tuple[Because, ...]]) -> Plan:
    """Return `plan` with the reasons that only the rows know: of the week the engine can only tell that it forbids."""
    skipped = []
    for s in plan.skipped:
        promise = tuple(why for why in s.because if why.code == "promise_broken")
        skipped.append(Skipped(job=s.job, because=because[s.job] + promise) if s.job in because else s)
    return msgspec.structs.replace(plan, skipped=tuple(skipped))


def _equipment(facts: Facts, start_date: datetime.date) -> tuple[w.Equipment, ...]:
    pools: dict[tuple[str, str], list[int]] = {}
    for item in facts.equipment.values():
        if not item.active:
            continue
        count = pools.setdefault((item.kind, item.yard_id), [0] * facts.rules.week_days)
        out = [o for o in facts.out_of_service if o.equipment_id == item.id]
        for n, date in enumerate(dates_of(facts, start_date)):
            count[n] += not any(o.first <= date <= o.last for o in out)
    return tuple(w.Equipment(id=kind, yard=yard, count=tuple(n)) for (kind, yard), n in pools.items())


def _stock(facts: Facts, start_date: datetime.date, jobs: set[str]) -> tuple[w.Stock, ...]:
    """Return the shelves, less what is set aside for open visits that are not `jobs` of this week.

    A delivery that is late already is expected on the first day. What a shelf lacks, by the books or for those others,
    comes out of its next deliveries.
    """
    others: dict[tuple[str, str], int] = {}
    for held in facts.held:
        if held.visit_id not in jobs and facts.visits[held.visit_id].state == "open":
            others[held.item, held.yard_id] = others.get((held.item, held.yard_id), 0) + held.pieces
    shelves = []
    for stock in facts.stock:
        arrivals: dict[int, int] = {}
        for delivery in facts.deliveries:
            day = max(0, (delivery.due_on - start_date).days)
            here = (delivery.item, delivery.yard_id) == (stock.item, stock.yard_id)
            if here and delivery.arrived_on is None and day < facts.rules.week_days:
                arrivals[day] = arrivals.get(day, 0) + delivery.quantity
        free = stock.on_hand - others.get((stock.item, stock.yard_id), 0)
        lacking = max(0, -free)
        came = []
        for day, pieces in sorted(arrivals.items()):
            owed = min(pieces, lacking)
            lacking -= owed
            if pieces > owed:
                came.append(w.Arrival(day=day, qty=pieces - owed))
        shelves.append(
            w.Stock(id=stock.item, yard=stock.yard_id, on_hand=max(0, min(free, _MOST_PIECES)), arrivals=tuple(came))
        )
    return tuple(shelves)


def job_of(
    facts: Facts,
    visit: tables.Visit,
    made: Needs,
    start_date: datetime.date,
    shifts: Mapping[str, tuple[w.Shift, ...]],
) -> tuple[w.Job, tuple[Because, ...]]:
    """Return a visit as the week that begins on `start_date` has it, and why it cannot go in it, where it cannot."""
    days = facts.rules.week_days
    yard = made.yard_id
    because = list(made.because)
    ready_day = None if made.ready_on is None else max(0, (made.ready_on - start_date).days)
    if ready_day is not None and ready_day >= days:
        ready_day = None
    after = after_others(facts, visit, start_date)
    because += after.because
    ready_day = None if ready_day is None or after.because else max(ready_day, after.first)
    promised = facts.bookings.get(visit.id)
    held = holding(facts.gates.get(visit.id, ()), promised.day if promised else None)
    if held:
        ready_day = None
        because += [Because(code="gate", detail=gate_words(gate, visit.due_on)) for gate in held]
    if wrong := amiss(facts, visit):
        ready_day = None
        because = [*wrong, *because]
    if (alone := unfit(visit, made.minutes)) is not None:
        ready_day = None
        because.append(alone)
    windows, reasons = _windows(
        facts,
        visit,
        made,
        start_date,
        [
            s
            for crew in facts.crews.values()
            if crew.id in shifts and yard in (None, crew.yard_id)
            for s in shifts[crew.id]
        ],
    )
    if ready_day is not None:
        because += reasons
    if after.last is not None:  # where it cannot be kept any more, late is better than never
        windows = tuple(one for one in windows if one.day <= after.last) or windows
    due_day = None if visit.due_on is None else max(-_DUE_DAYS, min(_DUE_DAYS, (visit.due_on - start_date).days))
    prices = facts.rules.prices
    late = prices.late_cents.of(visit.kind) if visit.late_cents is None else visit.late_cents
    skip = prices.skip_cents.of(visit.kind) if visit.skip_cents is None else visit.skip_cents
    # A visit put off is done next week at the earliest: by then it is this much late.
    lateness = 0 if due_day is None else late * max(0, days + 1 - due_day)
    have = facts.off_shelf.get(visit.id, {})  # on its van already
    job = w.Job(
        id=visit.id,
        place=visit.site_id,
        yard=yard,
        minutes=made.minutes,
        hands=made.hands,
        weight_kg=made.weight_kg,
        box_mm=made.box_mm,
        boxes=made.boxes,
        skills=made.skills,
        equipment=dict(made.equipment),
        parts={item: n - have.get(item, 0) for item, n in made.parts.items() if n > have.get(item, 0)},
        ready_day=ready_day,
        windows=windows,
        due_day=due_day,
        late_cents=late,
        skip_cents=min(skip + lateness, _MOST_CENTS),
        booked=_booked(facts, visit, start_date),
    )
    return job, tuple(because) if ready_day is None or not windows else ()


def _windows(
    facts: Facts, visit: tables.Visit, made: Needs, start_date: datetime.date, shifts: Sequence[w.Shift]
) -> tuple[tuple[w.Window, ...], list[Because]]:
    """Return the work windows; where there are none, the reasons: weather and light, or the customer's hours."""
    site, kind = facts.sites[visit.site_id], facts.kind_of(visit)
    spans = []
    for n, date in enumerate(dates_of(facts, start_date)):
        rows = facts.hours.get(visit.id, [])
        spans += [Span(n, h.start, h.end) for h in rows if h.day == date or h.weekday == date.weekday()]
        if not rows:
            spans.append(Span(n, 0, DAY_MIN))
    if not kind.outside:
        return _indoors(spans, made)
    found = work_windows(
        customer_hours=spans,
        start_date=start_date,
        timezone=facts.business.timezone,
        site=SitePoint(site.lat, site.lon),
        forecast=facts.forecasts.at(site.lat, site.lon),
        work=WeatherWork(
            kind=visit.kind,  # type: ignore[arg-type]  # the table's own check keeps it to these three
            minutes=made.minutes,
            tall_ladder=made.tall_ladder,
            large_awning=made.large_awning,
            sealant=made.sealant,
        ),
        limits=limits_of(facts.limits, kind),
        crew_hours=[Span(s.day, s.start, s.end + s.overtime) for s in shifts],
        visit_cents=facts.rules.prices.lost_cents.of(visit.kind),
        climate=facts.climate,
        open_below=facts.rules.weather_open_percent / 100,
    )
    if found.windows:
        return found.windows, []
    if not spans:
        return (), [Because(code="hours", detail="The customer allows no hours in this week.")]
    told = [lost for lost in found.lost if lost.codes[0] not in (CLOCK, NO_CREW)]
    weather = [lost for lost in told if lost.codes[0] != TOO_SHORT]
    if weather:
        words = "; ".join(lost_sentence(lost, start_date) for lost in weather[:3])
        return (), [
            Because(
                code="weather",
                detail=f"Weather and light leave no {made.minutes} min in the customer's hours: {words}.",
            )
        ]
    detail = f"The work takes {made.minutes} min, longer than any stretch that the customer allows while crews work."
    return (), [Because(code="hours", detail=detail)]


def limits_of(limits: LimitTable, kind: tables.WorkKind) -> LimitTable:
    """Return the limits of weather with those that a kind of work adds: the strictest of each measure holds."""
    own: list[tuple[Measure, float]] = [] if kind.wind_mph is None else [("wind_mph", kind.wind_mph)]
    own += [("rain_mm", 0.0)] if kind.dry else []
    added = tuple(
        WeatherLimit(kind.counts_as, measure, value, kind.name, "the business's own")  # type: ignore[arg-type]  # as above
        for measure, value in own
    )
    return LimitTable(limits.rows + added) if added else limits


def _indoors(spans: Sequence[Span], made: Needs) -> tuple[tuple[w.Window, ...], list[Because]]:
    """Return the customer's hours as windows of work that neither weather nor light can stop."""
    long_enough = [span for span in spans if span.end - span.start >= made.minutes]
    if not long_enough:
        detail = "The customer allows no hours in this week that are long enough for the work."
        return (), [Because(code="hours", detail=detail)]
    return tuple(w.Window(day=s.day, start=s.start, end=s.end, risk_cents=0) for s in long_enough), []


def _booked(facts: Facts, visit: tables.Visit, start_date: datetime.date) -> w.Booking | None:
    """Return what the customer was told, where it lies in this week; one for a day gone by binds nothing any more."""
    booking, prices = facts.bookings.get(visit.id), facts.rules.prices
    if booking is None or booking.day < start_date or is_odd(booking.day):
        return None
    return w.Booking(
        crew=booking.crew_id,
        day=(booking.day - start_date).days,
        start=booking.start,
        hold=booking.hold,  # type: ignore[arg-type]  # the table's own check keeps it to these three
        move_cents=prices.move_cents,
        retime_cents=prices.retime_cents,
        recrew_cents=prices.recrew_cents,
    )
