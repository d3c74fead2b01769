"""One line a crew for the office: where it is, how far behind or ahead, and which promises that puts at risk."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping
from typing import Literal

import msgspec
from sqlmodel import Session, col, select

from api import tables
from api.day.expected import RunningDay, today_of
from api.day.overview import ON_TIME_MIN
from api.fields.shown import clock, duration
from api.languages import gettext, to_say
from api.weeksheet.names import JobLabel, jobs_by_id
from scheduler.plan import Stop
from scheduler.price import RETIME_FROM_MIN
from scheduler.under_way.expected import Expected, Taps
from scheduler.under_way.ways import AT_RISK_MIN

NO_WORD = to_say("no word yet")
QUIET_MIN = 15  # so long after its posted departure a crew that has noted nothing is asked after
Level = Literal["at risk", "broken"]


class Risk(msgspec.Struct, frozen=True):
    """A promise that will not be kept as told, in minutes after midnight: told, expected, and by how much later.

    `start` and `end` are posted, `hold` is how firmly the customer was told.

    `message` is the id of the message that tells the customer so, with its `state`; None: nobody has drafted one.
    """

    visit: str
    what: str
    customer: str
    town: str
    phone: str
    start: int
    end: int
    hold: str
    told: int
    expected: int
    late_min: int
    level: Level
    message: int | None
    state: str

    @property
    def sentence(self) -> str:
        """Return what is at risk in words."""
        about = duration(_about(self.late_min))
        words = gettext("{customer}, {town}, {time} will be about {about} late")
        return words.format(customer=self.customer, town=self.town, time=clock(self.told), about=about)


class CrewLine(msgspec.Struct, frozen=True):
    """A crew's line: `where` in words, `behind_min` (below 0: ahead), the next promise, what is at risk.

    `heard` is the minute of what it noted last, None: nothing yet; `quiet`: it should have left and has noted nothing.
    """

    crew: str
    name: str
    where: str
    behind_min: int
    standing: str
    next: str
    back: int
    past_min: int
    heard: int | None
    quiet: bool
    risks: tuple[Risk, ...]


def crew_lines(session: Session, day: datetime.date, now: datetime.datetime) -> list[CrewLine]:
    """Return the lines of the crews that are out on `day`, those with promises at risk first, the latest first."""
    crews = today_of(session, day, now)
    visits = [job.id for one in crews.values() for job in one.plan.jobs]
    lifts = [stop.assist for one in crews.values() for stop in one.plan.route.stops if stop.assist]
    names = dict(session.exec(select(tables.Crew.id, tables.Crew.name)).all())
    labels = jobs_by_id(session, [*visits, *lifts], ())
    told, late = _told(session, visits, day), _messages(session, visits, day)
    lines = [_line(one, names.get(crew, crew), labels, told, late) for crew, one in crews.items()]
    rank = {"broken": 2, "at risk": 1}
    worst = {line.crew: max((rank[r.level] for r in line.risks), default=0) for line in lines}
    return sorted(lines, key=lambda line: (-worst[line.crew], not line.quiet, -line.behind_min, line.name))


class CellNow(msgspec.Struct, frozen=True):
    """What a crew's cell of the week sheet says of today: `standing` in words, and its visits at risk with minutes."""

    day: int
    standing: str
    late: dict[str, int]


def cells_now(lines: Iterable[CrewLine], day: int) -> dict[str, CellNow]:
    """Return by crew what stands in its cell of today, where there is anything to say; minutes in fives."""
    found = {}
    for line in lines:
        late = {risk.visit: _about(risk.late_min) for risk in line.risks}
        if late or line.quiet or line.behind_min > AT_RISK_MIN:
            words = gettext(NO_WORD) if line.quiet else _behind_words(_about(line.behind_min))
            found[line.crew] = CellNow(day, words if line.quiet or line.behind_min > 0 else "", late)
    return found


def _line(
    one: RunningDay,
    name: str,
    labels: Mapping[str, JobLabel],
    told: Mapping[str, tables.Booking],
    late: Mapping[str, tables.Message],
) -> CrewLine:
    quiet = is_quiet(one)
    ahead = [visit for visit in one.day.visits if visit.state in ("ahead", "on the way")]
    following = ahead[0] if ahead else None
    behind = _behind(one)
    stops = {stop.job: stop for stop in one.plan.route.stops}
    risks = tuple(r for visit in ahead if (r := _risk(visit, stops[visit.job], labels[visit.job], told, late, quiet)))
    words = ""
    if following is not None:
        label, booking = labels[following.job], told.get(following.job)
        words = gettext("{customer}, {town}, about {time}; promised {promised}")
        if booking is None:
            words = gettext("{customer}, {town}, about {time}; nothing promised")
        words = words.format(
            customer=label.customer, town=label.town, time=clock(following.start),
            promised="" if booking is None else clock(booking.start),
        )  # fmt: skip
    return CrewLine(
        crew=one.crew_id,
        name=name,
        where=_where(one, labels),
        behind_min=behind,
        standing=gettext(NO_WORD) if quiet else standing(behind),
        next=words,
        back=one.day.back,
        past_min=one.day.past_min,
        heard=one.heard,
        quiet=quiet,
        risks=risks,
    )


def is_quiet(one: RunningDay) -> bool:
    """Say whether a crew should have left by now and has noted nothing."""
    return one.heard is None and one.now > one.plan.route.depart + QUIET_MIN


