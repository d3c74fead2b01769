"""Rebooking: what could make visits of a posted week fall, the times offered instead, and what taking one changes."""
