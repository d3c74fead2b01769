"""When one visit can start on one crew day, and what each start costs: window, risk, lateness and booking in one."""

from __future__ import annotations

from scheduler.price import RETIME_FROM_MIN
from scheduler.week import Job, RestRule, Shift, Week

Options = list[
    tuple[int, int, int, int]
]  # first start, last start, cents, and 1 where the crew rests within the service


def skip_cost(week: Week, job: Job) -> int:
    """Return what leaving the job out costs in cents, with the price of its booking not kept."""
    if job.booked is None:
        return job.skip_cents
    return job.skip_cents + (job.booked.move_cents if job.booked.hold == "soft" else week.broken_cents)


def options_of(job: Job, crew: str, shift: Shift, broken_cents: int, rest: RestRule | None = None) -> Options:
    """Return the job's starts on this crew day; none lies in another that costs no more.

    rest: the rule of a day on which a rest may be due, None for no such day: a pausable job can be begun so that the
    rest falls within its service, which then lasts longer.
    """
    found = _starts(job, crew, shift, broken_cents, job.minutes, (0, shift.end + shift.overtime), 0)
    if rest is not None and rest.within and job.pausable and job.minutes > 1:
        begun = (rest.earliest - job.minutes + 1, rest.latest - 1)
        found += _starts(job, crew, shift, broken_cents, job.minutes + rest.length, begun, 1)
    return found


def _starts(
    job: Job, crew: str, shift: Shift, broken_cents: int, minutes: int, begun: tuple[int, int], pause: int
) -> Options:
    """Return the starts, from the first to the last minute of `begun`, of a service of `minutes`."""
    day = shift.day
    intervals = []
    for window in job.windows:
        if window.day != day:
            continue
        lo = max(window.start, shift.start, begun[0])
        hi = min(min(window.end, shift.end + shift.overtime) - minutes, begun[1])
        if lo <= hi:
            intervals.append((lo, hi, window.risk_cents))
    late = job.late_cents * max(0, day - job.due_day) if job.due_day is not None else 0
    found: Options = []
    for lo, hi, risk in intervals:
        cost = risk + late
        booked = job.booked
        if booked is None:
            found.append((lo, hi, cost, pause))
        elif booked.hold == "firm":
            if crew == booked.crew and day == booked.day and lo <= booked.start <= hi:
                found.append((booked.start, booked.start, cost, pause))
            found.append((lo, hi, cost + broken_cents, pause))
        elif day != booked.day:
            found.append((lo, hi, cost + (booked.move_cents if booked.hold == "soft" else broken_cents), pause))
        else:
            cost += booked.recrew_cents * (crew != booked.crew)
            near = (max(lo, booked.start - RETIME_FROM_MIN), min(hi, booked.start + RETIME_FROM_MIN))
            if near[0] <= near[1]:
                found.append((*near, cost, pause))
            found.append((lo, hi, cost + booked.retime_cents, pause))
    if len(found) < 2:
        return found
    kept: Options = []
    for lo, hi, cost, _ in sorted(set(found), key=lambda o: (o[2], o[0] - o[1])):
        if not any(a <= lo and hi <= b for a, b, _, _ in kept):
            kept.append((lo, hi, cost, pause))
    return kept


def at(options: Options, start: int) -> Options:
    """Return the one option that starts at `start`, at its least cost, or none."""
    found: Options = []
    for pause in (0, 1):
        costs = [cost for lo, hi, cost, within in options if lo <= start <= hi and within == pause]
        found += [(start, start, min(costs), pause)] if costs else []
    return found


def from_on(options: Options, earliest: int) -> Options:
    """Return the options with no start before `earliest`."""
    return [(max(lo, earliest), hi, cost, pause) for lo, hi, cost, pause in options if hi >= earliest]
