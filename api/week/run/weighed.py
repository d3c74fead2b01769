"""What the week sheet says of a plan that was chosen for what is to be expected; the catalogues have it from here."""

from __future__ import annotations


def weighed(dearer_cents: int, saved_cents: int) -> str:
    """Return what the choice costs as planned, and what it is to be expected to spare beyond that plan."""
    dearer, saved = f"${dearer_cents / 100:,.0f}", f"${saved_cents / 100:,.0f}"
    return (
        f"Late arrivals are weighed: {dearer} dearer as planned, {saved} less to be expected for lateness and overtime."
    )
