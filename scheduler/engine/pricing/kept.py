"""Compiled: the labels that new ones are compared with, found again by their set of jobs or by their last job.

By set they hang in chains. By job they lie together in blocks, since without the same set a label meets very many
others (profile: nine tenths of the time were spent on chained ones).
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from scheduler.engine.model.compiled import compiled, inlined
from scheduler.engine.pricing.labels import EPSILON, Labels, Reached, as_reached, dominates, equal
from scheduler.engine.pricing.problem import Duals, PricingProblem

BLOCK = 32
LATER = 1 << 60  # than any minute
MOST_HEADS = 1 << 20


class Kept(NamedTuple):
    """Labels by set: `head` and `chain`; by job: `head` and blocks of early, flat cost, first words of sets, label.

    The flat cost is what a label costs where time is no concern: base - minute * late.
    """

    by_set: bool
    head: Any
    chain: Any
    early: Any
    flat: Any
    seen: Any
    past: Any
    label: Any
    next_block: Any
    size: Any
    blocks: Any  # (1,): how many are in use


@compiled
def heads_for(room: int) -> int:
    """Return how many heads of chains serve `room` labels: a power of two."""
    size = 64
    while size < 2 * room and size < MOST_HEADS:
        size *= 2
    return size


@compiled
def none_kept(jobs: int, room: int, by_set: bool) -> Kept:
    """Return the place for `room` labels."""
    rooms = 1 if by_set else room // BLOCK + jobs + 1
    return Kept(
        by_set,
        np.full(heads_for(room) if by_set else jobs, -1, np.int32),
        np.empty(room + 1 if by_set else 1, np.int32),
        np.empty((rooms, BLOCK), np.int64),
        np.empty((rooms, BLOCK)),
        np.empty((rooms, BLOCK), np.uint64),
        np.empty((rooms, BLOCK), np.uint64),
        np.empty((rooms, BLOCK), np.int32),
        np.empty(rooms, np.int32),
        np.zeros(rooms, np.int64),
        np.zeros(1, np.int64),
    )


@inlined
def slot_of(key: Any, heads: int) -> Any:
    """Return the head at which a set with this key hangs."""
    return np.int64((key >> np.uint64(20)) & np.uint64(heads - 1))


@inlined
def slot(kept: Kept, j: int, key: Any) -> Any:
    """Return the head at which labels at job j with this set hang."""
    if kept.by_set:
        return slot_of(key + np.uint64(j) * np.uint64(0x9E3779B97F4A7C15), len(kept.head))
    return np.int64(j)


@inlined
def is_dominated(
    kept: Kept,
    labels: Labels,
    at: int,
    j: int,
    new: Reached,
    seen: Any,
    past: Any,
    gear: Any,
    odd: Any,
    p: PricingProblem,
    duals: Duals,
) -> bool:
    """Say whether a kept label makes the new one, at job j, needless; `at` is its slot."""
    if kept.by_set:
        other = kept.head[at]
        while other >= 0:
            if (
                labels.alive[other]
                and labels.early[other] <= new.early
                and labels.rested[other] >= new.rested
                and labels.node[other] == j
                and equal(labels.seen[other], seen)
                and dominates(labels, other, new, seen, past, gear, odd, True, p, duals)
            ):
                return True
            other = kept.chain[other]
        return False
    flat = new.base - p.rates.minute * new.late
    part = kept.head[at]
    while part >= 0:
        for x in range(kept.size[part]):
            if (
                kept.early[part, x] <= new.early
                and kept.flat[part, x] <= flat + EPSILON
                and kept.seen[part, x] & ~past[0] == 0
            ):
                other = kept.label[part, x]
                if labels.alive[other] and dominates(labels, other, new, seen, past, gear, odd, False, p, duals):
                    return True
        part = kept.next_block[part]
    return False


@inlined
def keep(kept: Kept, labels: Labels, at: int, c: int, first_new: int, p: PricingProblem, duals: Duals) -> None:
    """Keep label c, and let go of those from `first_new` on that it makes needless."""
    early, rested, j = labels.early[c], labels.rested[c], labels.node[c]
    if kept.by_set:
        other = kept.head[at]
        while other >= first_new:
            if (
                labels.alive[other]
                and early <= labels.early[other]
                and rested >= labels.rested[other]
                and labels.node[other] == j
                and equal(labels.seen[other], labels.seen[c])
                and dominates(
                    labels,
                    c,
                    as_reached(labels, other),
                    labels.seen[other],
                    labels.past[other],
                    labels.gear[other],
                    labels.odd[other],
                    True,
                    p,
                    duals,
                )
            ):
                labels.alive[other] = False
            other = kept.chain[other]
        kept.chain[c] = kept.head[at]
        kept.head[at] = c
        return
    flat = labels.base[c] - p.rates.minute * labels.late[c]
    part = kept.head[at]
    while part >= 0:
        for x in range(kept.size[part]):
            other = kept.label[part, x]
            if (
                other >= first_new
                and early <= kept.early[part, x]
                and flat <= kept.flat[part, x] + EPSILON
                and labels.seen[c, 0] & ~kept.past[part, x] == 0
                and labels.alive[other]
                and dominates(
                    labels,
                    c,
                    as_reached(labels, other),
                    labels.seen[other],
                    labels.past[other],
                    labels.gear[other],
                    labels.odd[other],
                    False,
                    p,
                    duals,
                )
            ):
                labels.alive[other] = False
                kept.early[part, x] = LATER
        part = kept.next_block[part]
    part = kept.head[at]
    if part < 0 or kept.size[part] == BLOCK:
        kept.next_block[kept.blocks[0]] = part
        part = kept.blocks[0]
        kept.head[at] = part
        kept.blocks[0] += 1
    x = kept.size[part]
    kept.early[part, x], kept.flat[part, x] = early, flat
    kept.seen[part, x], kept.past[part, x], kept.label[part, x] = labels.seen[c, 0], labels.past[c, 0], c
    kept.size[part] = x + 1
