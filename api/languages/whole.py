"""What no line may break within: a figure and its unit, as in 45 min, 12 ft, 6' 2 1/16", 30 %."""

from __future__ import annotations

import re

TIED = "\u00a0"  # a space at which no line breaks

_WORDLESS = r"%|(?:min|h|ft|pies|pulg|lb|kg|mm|cm|m|km|mi|mph|km/h|pm)\b|°[FC]"  # none of them is a word as well
_UNIT = (
    rf"{_WORDLESS}|am\b"
    r"|in\b(?! (?:the|a|an|its|all|any|each|one|two|three|four|five|ten|\d))"  # "12 in the yard" are no inches
)
# Between a figure and its unit, in "3 h 40", and within feet, inches and their fractions.
_WITHIN = re.compile(
    rf"(?<=[0-9]) (?={_UNIT})|(?<=[0-9] h) (?=[0-9]{{2}}\b)|(?<=[0-9]['′]) (?=[0-9])|(?<=[0-9]) (?=[0-9]+/[0-9]+[\"″])"
)
_MAY = re.compile(
    r"[0-9](?:['′]| h)? "
)  # whether it is worth a look: most texts of a page have no figure before a blank
_BEGINS = re.compile(rf" (?={_WORDLESS})")


def kept_together(text: str, *, after_figure: bool = False) -> str:
    """Return a text in which no line breaks between a figure and its unit; lengths are as they were.

    after_figure: the text comes right after a value that may be a figure, so that its own beginning may be its unit.
    """
    if after_figure:
        begins = _BEGINS.match(text)
        text = TIED + text[1:] if begins else text
    return _WITHIN.sub(TIED, text) if _MAY.search(text) else text
