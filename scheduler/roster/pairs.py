"""Which people ride together on which day: an exact integer program over pairs, in HiGHS.

x[d, l, p] = 1 where lead l and partner p ride on day d; y[j, d, s] is the part of job j done that day by crews whose
skills together are s. A crew gives the minutes of its shift to jobs whose skills it has. The most is made of

    sum of skip_cents[j] * y[j, d, s]  +  split_cents * (x where the two usually ride together)
"""

from __future__ import annotations

import highspy
import numpy as np

from scheduler.engine.master.solver import quiet_solver
from scheduler.roster.document import Roster, is_usual
from scheduler.week import Job, Week

Key = tuple[int, str, frozenset[str]]  # day, yard, skills together
GO_OUT_CENTS = 100  # a pair goes out rather than stay at home, even where no job wants it: the engine may know more


def best_pairs(roster: Roster, week: Week, leads_with_van: set[str]) -> list[tuple[int, str, str]]:
    """Return (day, lead, partner) of the pairs that are worth most, by day; lead and partner are of one yard."""
    pairs: list[tuple[int, str, str]] = []
    gain: list[float] = []
    kinds: list[Key] = []
    for shift in roster.shifts:
        there = [p for p in roster.people if shift.day not in p.days_off]
        for lead in there:
            if not lead.lead or lead.id not in leads_with_van:
                continue
            for partner in there:
                if partner.id == lead.id or partner.yard != lead.yard:
                    continue
                pairs.append((shift.day, lead.id, partner.id))
                usual = is_usual(lead, partner)
                # A trifle for keeping leads free to lead, so that of equal choices the plain one is taken.
                gain.append(GO_OUT_CENTS + (roster.split_cents if usual else 0) - 10 * partner.lead)
                kinds.append((shift.day, lead.yard, frozenset(lead.skills) | frozenset(partner.skills)))
    if not pairs:
        return []
    minutes = {s.day: s.end - s.start for s in roster.shifts}
    parts = [(j, key) for j, job in enumerate(week.jobs) for key in dict.fromkeys(kinds) if _suits(job, key)]
    h = quiet_solver()
    h.setOptionValue("threads", 1)
    none_i, none_f = np.zeros(0, np.int32), np.zeros(0)
    for worth in gain:
        h.addCol(-worth, 0.0, 1.0, 0, none_i, none_f)
    for j, _ in parts:
        h.addCol(-float(week.jobs[j].skip_cents), 0.0, 1.0, 0, none_i, none_f)

    def at_most(most: float, columns: list[int], weights: list[float]) -> None:
        if columns:
            h.addRow(-highspy.kHighsInf, most, len(columns), np.array(columns, np.int32), np.array(weights))

    for day in minutes:
        for who in roster.people:
            mine = [n for n, (d, lead, partner) in enumerate(pairs) if d == day and who.id in (lead, partner)]
            at_most(1.0, mine, [1.0] * len(mine))
    for job in range(len(week.jobs)):
        mine = [len(pairs) + n for n, (j, _) in enumerate(parts) if j == job]
        at_most(1.0, mine, [1.0] * len(mine))
    for key in dict.fromkeys(kinds):
        crews = [n for n, kind in enumerate(kinds) if kind == key]
        mine = [n for n, (_, kind) in enumerate(parts) if kind == key]
        at_most(
            0.0,
            [*crews, *(len(pairs) + n for n in mine)],
            [-float(minutes[key[0]])] * len(crews) + [float(week.jobs[parts[n][0]].minutes) for n in mine],
        )
    whole = np.arange(len(pairs), dtype=np.int32)
    h.changeColsIntegrality(len(pairs), whole, np.full(len(pairs), highspy.HighsVarType.kInteger))
    h.setOptionValue("mip_rel_gap", 1e-6)
    h.run()
    taken = np.array(h.getSolution().col_value)[: len(pairs)]
    return [pairs[n] for n in np.nonzero(taken > 0.5)[0]]


def _suits(job: Job, key: Key) -> bool:
    day, yard, skills = key
    if job.ready_day is None or job.ready_day > day or job.yard not in (None, yard):
        return False
    return skills.issuperset(job.skills) and any(w.day == day and w.end - w.start >= job.minutes for w in job.windows)
