"""What the second format adds to the arrays of a week: assists as items of their own, reloads, weekly minutes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from scheduler.engine.model.arrays import CrewDay, Ints
from scheduler.engine.model.options import Options
from scheduler.week import Assist, Crew, Shift, Week


class Assists:
    """The assists of a week, numbered after its jobs.

    `job`, `of`: the job of each and its rule; `of_item`: by item the assist of the job, -1 for none; `helped`: by item
    the job that it is the assist of, -1 for jobs.
    """

    def __init__(self, week: Week) -> None:
        found = [(n, job.assist) for n, job in enumerate(week.jobs) if job.assist is not None]
        self.week, self.jobs = week, len(week.jobs)
        self.job = [n for n, _ in found]
        self.of: list[Assist] = [rule for _, rule in found]
        self.of_item = np.full(self.jobs + len(found), -1, dtype=np.int64)
        self.of_item[self.job] = self.jobs + np.arange(len(found))
        self.helped = np.full(self.jobs + len(found), -1, dtype=np.int64)
        self.helped[self.jobs :] = self.job
        self.first = np.array([rule.from_min for rule in self.of], dtype=np.int64)
        self.last = np.array([rule.to_min for rule in self.of], dtype=np.int64)

    def able(self, crew: Crew, day: int, hands: int) -> list[int]:
        """Return the numbers of the assists, from 0, that the crew can do; `hands`: its own and all helpers'."""
        skills = set(crew.skills_on(day))
        return [n for n, rule in enumerate(self.of) if skills.issuperset(rule.skills) and rule.hands <= hands]

    def options(self, n: int, shift: Shift, own: Sequence[Options]) -> Options:
        """Return when assist n can begin on a shift, whenever the job does; `own`: the job's options by other crews."""
        rule, job, rest = self.of[n], self.week.jobs[self.job[n]], self.week.rest
        spans = []
        for lo, hi, _, pause in (o for options in own for o in options):
            minutes = job.minutes + (rest.length if pause and rest is not None else 0)
            last = min(rule.to_min, minutes - rule.minutes)
            if rule.from_min <= last:
                spans.append((lo + rule.from_min, hi + last))
        joined: list[tuple[int, int]] = []
        for lo, hi in sorted(spans):
            if joined and lo <= joined[-1][1] + 1:
                joined[-1] = (joined[-1][0], max(joined[-1][1], hi))
            else:
                joined.append((lo, hi))
        end = shift.end + shift.overtime - rule.minutes
        cut = [(max(lo, shift.start), min(hi, end)) for lo, hi in joined]
        return [(lo, hi, 0, 0) for lo, hi in cut if lo <= hi]


def reload_minutes(week: Week, crew_days: Sequence[CrewDay], minutes: Ints, metres: Ints, place: Ints) -> Ints:
    """Return by crew day how long a reload takes, -1 where none can be of use.

    It is of use where the day's jobs together are more than a load, or where the way past the yard is the shorter one.
    """
    found = np.full(len(crew_days), -1, dtype=np.int64)
    if week.reload is None:
        return found
    yards = {y.id: n for n, p in enumerate(week.places) for y in week.yards if y.place == p.id}
    for k, crew_day in enumerate(crew_days):
        crew = week.crews[crew_day.crew]
        jobs = [week.jobs[j] for j in crew_day.jobs if j < len(week.jobs)]
        over = sum(j.weight_kg for j in jobs) > crew.vehicle.payload_kg
        over |= sum(j.boxes for j in jobs) > crew.vehicle.boxes
        stops, home = place[crew_day.jobs], yards[crew.yard]
        for way, longer in ((minutes, week.reload.minutes), (metres, 0)):
            over |= bool(
                (way[stops, home][:, None] + longer + way[home, stops][None, :] < way[np.ix_(stops, stops)]).any()
            )
        if over:
            found[k] = week.reload.minutes
    return found


def weekly_rows(week: Week, crew_days: Sequence[CrewDay]) -> tuple[Ints, Ints, Ints]:
    """Return by crew day its row of weekly minutes (-1: none), and by row the minutes free of charge and the cents."""
    row: dict[tuple[int, int], int] = {}
    rows, cap, cents = [], list[int](), list[int]()
    for crew_day in crew_days:
        weekly = week.crews[crew_day.crew].weekly
        if weekly is None or not weekly.cents:
            rows.append(-1)
            continue
        key = crew_day.crew, crew_day.day // 7
        if key not in row:
            row[key] = len(row)
            cap.append(weekly.minutes)
            cents.append(weekly.cents)
        rows.append(row[key])
    return tuple(np.array(x, dtype=np.int64) for x in (rows, cap, cents))  # type: ignore[return-value]
