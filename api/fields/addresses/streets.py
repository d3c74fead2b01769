"""Streets, numbers and towns as they are compared: the same for every usual way to write an address."""

from __future__ import annotations

import re

_SHORT = {
    "st": "street", "rd": "road", "ave": "avenue", "av": "avenue", "ln": "lane", "dr": "drive", "blvd": "boulevard",
    "ct": "court", "pl": "place", "hwy": "highway", "sq": "square", "ter": "terrace", "pkwy": "parkway",
    "cir": "circle", "trl": "trail", "n": "north", "s": "south", "e": "east", "w": "west", "mt": "mount",
}  # fmt: skip
_NUMBER = re.compile(r"^(\d{1,6}(?:[a-z]|[ -]?1/2)?)\b[\s,]*(.*)$")
_UNIT = re.compile(r"\b(?:apt|apartment|unit|suite|ste|no)\b\.? *\S+|#\s*\S+")


def plain(text: str) -> str:
    """Return a street or a town as it is compared: small letters, no points, no usual short forms."""
    words = re.sub(r"[^\w/ -]+", " ", text.casefold()).replace("-", " ").split()
    return " ".join(_SHORT.get(word, word) for word in words)


def number_and_street(address: str) -> tuple[str, str]:
    """Return the number and the street of an address as they are compared; "" where it has no number.

    What follows a comma, and the number of a flat, are left out.
    """
    text = _UNIT.sub(" ", address.casefold().partition(",")[0])
    numbered = _NUMBER.match(text.strip())
    if numbered is None:
        return "", plain(text)
    return numbered[1].replace(" ", ""), plain(numbered[2])


def question_of(address: str, town: str) -> str:
    """Return what an address is kept under: the same for every usual way to write it."""
    number, street = number_and_street(address)
    rest = address.partition(",")[2] or town
    return f"{number} {street}, {plain(rest)}".strip()[:300]
