"""Money, gaps and counts in the command line's sentences."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from scheduler.reports.gap import Gap


def money(cents: int) -> str:
    """Return cents as $1,234.56."""
    return f"{'-' if cents < 0 else ''}${abs(cents) // 100:,}.{abs(cents) % 100:02}"


def count(number: int, thing: str) -> str:
    """Return "1 place", "2 places", "2 boxes"."""
    plural = f"{thing}es" if thing.endswith("x") else f"{thing}s"
    return f"{number} {thing if number == 1 else plural}"


def plain(text: str) -> str:
    """Return `text` without control characters: a name in a file must not steer the terminal."""
    return "".join(c if c.isprintable() else "?" for c in text)


def gap_words(cost: int, bound: int | None, gap: Gap) -> str:
    """Return what is proven of the cost, as the rest of a sentence."""
    if bound is None or gap.of_total is None:
        return "nothing is proven on how much better a plan could be."
    if cost == bound:
        return "no plan of this week is cheaper (proven)."
    words = f"no plan costs less than {money(bound)} (proven), a gap of {gap.of_total:.2f} % of the total"
    if gap.fixed_cents and gap.of_influenced is not None:
        words += f" and {gap.of_influenced:.2f} % of the part that a plan can influence"
    return words + "."
