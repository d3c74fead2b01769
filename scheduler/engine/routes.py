"""Compiled search for the routes of one crew day: labels extended stop by stop.

A label is a partial route whose last service has ended. Its schedule is the triple (early, work, late): left at t0, the
yard allows the last service to end at max(early, t0 + work), for any t0 up to late. Extending by a drive, a service
with start interval (lo, hi) or a rest keeps that form, and the way home is best left at early: the earliest return with
the latest departure for it is at once the shortest day and the least overtime.

`search` extends labels that can still come under a threshold (`completion.bounds` says what the rest costs at least),
and
drops those that another label betters. Every array argument is local to the crew day: n jobs, row and column n of the
matrices are the yard.
"""

from __future__ import annotations

from typing import Any

import numba
import numpy as np

from scheduler.engine.completion import INF, to_go
from scheduler.engine.labels import betters, equal, opt_hi_max

FAR = 1 << 60
BLOCK = 32
COMPLETE, TRUNCATED, FULL = 0, 1, 2  # how a search ended: all labels seen, some left out, no room for more labels


@numba.njit(cache=True, nogil=True)
def search(
    same_set_only: bool, threshold: float, room: int, beam: int, most: int,
    width: int, start: int, end: int, latest: int, tau: Any, metres: Any, way: Any, service: Any,
    opt_ptr: Any, opt_lo: Any, opt_hi: Any, opt_cost: Any, value: Any,
    day_cents: int, minute: float, overtime: float, km_cents: int, rest: Any,
    weight: Any, payload: int, boxes: Any, max_boxes: int, extra: Any, helper_cents: int, helper_dual: float,
    gear: Any, gear_price: Any, conflict: Any, pair_first: Any, pair_then: Any, pair_price: Any, firsts: Any,
    sigma: float, keys: Any,
    go: Any, to: Any, slip: Any, slip_to: Any,
) -> tuple[Any, Any, Any, Any, Any, int, int]:  # fmt: skip
    """Return the routes whose reduced cost is under `threshold`, each set of jobs once in its cheapest order and
    timing.

    With `same_set_only` labels are compared only where they served the same jobs, so no such set is lost; otherwise a
    label is also dropped for one that served fewer, and only the most negative routes are sure to come out.
    `extra[j]` helpers that job j asks for, `gear[j, e]` pieces of priced equipment, `conflict[j]` jobs that must not
    have been served before j; `pair_then[p]` costs `pair_price[p]` more where `pair_first[p]` (all of them: `firsts`)
    has not been served before it.
    At most `room` labels are kept; `beam` (0: no limit) is the most that are extended at each number of stops. With
    `most` > 0 only so many routes are wanted, the most negative: the threshold falls as they are found.

    Returns (job sequences as a flat array, their pointers, integer cost, helpers, reduced cost, how it ended, labels).
    """
    n = len(service)
    words = conflict.shape[1]
    kinds = gear.shape[1]
    has_rest = rest[0] < latest
    node = np.empty(room, np.int16)
    parent = np.empty(room, np.int32)
    early = np.empty(room, np.int64)
    work = np.empty(room, np.int64)
    late = np.empty(room, np.int64)
    base = np.empty(room)
    opts = np.empty(room, np.int64)
    driven = np.empty(room, np.int64)
    load = np.empty(room, np.int64)
    box = np.empty(room, np.int64)
    help_ = np.empty(room, np.int64)
    rested = np.empty(room, np.int8)
    alive = np.empty(room, np.bool_)
    score = np.empty(room)
    seen = np.empty((room, words), np.uint64)
    key = np.empty(room, np.uint64)
    taken = np.empty((room, kinds), np.int64)
    table_size = 64
    while table_size < 2 * room and table_size < 1 << 20:
        table_size *= 2
    mask = np.uint64(table_size - 1)
    # Labels to compare with: by set and job in chains, or by job in blocks that lie together in memory, since without
    # the same set a label meets very many others (profile: nine tenths of the time were spent on chained ones).
    chain = np.empty(room if same_set_only else 1, np.int32)
    head = np.full(table_size if same_set_only else n, -1, np.int32)
    rooms = 1 if same_set_only else room // BLOCK + n + 1
    block_early = np.empty((rooms, BLOCK), np.int64)
    block_flat = np.empty((rooms, BLOCK))
    block_seen = np.empty((rooms, BLOCK), np.uint64)
    block_label = np.empty((rooms, BLOCK), np.int32)
    block_next = np.empty(rooms, np.int32)
    block_size = np.zeros(rooms, np.int64)
    blocks = 0

    # complete routes: per set the cheapest, found again by its key
    done_label = np.empty(room, np.int32)
    done_cost = np.empty(room)
    done_int = np.empty(room, np.int64)
    done_chain = np.empty(room, np.int32)
    done_head = np.full(table_size, -1, np.int32)
    done = 0
    next_best = 2 * most

    bits = np.zeros((n, words), np.uint64)
    for j in range(n):
        bits[j, j >> 6] = np.uint64(1) << np.uint64(j & 63)

    count = 0
    ended = 0
    new_taken = np.zeros(kinds, np.int64)
    new_seen = np.zeros(words, np.uint64)
    begin, stop = 0, 1  # the labels of the last level; the yard stands for level 0
    level = 0
    while begin < stop:
        first_new = count
        level_cut = INF
        next_cut = first_new + 4 * beam if beam else room + 1
        # The most promising first: what they lead to betters what the others lead to before it is stored.
        turn = np.argsort(score[begin:stop]) if level and not same_set_only else np.arange(stop - begin)
        for place in range(stop - begin):
            parent_label = begin + turn[place]
            at_yard = level == 0
            if not at_yard and not alive[parent_label]:
                continue
            i = n if at_yard else node[parent_label]
            for j in range(n):
                if not at_yard:
                    clash = np.uint64(0)
                    for w in range(words):
                        clash |= seen[parent_label, w] & (conflict[j, w] | bits[j, w])
                    if clash != 0:
                        continue
                new_load = weight[j] + (0 if at_yard else load[parent_label])
                new_box = boxes[j] + (0 if at_yard else box[parent_label])
                if new_load > payload or new_box > max_boxes:
                    continue
                drive = tau[i, j]
                if (start if at_yard else early[parent_label]) + drive > opt_hi_max(opt_hi, opt_ptr, j):
                    continue
                fixed = way[i, j] + (0.0 if at_yard else base[parent_label])
                helped = 0 if at_yard else help_[parent_label]
                if extra[j] > helped:
                    fixed += (extra[j] - helped) * (helper_cents + helper_dual)
                    helped = extra[j]
                for e in range(kinds):
                    have = 0 if at_yard else taken[parent_label, e]
                    if gear[j, e] > have:
                        fixed += gear_price[e] * (gear[j, e] - have)
                        have = gear[j, e]
                    new_taken[e] = have
                for p in range(len(pair_then)):
                    if pair_then[p] == j:
                        f = pair_first[p]
                        if at_yard or seen[parent_label, f >> 6] & bits[f, f >> 6] == 0:
                            fixed += pair_price[p]
                for w in range(words):
                    new_seen[w] = bits[j, w] | (np.uint64(0) if at_yard else seen[parent_label, w])
                new_key = keys[j] + (np.uint64(0) if at_yard else key[parent_label])
                flag0 = 0 if at_yard else rested[parent_label]
                # the rest may come before the service, after it, or not here
                for variant in range(3 if has_rest and flag0 == 0 else 1):
                    arrive = (start if at_yard else early[parent_label]) + drive
                    spent = drive + (0 if at_yard else work[parent_label])
                    limit = latest if at_yard else late[parent_label]
                    flag = flag0
                    if variant == 1:
                        if arrive > rest[3]:
                            continue
                        limit = min(limit, rest[3] - spent)
                        arrive = max(arrive, rest[2]) + rest[1]
                        spent += rest[1]
                        flag = 1
                    for o in range(opt_ptr[j], opt_ptr[j + 1]):
                        if arrive > opt_hi[o]:
                            continue
                        a = max(arrive, opt_lo[o]) + service[j]
                        d = spent + service[j]
                        z = min(limit, opt_hi[o] - spent)
                        fl = flag
                        if variant == 2:
                            if a > rest[3]:
                                continue
                            z = min(z, rest[3] - d)
                            a = max(a, rest[2]) + rest[1]
                            d += rest[1]
                            fl = 1
                        if a > latest:
                            continue
                        cost = fixed + value[o]
                        day = max(d, a - z)
                        bucket = (a - start) // width
                        loose = a < z + d
                        if loose:
                            bound = to_go(slip, slip_to, 0, j, bucket, new_seen)
                        else:
                            bound = to_go(go, to, 0, j, bucket, new_seen)
                        if has_rest and fl == 0:
                            if day > rest[0]:
                                bound = INF
                            if loose:
                                bound = min(bound, to_go(slip, slip_to, 1, j, bucket, new_seen))
                            else:
                                bound = min(bound, to_go(go, to, 1, j, bucket, new_seen))
                        bound += cost + minute * day - minute * (width - 1) + day_cents - sigma
                        if bound >= threshold or bound >= level_cut:
                            continue
                        # compare with the labels kept at this job
                        flat_cost = cost - minute * z
                        slot = np.int64(j)
                        beaten = False
                        if same_set_only:
                            mixed = new_key + np.uint64(j) * np.uint64(0x9E3779B97F4A7C15)
                            slot = np.int64((mixed >> np.uint64(20)) & mask)
                            other = head[slot]
                            while other >= 0 and not beaten:
                                if (
                                    alive[other] and early[other] <= a and rested[other] >= fl and node[other] == j
                                    and equal(seen[other], new_seen)
                                ):  # fmt: skip
                                    beaten = betters(
                                        other, a, d, z, cost, fl, new_seen, new_taken, helped, True, firsts, has_rest,
                                        early, work, late, base, rested, seen, taken, help_, gear_price,
                                        helper_cents + helper_dual, minute,
                                    )  # fmt: skip
                                other = chain[other]
                        else:
                            part = head[j]
                            while part >= 0 and not beaten:
                                for x in range(block_size[part]):
                                    if (
                                        block_early[part, x] <= a and block_flat[part, x] <= flat_cost + 1e-9
                                        and block_seen[part, x] & ~new_seen[0] == 0
                                    ):  # fmt: skip
                                        other = block_label[part, x]
                                        if alive[other] and betters(
                                            other, a, d, z, cost, fl, new_seen, new_taken, helped, False, firsts,
                                            has_rest,
                                            early, work, late, base, rested, seen, taken, help_, gear_price,
                                            helper_cents + helper_dual, minute,
                                        ):  # fmt: skip
                                            beaten = True
                                            break
                                part = block_next[part]
                        if beaten:
                            continue
                        if count >= room:
                            ended = FULL
                            break
                        c = count
                        node[c], parent[c] = j, (-1 if at_yard else parent_label)
                        early[c], work[c], late[c], base[c] = a, d, z, cost
                        opts[c] = opt_cost[o] + (0 if at_yard else opts[parent_label])
                        driven[c] = metres[i, j] + (0 if at_yard else driven[parent_label])
                        load[c], box[c], help_[c], rested[c] = new_load, new_box, helped, fl
                        alive[c], score[c], key[c] = True, bound, new_key
                        for w in range(words):
                            seen[c, w] = new_seen[w]
                        for e in range(kinds):
                            taken[c, e] = new_taken[e]
                        # drop labels of this level that the new one betters
                        if same_set_only:
                            other = head[slot]
                            while other >= first_new:
                                if (
                                    alive[other] and a <= early[other] and fl >= rested[other] and node[other] == j
                                    and equal(seen[other], new_seen)
                                    and betters(
                                        c, early[other], work[other], late[other], base[other], rested[other],
                                        seen[other],
                                        taken[other], help_[other], True, firsts, has_rest,
                                        early, work, late, base, rested, seen, taken, help_, gear_price,
                                        helper_cents + helper_dual, minute,
                                    )
                                ):  # fmt: skip
                                    alive[other] = False
                                other = chain[other]
                            chain[c] = head[slot]
                            head[slot] = c
                        else:
                            part = head[j]
                            while part >= 0:
                                for x in range(block_size[part]):
                                    other = block_label[part, x]
                                    if (
                                        other >= first_new and a <= block_early[part, x]
                                        and flat_cost <= block_flat[part, x] + 1e-9
                                        and new_seen[0] & ~block_seen[part, x] == 0 and alive[other]
                                        and betters(
                                            c, early[other], work[other], late[other], base[other], rested[other],
                                            seen[other], taken[other], help_[other], False, firsts, has_rest,
                                            early, work, late, base, rested, seen, taken, help_, gear_price,
                                            helper_cents + helper_dual, minute,
                                        )
                                    ):  # fmt: skip
                                        alive[other] = False
                                        block_early[part, x] = FAR
                                part = block_next[part]
                            part = head[j]
                            if part < 0 or block_size[part] == BLOCK:
                                block_next[blocks] = part
                                part = blocks
                                head[j] = part
                                blocks += 1
                            x = block_size[part]
                            block_early[part, x], block_flat[part, x] = a, flat_cost
                            block_seen[part, x], block_label[part, x] = new_seen[0], c
                            block_size[part] = x + 1
                        count += 1
                        if count >= next_cut:  # more than enough for this level: only what is among the best so far
                            level_cut = np.partition(score[first_new:count], beam)[beam]
                            next_cut = count + 2 * beam
                            ended = TRUNCATED
                        # home from here
                        back = a + tau[j, n]
                        whole = max(d + tau[j, n], back - z)
                        if back <= latest and (not has_rest or fl == 1 or whole <= rest[0]):
                            total = (
                                cost + way[j, n] + minute * whole + overtime * max(0, back - end) + day_cents - sigma
                            )
                            if total < threshold:
                                run = driven[c] + metres[j, n]
                                exact = (
                                    opts[c] + day_cents + int(minute) * whole + int(overtime) * max(0, back - end)
                                    + (km_cents * run + 500) // 1000 + helped * helper_cents
                                )  # fmt: skip
                                where = np.int64((new_key >> np.uint64(20)) & mask)
                                old = done_head[where]
                                while old >= 0 and not (
                                    key[done_label[old]] == new_key and equal(seen[done_label[old]], new_seen)
                                ):
                                    old = done_chain[old]
                                if old < 0:
                                    done_label[done], done_cost[done], done_int[done] = c, total, exact
                                    done_chain[done] = done_head[where]
                                    done_head[where] = done
                                    done += 1
                                elif exact < done_int[old]:
                                    done_label[old], done_cost[old], done_int[old] = c, total, exact
                                if most and old < 0 and done >= next_best:
                                    threshold = min(
                                        threshold, np.partition(done_cost[:done], most - 1)[most - 1] + 1e-9
                                    )
                                    next_best = done + most
                    if ended == FULL:
                        break
                if ended == FULL:
                    break
            if ended == FULL:
                break
        begin, stop = first_new, count
        level += 1
        if ended == FULL:
            break
        if beam and stop - begin > beam:
            ranked = np.sort(score[begin:stop])
            limit_score = ranked[beam]
            for label in range(begin, stop):
                if score[label] > limit_score:
                    alive[label] = False
            ended = TRUNCATED

    pointers = np.zeros(done + 1, np.int64)
    for r in range(done):
        stops = 0
        label = done_label[r]
        while label >= 0:
            stops += 1
            label = parent[label]
        pointers[r + 1] = pointers[r] + stops
    flat = np.empty(pointers[done], np.int16)
    helpers = np.empty(done, np.int64)
    for r in range(done):
        label = done_label[r]
        helpers[r] = help_[label]
        place = pointers[r + 1]
        while label >= 0:
            place -= 1
            flat[place] = node[label]
            label = parent[label]
    return flat, pointers, done_int[:done].copy(), helpers, done_cost[:done].copy(), ended, count
