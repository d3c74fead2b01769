"""A week whose crews meet, each meeting once for every interval in which it can begin.

A job with an assist, and that assist, become several copies, each with the starts of one interval: the master ties the
crew that goes out for a job in an interval to a second one in the same, where routes alone say nothing of times. Every
plan of the week is one of the copies, so that a bound on these is one on the week.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from scheduler.engine.model.arrays import CrewDay, Model
from scheduler.engine.model.build import flat_options, groups, local_places, pointers
from scheduler.engine.model.options import Options
from scheduler.engine.model.second import Assists

LEAST_MIN = 15  # of an interval of starts
BY_ITEM = ("job_place", "service", "job_hands", "weight", "boxes", "skip_cost", "need", "uses")


Intervals = dict[int, list[tuple[int, int]]]  # by job with an assist: first and last start of each


@dataclass(frozen=True)
class Copies:
    """The model of the copies, and which copy each item is by job (or by the job that it assists) and interval."""

    model: Model
    intervals: Intervals
    item: Mapping[tuple[int, int], int]
    assist: Mapping[tuple[int, int], int]

    def of(self, item: int, starts: Mapping[int, int]) -> int:
        """Return the copy that stands for an item of the week; `starts`: of jobs that have an assist."""
        helped = int(self.model.whole.helped_job[item])
        job = item if helped < 0 else helped
        spans = self.intervals.get(job, [])
        place = next((n for n, (_, last) in enumerate(spans) if starts[job] <= last), 0)
        return (self.item if helped < 0 else self.assist)[job, place]


def by_intervals(model: Model, pieces: int) -> Copies:
    """Return the copies of a model with the starts of every job that has an assist cut into `pieces` at most.

    Jobs that others follow, or that follow, are left whole: what follows them asks for the job and not for its start.
    """
    intervals = _intervals(model, pieces)
    lead = [(j, n) for j in range(len(model.week.jobs)) for n in range(len(intervals.get(j, [0])))]
    second = [(j, n) for j, n in lead if model.assist_of[j] >= 0]
    item = {copy: place for place, copy in enumerate(lead)}
    assist = {copy: len(lead) + place for place, copy in enumerate(second)}
    row_of = np.array([*(j for j, _ in lead), *(model.assist_of[j] for j, _ in second)], dtype=np.int64)
    crew_days = _crew_days(model, intervals, item, assist)
    follow = model.follow.copy()
    for side in (0, 1):
        follow[:, side] = [item[j, 0] for j in model.follow[:, side].tolist()]
    copied = replace(
        model,
        crew_days=crew_days,
        row_of=row_of,
        copied=model,
        assist_of=np.array([*(assist.get(copy, -1) for copy in lead), *(-1 for _ in second)], dtype=np.int64),
        helped_job=np.array([*(-1 for _ in lead), *(item[copy] for copy in second)], dtype=np.int64),
        assist_from=model.assist_from[row_of[len(lead) :] - len(model.week.jobs)],
        assist_to=model.assist_to[row_of[len(lead) :] - len(model.week.jobs)],
        cand_ptr=pointers([len(k.jobs) for k in crew_days]),
        cand_job=np.array([j for k in crew_days for j in k.jobs], dtype=np.int64),
        local=local_places(crew_days, len(row_of)),
        follow=follow,
    )
    for name in BY_ITEM:
        setattr(copied, name, getattr(model, name)[row_of])
    (copied.opt_ptr, copied.opt_lo, copied.opt_hi, copied.opt_cost, copied.opt_pause) = flat_options(crew_days)
    copied.group = groups(copied)
    return Copies(copied, intervals, item, assist)


def _intervals(model: Model, pieces: int) -> Intervals:
    starts: dict[int, tuple[int, int]] = {}
    for k in model.crew_days:
        for j, options in zip(k.jobs, k.options, strict=True):
            if model.assist_of[j] >= 0:
                first, last = starts.get(j, (options[0][0], options[0][1]))
                starts[j] = min(first, *(o[0] for o in options)), max(last, *(o[1] for o in options))
    tied = set(model.follow[:, :2].ravel().tolist())
    found = {}
    for j, (first, last) in starts.items():
        count = 1 if j in tied else max(1, min(pieces, (last - first) // LEAST_MIN + 1))
        edges = [first + (last + 1 - first) * n // count for n in range(count + 1)]
        found[j] = [(a, b - 1) for a, b in pairwise(edges)]
    return found


def _crew_days(
    model: Model,
    intervals: Intervals,
    item: dict[tuple[int, int], int],
    assist: dict[tuple[int, int], int],
) -> list[CrewDay]:
    """Return the crew days with the copies that each can take; an assist's as its job can begin by other crews."""
    jobs, rules = len(model.week.jobs), Assists(model.week)
    made: list[tuple[list[int], list[Options]]] = []
    own: dict[tuple[int, int, int], list[tuple[int, Options]]] = {}  # by day, job and interval: crews and their starts
    for k in model.crew_days:
        items, options = list[int](), list[Options]()
        for j, found in zip(k.jobs, k.options, strict=True):
            if j >= jobs:
                continue
            for n, (first, last) in enumerate(intervals.get(j, [(0, int(model.latest.max()))])):
                here: Options = [
                    (max(lo, first), min(hi, last), cents, pause)
                    for lo, hi, cents, pause in found
                    if lo <= last and hi >= first
                ]
                if here:
                    items.append(item[j, n])
                    options.append(here)
                    own.setdefault((k.day, j, n), []).append((k.crew, here))
        made.append((items, options))
    for k, (items, options) in zip(model.crew_days, made, strict=True):
        for a in (a for a in k.jobs if a >= jobs):
            j = int(model.helped_job[a])
            for n in range(len(intervals[j])):
                others = [o for crew, o in own.get((k.day, j, n), []) if crew != k.crew]
                if here := rules.options(a - jobs, k.shift, others):
                    items.append(assist[j, n])
                    options.append(here)
    return [replace(k, jobs=i, options=o) for k, (i, o) in zip(model.crew_days, made, strict=True)]
