"""When one visit can start on one crew day, and what each start costs: window, risk, lateness and booking in one."""

from __future__ import annotations

from scheduler.price import RETIME_FROM_MIN
from scheduler.week import Job, Shift, Week

Options = list[tuple[int, int, int]]  # first start, last start, cents


def skip_cost(week: Week, job: Job) -> int:
    """Return what leaving the job out costs in cents, with the price of its booking not kept."""
    if job.booked is None:
        return job.skip_cents
    return job.skip_cents + (job.booked.move_cents if job.booked.hold == "soft" else week.broken_cents)


def options_of(job: Job, crew: str, shift: Shift, broken_cents: int) -> Options:
    """Return the job's starts on this crew day; none lies in another that costs no more."""
    day = shift.day
    intervals = []
    for window in job.windows:
        lo, hi = max(window.start, shift.start), min(window.end, shift.end + shift.overtime) - job.minutes
        if window.day == day and lo <= hi:
            intervals.append((lo, hi, window.risk_cents))
    late = job.late_cents * max(0, day - job.due_day) if job.due_day is not None else 0
    found = []
    for lo, hi, risk in intervals:
        cost = risk + late
        booked = job.booked
        if booked is None:
            found.append((lo, hi, cost))
        elif booked.hold == "firm":
            if crew == booked.crew and day == booked.day and lo <= booked.start <= hi:
                found.append((booked.start, booked.start, cost))
            found.append((lo, hi, cost + broken_cents))
        elif day != booked.day:
            found.append((lo, hi, cost + (booked.move_cents if booked.hold == "soft" else broken_cents)))
        else:
            cost += booked.recrew_cents * (crew != booked.crew)
            near = (max(lo, booked.start - RETIME_FROM_MIN), min(hi, booked.start + RETIME_FROM_MIN))
            if near[0] <= near[1]:
                found.append((*near, cost))
            found.append((lo, hi, cost + booked.retime_cents))
    kept: Options = []
    for lo, hi, cost in sorted(set(found), key=lambda o: (o[2], o[0] - o[1])):
        if not any(a <= lo and hi <= b for a, b, _ in kept):
            kept.append((lo, hi, cost))
    return kept


def at(options: Options, start: int) -> Options:
    """Return the one option that starts at `start`, at its least cost, or none."""
    costs = [cost for lo, hi, cost in options if lo <= start <= hi]
    return [(start, start, min(costs))] if costs else []


def from_on(options: Options, earliest: int) -> Options:
    """Return the options with no start before `earliest`."""
    return [(max(lo, earliest), hi, cost) for lo, hi, cost in options if hi >= earliest]
