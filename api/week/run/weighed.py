"""What the week sheet says of late arrivals that were to be weighed in its plan; the catalogues have it from here."""

from __future__ import annotations


def weighed(dearer_cents: int, saved_cents: int) -> str:
    """Return what the choice costs as planned, and what it is to be expected to spare beyond that plan."""
    dearer, saved = f"${dearer_cents / 100:,.0f}", f"${saved_cents / 100:,.0f}"
    return (
        f"Late arrivals are weighed: {dearer} dearer as planned, {saved} less to be expected for lateness and overtime."
    )


def none_better() -> str:
    return "Late arrivals are weighed: no plan that was found saves more on them than it costs."


def two_crews_meet() -> str:
    return "Late arrivals are not weighed: two crews meet at a visit of this week."


def yards_apart() -> str:
    return "Late arrivals are not weighed: the yards were planned apart, by a cluster."


def no_time() -> str:
    return "Late arrivals are not weighed: the planning was over before it came to that. Give it more time."