def standing(behind_min: int) -> str:
    """Return how far a crew is behind or ahead, in words."""
    if abs(behind_min) <= ON_TIME_MIN:
        return gettext("on time")
    return _behind_words(behind_min) if behind_min > 0 else gettext("{n} min ahead").format(n=-behind_min)


def _behind_words(minutes: int) -> str:
    return gettext("{n} min behind").format(n=minutes)


def _behind(one: RunningDay) -> int:
    """Return by how much what the crew does next, or is at, will be done later than planned."""
    for call in one.day.calls:
        if call.state in ("there", "on the way", "ahead"):
            return call.end - one.plan.route.stops[call.stop - 1].end
    return one.day.back - one.plan.route.back


def _where(one: RunningDay, labels: Mapping[str, JobLabel]) -> str:
    if one.back is not None:
        return gettext("back in the yard since {time}").format(time=clock(one.back))
    calls = one.day.calls
    for call in calls:
        said = {"time": clock(call.start), "end": clock(call.end)}
        if call.kind == "load":
            if call.state == "there":
                words = gettext("in the yard for load {n} since {time}, done about {end}")
                return words.format(n=_number(call, one), **said)
            continue
        said["place"] = f"{labels[call.job].customer}, {labels[call.job].town}"
        if call.state == "there":
            words = gettext("at {place} since {time}, done about {end}")
            if call.kind == "lift":
                words = gettext("helping with the lift at {place} since {time}, done about {end}")
            return words.format(**said)
        if call.state == "on the way":
            return gettext("on the way to {place}, there about {time}").format(**said)
    over = [call for call in calls if call.state == "over" and (call.kind != "load" or _is_noted(call, one))]
    left = [call for call in calls if call.state == "ahead"]
    if not left:
        return gettext("on the way home, back about {time}").format(time=clock(one.day.back))
    if over:
        return f"{_done(max(over, key=lambda call: call.end), labels, one)}, {_on_to(left[0], labels, one)}"
    if one.out is not None:
        return gettext("out since {time}").format(time=clock(one.out))
    return gettext("in the yard, to leave at {time}").format(time=clock(one.plan.route.depart))


def _done(call: Expected, labels: Mapping[str, JobLabel], one: RunningDay) -> str:
    if call.kind == "load":
        return gettext("load {n} on the van {time}").format(n=_number(call, one), time=clock(call.end))
    words = gettext("lift done at {town} {time}") if call.kind == "lift" else gettext("done at {town} {time}")
    return words.format(town=labels[call.job].town, time=clock(call.end))


def _on_to(call: Expected, labels: Mapping[str, JobLabel], one: RunningDay) -> str:
    """Return where a crew goes next of which nobody notes that it sets out there; a visit it notes itself."""
    if call.kind == "visit":
        return gettext("not on the way again yet")
    if call.kind == "lift":
        words = gettext("next the lift at {town}, about {time}")
        return words.format(town=labels[call.job].town, time=clock(call.start))
    words = gettext("next the yard for load {n}, there about {time}")
    return words.format(n=_number(call, one), time=clock(call.start))


def _number(load: Expected, one: RunningDay) -> int:
    """Return which of the day's loads a load is; the crew leaves with the first."""
    return 1 + sum(1 for stop in one.plan.route.stops[: load.stop] if stop.reload)


def _is_noted(load: Expected, one: RunningDay) -> bool:
    return one.loads.get(_number(load, one), Taps()).over is not None


def _risk(
    visit: Expected,
    stop: Stop,
    label: JobLabel,
    told: Mapping[str, tables.Booking],
    late: Mapping[str, tables.Message],
    quiet: bool,
) -> Risk | None:
    """Return what is at risk of a visit's promise, None where nothing is; while a crew is `quiet` nothing is sure."""
    booking = told.get(visit.job)
    if booking is None:
        return None
    late_min, firm = visit.start - booking.start, booking.hold == "firm"
    if visit.in_window and late_min <= (AT_RISK_MIN if firm else RETIME_FROM_MIN):
        return None
    missed = (firm and late_min > RETIME_FROM_MIN) or (booking.hold != "soft" and not visit.in_window)
    broken = missed and not quiet
    message = late.get(visit.job)
    return Risk(
        visit=visit.job,
        what=label.what,
        customer=label.customer,
        town=label.town,
        phone=label.phone,
        start=stop.start,
        end=stop.end,
        hold=booking.hold,
        told=booking.start,
        expected=visit.start,
        late_min=late_min,
        level="broken" if broken else "at risk",
        message=None if message is None else message.id,
        state="" if message is None else message.state,
    )


def _told(session: Session, visits: list[str], day: datetime.date) -> dict[str, tables.Booking]:
    """Return what customers have been told for that day, by visit."""
    table = tables.Booking
    rows = select(table).where(col(table.visit_id).in_(visits), col(table.withdrawn_at).is_(None))
    return {row.visit_id: row for row in session.exec(rows.order_by(col(table.id))) if row.day == day}


def _messages(session: Session, visits: list[str], day: datetime.date) -> dict[str, tables.Message]:
    """Return the newest message by visit that says of that day that the crew comes late, dropped ones left out."""
    table = tables.Message
    rows = select(table).where(col(table.visit_id).in_(visits), table.kind == "late", table.state != "dropped")
    found = session.exec(rows.order_by(col(table.id)))
    return {row.visit_id: row for row in found if row.spot is not None and row.spot["date"] == day.isoformat()}


def _about(minutes: int) -> int:
    """Return minutes as one says them: in fives, never fewer than they are."""
    return -(-minutes // 5) * 5
