"""The best timing of a route whose order of stops is given: plain Python, the reference for the compiled searches."""

from __future__ import annotations

from dataclasses import dataclass

from scheduler.engine.model import Model


@dataclass(frozen=True)
class Timed:
    """A route with its times in minutes; `cost` in cents with everything that belongs to this route alone."""

    cost: int
    helpers: int
    depart: int
    back: int
    rest: int | None
    starts: tuple[int, ...]


@dataclass(frozen=True)
class _Label:
    """Left at t0 <= late, the last step ends at max(early, t0 + work); `steps` are what was done, in order."""

    early: int
    work: int
    late: int
    cost: int
    rested: bool
    steps: tuple[tuple[str, int, int], ...]  # ("drive" | "serve" | "rest", from, to); a drive's minutes twice

    def beats(self, other: _Label) -> bool:
        return (
            self.early <= other.early and self.work <= other.work and self.late >= other.late and self.cost <=
            other.cost and self.rested >= other.rested
        )  # fmt: skip


def time_route(model: Model, k: int, jobs: list[int]) -> Timed | None:
    """Return the cheapest timing of crew day k serving `jobs` in this order, or None where there is none.

    Shared equipment, stock, payload and follows are not looked at: they do not depend on times.
    """
    after, length, rest_from, rest_to = (int(x) for x in model.rest[k])
    start, end, latest = int(model.start[k]), int(model.end[k]), int(model.latest[k])
    may_rest = after < latest
    labels = [_Label(start, 0, latest, 0, False, ())]
    here, metres = int(model.yard_place[k]), 0
    for job in jobs:
        there, place = int(model.job_place[job]), int(model.local[k, job])
        if place < 0:
            return None
        drive, service = int(model.minutes[here, there]), int(model.service[job])
        metres += int(model.metres[here, there])
        here = there
        options = [
            (int(model.opt_lo[o]), int(model.opt_hi[o]), int(model.opt_cost[o]))
            for o in range(model.opt_ptr[place], model.opt_ptr[place + 1])
        ]
        labels = [_after(x, "drive", drive, drive, drive) for x in labels]
        if may_rest:
            labels += [
                _after(x, "rest", rest_from, rest_to, length) for x in labels if not x.rested and x.early <= rest_to
            ]
        labels = [
            _after(x, "serve", lo, hi, service, cost) for x in labels for lo, hi, cost in options if x.early <= hi
        ]  # fmt: skip
        if may_rest:
            labels += [
                _after(x, "rest", rest_from, rest_to, length) for x in labels if not x.rested and x.early <= rest_to
            ]
        labels = _unbeaten([x for x in labels if x.early <= latest])
    home = int(model.minutes[here, model.yard_place[k]])
    metres += int(model.metres[here, model.yard_place[k]])
    best: tuple[int, _Label, int, int] | None = None
    for label in labels:
        back = label.early + home
        whole = max(label.work + home, back - label.late)
        if back > latest or (may_rest and not label.rested and whole > after):
            continue
        cost = label.cost + int(model.minute_cents[k]) * whole + int(model.overtime_cents[k]) * max(0, back - end)
        if best is None or cost < best[0]:
            best = (cost, label, back, whole)
    if best is None:
        return None
    cost, label, back, whole = best
    helpers = max(0, max(int(model.job_hands[j]) for j in jobs) - int(model.hands[k]))
    cost += int(model.day_cents[k]) + (int(model.km_cents[k]) * metres + 500) // 1000
    if helpers:
        cost += helpers * int(model.helper_cents[model.helper_row[k]])
    clock, rest, starts = back - whole, None, []
    for kind, lo, _ in label.steps:
        if kind == "drive":
            clock += lo
            continue
        clock = max(clock, lo)
        if kind == "rest":
            rest = clock
            clock += length
        else:
            starts.append(clock)
            clock += int(model.service[jobs[len(starts) - 1]])
    return Timed(cost, helpers, back - whole, back, rest if whole > after else None, tuple(starts))


def _after(label: _Label, kind: str, lo: int, hi: int, minutes: int, cost: int = 0) -> _Label:
    """Return the label with one more step: begun from lo to hi (a drive: at once) and lasting `minutes`."""
    steps = (*label.steps, (kind, lo, hi))
    if kind == "drive":
        return _Label(label.early + minutes, label.work + minutes, label.late, label.cost, label.rested, steps)
    return _Label(
        max(label.early, lo) + minutes, label.work + minutes, min(label.late, hi - label.work), label.cost + cost,
        label.rested or kind == "rest", steps,
    )  # fmt: skip


def _unbeaten(labels: list[_Label]) -> list[_Label]:
    kept: list[_Label] = []
    for label in sorted(labels, key=lambda x: (x.cost, x.early)):
        if not any(other.beats(label) for other in kept):
            kept = [other for other in kept if not label.beats(other)] + [label]
    return kept
