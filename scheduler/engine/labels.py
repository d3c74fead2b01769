"""Compiled: labels of the route search compared with one another."""

from __future__ import annotations

from typing import Any

import numba


@numba.njit(cache=True, nogil=True)
def opt_hi_max(opt_hi: Any, opt_ptr: Any, j: int) -> int:
    """Return the latest start of job j in any option."""
    top = -1
    for o in range(opt_ptr[j], opt_ptr[j + 1]):
        top = max(top, opt_hi[o])
    return top


@numba.njit(cache=True, nogil=True)
def equal(a: Any, b: Any) -> bool:
    """Say whether two sets are the same."""
    same = True
    for w in range(len(a)):
        same &= a[w] == b[w]
    return same


@numba.njit(cache=True, nogil=True)
def betters(
    x: int, a: int, d: int, z: int, cost: float, flag: int, other_seen: Any, other_taken: Any, other_help: int,
    same_set: bool, firsts: Any, has_rest: bool, early: Any, work: Any, late: Any, base: Any, rested: Any, seen: Any,
    taken: Any, help_: Any, gear_price: Any, helper_price: float, minute: float,
) -> bool:  # fmt: skip
    """Say whether label x makes the other one, at the same job, needless: whatever follows costs x no more.

    As a function of the minute t at which the last service ends, a label has cost base + minute * max(work, t - late).
    That of x must not exceed the other's for any t from the other's earliest on: enough at that minute and in the
    limit.
    """
    if early[x] > a or rested[x] < flag:
        return False
    b = base[x]
    flat = b - minute * late[x]
    other_flat = cost - minute * z
    if flat > other_flat + 1e-9:
        return False
    if max(flat, b + minute * work[x] - minute * a) > max(other_flat, cost + minute * d - minute * a) + 1e-9:
        return False
    if has_rest and rested[x] == 0 and (late[x] < z or work[x] > max(d, a - z)):
        return False  # x must still be able to end within the time that needs no rest wherever the other can
    if same_set:
        return equal(seen[x], other_seen)
    for w in range(len(other_seen)):
        if seen[x, w] & ~other_seen[w]:
            return False
        if (seen[x, w] ^ other_seen[w]) & firsts[w]:
            return False
    # x has served fewer jobs, so it may have paid for fewer pieces and helpers: it may have to pay for them later
    owed = 0.0
    for e in range(len(other_taken)):
        owed += gear_price[e] * max(0, other_taken[e] - taken[x, e])
    owed += helper_price * max(0, other_help - help_[x])
    if owed == 0.0:
        return True
    now = max(flat, b + minute * work[x] - minute * a) + owed
    return bool(now <= max(other_flat, cost + minute * d - minute * a) + 1e-9 and flat + owed <= other_flat + 1e-9)
