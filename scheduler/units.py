"""Lengths as people write them on a wall: feet, inches and sixteenths, or millimetres; inside, all is millimetres."""

from __future__ import annotations

import re
from fractions import Fraction

from scheduler.errors import BadInput

INCH_MM = 25.4
FOOT_MM = 304.8

_MOST_MM = 1_000_000
_LONGEST = 60
_FRACTIONS = {
    "¼": "1/4", "½": "1/2", "¾": "3/4", "⅐": "1/7", "⅑": "1/9", "⅒": "1/10", "⅓": "1/3", "⅔": "2/3", "⅕": "1/5",
    "⅖": "2/5", "⅗": "3/5", "⅘": "4/5", "⅙": "1/6", "⅚": "5/6", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8",
}  # fmt: skip
_SIGNS = str.maketrans({
    "′": "'", "’": "'", "‘": "'", "ʹ": "'", "´": "'", "`": "'", "″": '"', "”": '"', "“": '"', "ʺ": '"',
    "⁄": "/", "∕": "/", "−": "-", "–": "-", "‐": "-", "‑": "-", "\u00a0": " ", "\u202f": " ", "\u2009": " ",
})  # fmt: skip

_NUMBER = r"[0-9]+(?:\.[0-9]*)?|\.[0-9]+"
_METRIC = re.compile(rf"({_NUMBER})\s*(mm|cm|m)?")
_FEET = rf"(?P<feet>{_NUMBER})\s*(?:'|feet|foot|ft)\.?"
_INCHES = (
    rf"(?:(?P<over>[0-9]+)/(?P<under>[0-9]+)|(?P<inches>{_NUMBER})(?:\s*[\s-]\s*(?P<top>[0-9]+)/(?P<bottom>[0-9]+))?)"
)
_INCH_SIGN = r"(?:\"|inches|inch|in)\.?"
_IMPERIAL = re.compile(
    rf"{_FEET}(?:[\s,-]*{_INCHES}\s*(?:{_INCH_SIGN})?)?|{_INCHES.replace('?P<', '?P<only_')}\s*{_INCH_SIGN}"
)
_HYPHENS = re.compile(r"(?P<feet>[0-9]+)-(?P<inches>[0-9]+)(?:[\s-](?P<top>[0-9]+)/(?P<bottom>[0-9]+))?")
_HELP = "write it as 12' 6 1/2\", 150 1/2 in, 3810 mm or 3.81 m"


def feet_inches(length_mm: float, denominator: int = 16) -> str:
    """Return a length in feet, inches and the nearest sixteenth: `12' 6 1/2"`, `6 1/2"` below a foot, `-3"` below 0."""
    parts = round(abs(length_mm) / INCH_MM * denominator)
    inches, rest = divmod(parts, denominator)
    feet, inches = divmod(inches, 12)
    words = [f"{feet}'"] if feet else []
    fraction = Fraction(rest, denominator)
    if fraction and inches:
        words.append(f'{inches} {fraction}"')
    elif fraction:
        words.append(f'{fraction}"')
    elif inches or not feet:
        words.append(f'{inches}"')
    return ("-" if length_mm < 0 and parts else "") + " ".join(words)


def both(length_mm: float) -> str:
    """Return a length in both measures, for sentences: `12' 6 1/2" (3823 mm)`."""
    return f"{feet_inches(length_mm)} ({round(length_mm)} mm)"


def parse_length(text: str, where: str = "length") -> float:
    """Return the length that `text` says, in millimetres.

    Taken are feet and inches with decimals or fractions (`12' 6 1/2"`, `12-6-1/2`, `12ft 6.5in`, `150 1/2 in`, with
    typographic primes and fractions too), millimetres, centimetres and metres, and a bare number as millimetres; a
    minus sign may come first. Raises `BadInput` for `where` otherwise, also for 12 in or more after feet and for more
    than a kilometre.
    """
    written = _plain(text)
    if len(written) > _LONGEST:
        raise BadInput(where, f"is too long to be a length; {_HELP}")
    sign = -1 if written.startswith("-") else 1
    body = written.removeprefix("-").strip()
    if found := _METRIC.fullmatch(body):
        scale = {"mm": 1, "cm": 10, "m": 1000}[found[2] or "mm"]
        length_mm = float(Fraction(found[1].rstrip(".")) * scale)
    elif found := _HYPHENS.fullmatch(body) or _IMPERIAL.fullmatch(body):
        length_mm = float(_inches(found, text, where) * Fraction(254, 10))
    else:
        raise BadInput(where, f'"{text}" is no length; {_HELP}')
    if length_mm > _MOST_MM:
        raise BadInput(where, f'"{text}" is more than a kilometre; {_HELP}')
    return sign * length_mm if length_mm else 0.0


def _plain(text: str) -> str:
    for sign, fraction in _FRACTIONS.items():
        text = text.replace(sign, f" {fraction}")
    text = " ".join(text.translate(_SIGNS).lower().split())
    return text.replace("''", '"')


def _inches(found: re.Match[str], text: str, where: str) -> Fraction:
    part = {key.removeprefix("only_"): value for key, value in found.groupdict().items() if value is not None}
    feet = Fraction(part.get("feet", "0").rstrip("."))
    inches = Fraction(part.get("inches", "0").rstrip("."))
    over, under = int(part.get("over", part.get("top", "0"))), int(part.get("under", part.get("bottom", "1")))
    if not 1 <= under <= 64 or over >= max(under, 1):
        raise BadInput(where, f'"{text}" has a fraction that no tape shows ({over}/{under}); {_HELP}')
    if over and inches.denominator > 1:
        raise BadInput(where, f'"{text}" has both a decimal point and a fraction in its inches; {_HELP}')
    if feet.denominator > 1 and (inches or over):
        raise BadInput(where, f'"{text}" has a decimal point in its feet and inches besides; {_HELP}')
    if "feet" in part and inches >= 12:
        raise BadInput(
            where, f'"{text}" has {float(inches):g} inches after its feet, where 11 and a fraction is the most'
        )
    return feet * 12 + inches + Fraction(over, under)
