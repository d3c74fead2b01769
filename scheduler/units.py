"""Measures as people write them: lengths in feet, inches and sixteenths or millimetres, weights, forces.

Inside, all is millimetres, kilograms and newtons.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction

from scheduler.errors import BadInput

INCH_MM = 25.4
FOOT_MM = 304.8
# NIST SP 811, appendix B.8: exact pound, and the pound-force from it by the exact standard gravity.
LB_KG = 0.45359237
LBF_N = 4.4482216152605

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
_METRIC = re.compile(rf"({_NUMBER})\s*(mm|cm|m|(?:milli|centi)?met(?:re|er)s?)?")
_FEET = rf"(?P<feet>{_NUMBER})\s*(?:'|feet|foot|ft)\.?"
_INCHES = (
    rf"(?:(?P<over>[0-9]+)/(?P<under>[0-9]+)|(?P<inches>{_NUMBER})(?:\s*[\s-]\s*(?P<top>[0-9]+)/(?P<bottom>[0-9]+))?)"
)
_INCH_SIGN = r"(?:\"|inches|inch|in)\.?"
_IMPERIAL = re.compile(
    rf"{_FEET}(?:[\s,-]*{_INCHES}\s*(?:{_INCH_SIGN})?)?|{_INCHES.replace('?P<', '?P<only_')}\s*{_INCH_SIGN}"
)
_HYPHENS = re.compile(
    r"(?P<feet>[0-9]+)-(?P<inches>[0-9]+)(?:[\s-](?P<top>[0-9]+)/(?P<bottom>[0-9]+)|-(?P<sixteenths>[0-9]+))?"
)
_AMOUNT = re.compile(rf"({_NUMBER})\s*([a-z]*)\.?")
_HELP = "write it as 12' 6 1/2\", 150 1/2 in, 3810 mm or 3.81 m"


@functools.lru_cache(maxsize=4096)  # a drawing writes the same lengths again and again
def feet_inches(length_mm: float, denominator: int = 16) -> str:
    """Return a length in feet, inches and the nearest sixteenth: `12' 6 1/2"`, `6 1/2"` below a foot, `-3"` below 0.

    Feet with a fraction alone are written with the zero inches between, `5' 0 13/16"`: read in haste on a ladder,
    5' 13/16" is 5' 1 3/16".
    """
    parts = round(abs(length_mm) / INCH_MM * denominator)
    inches, rest = divmod(parts, denominator)
    feet, inches = divmod(inches, 12)
    words = [f"{feet}'"] if feet else []
    fraction = Fraction(rest, denominator)
    if fraction and (inches or feet):
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
    typographic primes and fractions too), feet-inches-sixteenths as drawings and truss plans have them (`12-6-8`),
    millimetres, centimetres and metres, and a bare number as millimetres; a minus sign may come first. Raises
    `BadInput` for `where` otherwise, also for 12 in or more after feet, for 16 sixteenths or more, and for more than a
    kilometre.
    """
    written = _plain(text)
    if len(written) > _LONGEST:
        raise BadInput(where, f"is too long to be a length; {_HELP}")
    sign = -1 if written.startswith("-") else 1
    body = written.removeprefix("-").strip()
    if found := _METRIC.fullmatch(body):
        length_mm = float(Fraction(found[1].rstrip(".")) * _scale_mm(found[2] or "mm"))
    elif found := _HYPHENS.fullmatch(body) or _IMPERIAL.fullmatch(body):
        length_mm = float(_inches(found, text, where) * Fraction(254, 10))
    else:
        raise BadInput(where, f'"{text}" is no length; {_HELP}')
    if length_mm > _MOST_MM:
        raise BadInput(where, f'"{text}" is more than a kilometre; {_HELP}')
    return sign * length_mm if length_mm else 0.0


def exact_length(length_mm: float, units: str = "imperial") -> str:
    """Return a length that `parse_length` reads as just this one: feet and inches where they are exact, else mm."""
    if units == "imperial":
        text = feet_inches(length_mm)
        if parse_length(text) == length_mm:
            return text
    return f"{exact_number(length_mm)} mm"


def exact_number(value: float) -> str:
    """Return a number in digits, as short as it can be without loss, and never with an exponent."""
    text = f"{Decimal(repr(float(value))):f}"
    return text.removesuffix(".0")


def parse_weight(text: str, where: str = "weight") -> float:
    """Return the weight that `text` says (`54 kg`, `119 lb`, a bare number as kg), in kg; raises `BadInput`."""
    units = {"": 1.0, "kg": 1.0, "lb": LB_KG, "lbs": LB_KG, "pound": LB_KG, "pounds": LB_KG}
    return _amount(text, where, units, "weight; write it as 54 kg or 119 lb")


def parse_force(text: str, where: str = "load") -> float:
    """Return the force that `text` says (`6400 N`, `6.4 kN`, `1440 lbf`, a bare number as N); raises `BadInput`."""
    units = {"": 1.0, "n": 1.0, "kn": 1000.0, "lbf": LBF_N, "lb": LBF_N, "lbs": LBF_N}
    return _amount(text, where, units, "load; write it as 6400 N, 6.4 kN or 1440 lbf")


def _amount(text: str, where: str, units: Mapping[str, float], what: str) -> float:
    found = _AMOUNT.fullmatch(_plain(text)) if len(text) <= _LONGEST else None
    if found is None or found[2] not in units:
        raise BadInput(where, f'"{text[:_LONGEST]}" is no {what}')
    return float(found[1]) * units[found[2]]


def _scale_mm(unit: str) -> int:
    """Return how many millimetres a metric unit has, by its sign or its word."""
    return {"mm": 1, "cm": 10, "m": 1000}.get(unit) or {"mi": 1, "ce": 10, "me": 1000}[unit[:2]]


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
    if "sixteenths" in part:
        over, under = int(part["sixteenths"]), 16
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
