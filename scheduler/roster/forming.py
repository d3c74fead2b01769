"""The crews that a roster makes: people in pairs, a lead in each, for every day of a week.

Pairs are chosen for the whole week at once by an exact program: what the jobs of the week would bring that the pairs of
a day have the skills and the hours for, less the price of splitting usual pairs. It looks at skills and hours alone;
roads, ladders and the rest are for the engine.

A week file gives a crew one set of skills for all its days. So a lead has one crew entry for each kind of crew that the
pairs make: the commonest keeps the lead's id, others are called `lead+partner`. A booking is moved to the entry of its
lead on its day. What that costs: a follow with `same_crew` cannot go on with the same lead in another pair, and
fairness counts each entry for itself.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from msgspec.structs import replace

from scheduler.documents import shown
from scheduler.errors import BadInput
from scheduler.roster.document import Person, Roster, Van, is_usual, vans_by_lead
from scheduler.week import Booking, Crew, Shift, Vehicle, Week, checked, day_name


@dataclass(frozen=True)
class Pairing:
    """Two who ride together on a day, the crew entry that they are in the week, and why."""

    day: int
    crew: str
    lead: str
    partner: str
    usual: bool
    because: str


@dataclass(frozen=True)
class Formed:
    """The week with its crews; the pairs by day; those at work without a pair, as (day, id)."""

    week: Week
    pairings: tuple[Pairing, ...]
    unpaired: tuple[tuple[int, str], ...]


def form_crews(roster: Roster, week: Week) -> Formed:
    """Return `week` with crews formed from `roster` in place of its own, and who rides with whom on each day.

    Bookings of the week name leads as crews (or an entry `lead+partner` of an earlier forming). Raises `BadInput` where
    a yard, a day or a booked lead is not in both documents.
    """
    yards = {y.id for y in week.yards}
    named = [(f"people[{n}].yard", p.yard) for n, p in enumerate(roster.people)]
    named += [(f"vans[{n}].yard", v.yard) for n, v in enumerate(roster.vans)]
    for where, yard in named:
        if yard not in yards:
            raise BadInput(where, f"no yard of the week has the id {shown(yard)}")
    for n, shift in enumerate(roster.shifts):
        if shift.day >= week.days:
            raise BadInput(f"shifts[{n}].day", f"must be a day of the week, 0 to {week.days - 1}, is {shift.day}")
    from scheduler.roster.pairs import best_pairs  # HiGHS takes a while to load

    return with_pairs(roster, week, best_pairs(roster, week, set(vans_by_lead(roster))))


def with_pairs(roster: Roster, week: Week, chosen: list[tuple[int, str, str]]) -> Formed:
    """Return what `form_crews` does, for pairs (day, lead, partner) that are chosen already."""
    vans = vans_by_lead(roster)
    people = {p.id: p for p in roster.people}
    shifts = {s.day: s for s in roster.shifts}

    # The commonest kind of crew that a lead's pairs make keeps the lead's id, whoever the partner is on each day.
    alike: dict[tuple[str, tuple[object, ...]], list[tuple[int, str]]] = {}
    for day, lead, partner in sorted(chosen):
        kind = _kind(people[lead], people[partner])
        alike.setdefault((lead, kind), []).append((day, partner))
    entry: dict[tuple[int, str], str] = {}
    crews = []
    for lead in dict.fromkeys(lead for _, lead, _ in sorted(chosen, key=lambda c: list(people).index(c[1]))):
        kinds = sorted((days for (who, _), days in alike.items() if who == lead), key=lambda d: (-len(d), d))
        for n, days in enumerate(kinds):
            first = Counter(p for _, p in days).most_common(1)[0][0]
            for partner in [first] if n == 0 else dict.fromkeys(p for _, p in days):
                name = lead if n == 0 else f"{lead}+{partner}"
                own = [day for day, p in days if n == 0 or p == partner]
                entry |= {(day, lead): name for day in own}
                crews.append(_crew(name, people[lead], people[partner], vans[lead], [shifts[d] for d in own]))
    names = {c.id for c in crews}
    off = _booked_without(week, names, entry, people)
    for lead in off:  # a lead whose bookings stand but who goes out on no day: an entry without shifts keeps the names
        crews.append(_crew(lead, people[lead], None, vans.get(lead), []))
    jobs = tuple(
        job if job.booked is None else replace(job, booked=replace(job.booked, crew=_entry(entry, job.booked)))
        for job in week.jobs
    )
    made = checked(replace(week, crews=tuple(crews), jobs=jobs))
    pairings = tuple(
        Pairing(
            day,
            entry[day, lead],
            lead,
            partner,
            usual := is_usual(people[lead], people[partner]),
            _because(week, day, people[lead], people[partner], usual, people),
        )
        for day, lead, partner in sorted(chosen)
    )
    riding = {(day, who) for day, lead, partner in chosen for who in (lead, partner)}
    unpaired = tuple(
        (s.day, p.id)
        for s in roster.shifts
        for p in roster.people
        if s.day not in p.days_off and (s.day, p.id) not in riding
    )
    return Formed(made, pairings, unpaired)


def _kind(lead: Person, partner: Person) -> tuple[object, ...]:
    return (
        frozenset(lead.skills) | frozenset(partner.skills),
        partner.day_cents,
        partner.minute_cents,
        partner.overtime_minute_cents,
    )


def _crew(name: str, lead: Person, partner: Person | None, van: Van | None, shifts: Iterable[Shift]) -> Crew:
    both = (lead,) if partner is None else (lead, partner)
    return Crew(
        id=name,
        yard=lead.yard,
        hands=len(both),
        skills=tuple(dict.fromkeys(s for p in both for s in p.skills)),
        shifts=tuple(sorted(shifts, key=lambda s: s.day)),
        vehicle=van.vehicle if van else Vehicle(0, 0, 0),
        onboard=van.onboard if van else {},
        day_cents=sum(p.day_cents for p in both),
        minute_cents=sum(p.minute_cents for p in both),
        overtime_minute_cents=sum(p.overtime_minute_cents for p in both),
        km_cents=van.km_cents if van else 0,
    )


def _lead(crew: str) -> str:
    return crew.split("+")[0]


def _entry(entry: dict[tuple[int, str], str], booked: Booking) -> str:
    return entry.get((booked.day, _lead(booked.crew)), _lead(booked.crew))


def _booked_without(
    week: Week, names: set[str], entry: dict[tuple[int, str], str], people: dict[str, Person]
) -> list[str]:
    off: list[str] = []
    for n, job in enumerate(week.jobs):
        if job.booked is None:
            continue
        lead = _lead(job.booked.crew)
        if lead not in people:
            raise BadInput(f"jobs[{n}].booked.crew", f"no person of the roster has the id {shown(lead)}")
        if _entry(entry, job.booked) not in names and lead not in off:
            off.append(lead)
    return off


def _because(week: Week, day: int, lead: Person, partner: Person, usual: bool, people: dict[str, Person]) -> str:
    """Say in one sentence why the two ride together."""
    words = f"{partner.name} rides with {lead.name} on {day_name(week, day)}"
    if usual:
        return f"{words}: they usually do."
    brought = [s for s in partner.skills if s not in lead.skills]
    open_ = [
        j
        for j in week.jobs
        if j.ready_day is not None
        and j.ready_day <= day
        and j.yard in (None, lead.yard)
        and any(w.day == day for w in j.windows)
    ]
    wanted = {skill: sum(skill in j.skills for j in open_) for skill in brought}
    useful = [f"{skill} is wanted at {n} job{'s' if n > 1 else ''}" for skill, n in wanted.items() if n]
    missing = [people[p].name for p in lead.usual_with if p in people and day in people[p].days_off]
    if missing:
        words += f" ({' and '.join(missing)} off)"
    if useful:
        return f"{words}: {', '.join(useful)}."
    if not any(is_usual(lead, people[p]) and people[p].yard == lead.yard for p in people if p != lead.id):
        return f"{words}: {lead.name} has no usual partner."
    return f"{words}: the usual partners are off or ride where more is won."
