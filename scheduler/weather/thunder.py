"""How far off lightning is by the time from flash to bang, beside the 30-30 rule."""

from __future__ import annotations

SECONDS_A_MILE = 5.0  # sound, National Weather Service: five seconds a mile
SHELTER_S = 30.0  # flash to bang of 30 s or less: go in; stay in for 30 minutes after the last thunder (30-30 rule)
STAY_MIN = 30


def miles_off(flash_to_bang_s: float) -> float:
    """Return how many miles off lightning struck whose thunder came so many seconds (0 or more) after its flash.

    Raises `ValueError` for a time below 0.
    """
    if flash_to_bang_s < 0:
        raise ValueError(f"thunder comes after its flash: {flash_to_bang_s} s")
    return flash_to_bang_s / SECONDS_A_MILE


def flash_words() -> str:
    """Return the 30-30 rule with its distance, in a sentence that a crew can count by."""
    return (
        f"count from flash to bang, {SECONDS_A_MILE:.0f} seconds a mile; at {SHELTER_S:.0f} seconds"
        f" ({miles_off(SHELTER_S):.0f} miles) or less go in, and stay in until {STAY_MIN} minutes after the last"
        " thunder."
    )
