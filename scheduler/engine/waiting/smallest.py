"""The smallest sets of rules that have to be thought away at once before a job can go, found within bounded work.

Thinking away more never takes a place from a job: a set that is too little for it says so of every set within it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Generic, TypeVar

T = TypeVar("T")
Kinds = frozenset[str]

LEAST = "With the other visits as they are, nothing less would do."


@dataclass(frozen=True)
class Sets(Generic[T]):
    """What comes of sets that are enough, all of one `size`; `tried`: how many sets were looked at.

    `least`: no smaller one is enough; else the work that was allowed did not go so far.
    """

    found: tuple[T, ...]
    size: int
    tried: int
    least: bool

    @property
    def note(self) -> str:
        """The sentence on how small they are."""
        return LEAST if self.least else f"Fewer may do: {self.tried:,} sets were tried, not all that there are."


def smallest(
    kinds: Sequence[str], tried: Callable[[Kinds], tuple[T, Kinds] | None], more: Callable[[], bool], most: int
) -> Sets[T] | None:
    """Return the smallest sets of two `kinds` or more that are enough, None where all together are not.

    tried: what comes of thinking away a set, with the kinds of it that are really needed, None where it is too little.
    No kind alone is enough. more: whether another set may be tried; most: at most so many.
    """
    known = dict[Kinds, tuple[T, Kinds] | None]()

    def ask(some: Kinds) -> tuple[T, Kinds] | None:
        if some not in known:
            known[some] = tried(some)
        return known[some]

    def spent() -> bool:
        return len(known) >= most or not more()

    every = frozenset(kinds)
    first = ask(every)
    if first is None:
        return None
    best, used = first
    for kind in reversed(kinds):
        if spent():
            break
        if kind in used and len(used) > 1 and (less := ask(used - {kind})) is not None:
            best, used = less
    always = {kind for kind in kinds if kind in used and not spent() and ask(every - {kind}) is None}
    others = [kind for kind in kinds if kind not in always]
    for size in range(max(2, len(always)), len(used) + 1):
        found = list[T]()
        for some in combinations(others, size - len(always)):
            if spent():
                return Sets(tuple(found) or (best,), size if found else len(used), len(known), least=bool(found))
            if (made := ask(frozenset({*always, *some}))) is not None:
                found.append(made[0])
        if found:
            return Sets(tuple(found), size, len(known), least=True)
    return Sets((best,), len(used), len(known), least=len(used) < 2)
