"""How wide text is, where it breaks, and which characters a drawing may carry.

Widths are those of DejaVu Sans (public font; units of 1/2048 em, from its hmtx table), so that the drawing can be laid
out without opening a font. Accented letters are as wide as their base letter.
"""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache

_EM = 2048
_REGULAR = {
    465: "′", 563: "'", 569: "ijl", 582: "ł", 604: "IJ", 651: " \u00a0,.·‘’", 690: "/:;\\|", 721: "f", 739: "-",
    765: "″", 799: "()[]", 803: "t", 821: "!²³¡", 842: "r", 942: '"', 1024: "*_`°§–", 1061: "“”„", 1067: "s", 1075: "z",
    1087: "?¿", 1126: "c", 1141: "L", 1151: "Ł", 1178: "F", 1186: "k", 1208: "•", 1212: "vxy", 1235: "P", 1251: "TY",
    1253: "oø", 1255: "a", 1260: "e", 1290: "ß", 1294: "E", 1298: "hnu", 1300: "Sbdgpqđ", 1303: "$0123456789{}€",
    1343: "K", 1401: "AV", 1403: "XZ", 1405: "B", 1423: "R", 1430: "C", 1499: "U", 1532: "N", 1540: "H", 1577: "D",
    1587: "GĐ", 1597: "&", 1612: "OQØ", 1675: "w", 1716: "#+<=>^~±×÷−≤≥≈", 1767: "M", 1784: "∅", 1946: "%",
    1985: "½¼¾⅛⅜⅝⅞", 1995: "mÆ", 2011: "æ", 2025: "W", 2048: "@®—…™",
}  # fmt: skip
_BOLD = {
    540: "′", 627: "'", 702: "ijl", 713: " \u00a0", 748: "/\\|", 760: "ł", 762: "IJ", 778: ",.·‘’", 819: ":;", 850: "-",
    891: "f", 897: "²³", 915: "″", 934: "!¡", 936: "()[]", 979: "t", 1010: "r", 1024: "_`°§–", 1067: '"', 1071: "*",
    1188: "?¿", 1192: "z", 1214: "c", 1219: "s", 1305: "L", 1309: "•", 1315: "Ł", 1321: "x", 1335: "vy", 1346: "“”„",
    1362: "k", 1382: "a", 1389: "e", 1397: "T", 1399: "EF", 1407: "oø", 1425: "$0123456789€", 1458: "hnu{}",
    1466: "bdgpqđ", 1473: "ß", 1475: "S", 1483: "Y", 1485: "Z", 1501: "P", 1503: "C", 1561: "B", 1577: "R", 1579: "X",
    1585: "AV", 1587: "K", 1663: "U", 1681: "G", 1700: "D", 1714: "HN", 1716: "#+<=>^~±×÷Đ−≤≥≈", 1741: "OQØ",
    1754: "∅", 1786: "&", 1892: "w", 2038: "M", 2048: "@®—…™", 2052: "%", 2120: "½¼¾⅛⅜⅝⅞", 2134: "m", 2146: "æ",
    2222: "Æ", 2259: "W",
}  # fmt: skip
_WIDTHS = [{char: width / _EM for width, chars in table.items() for char in chars} for table in (_REGULAR, _BOLD)]
# A character of another script comes from whatever font the viewer has: most are up to 1 em wide, ligatures more.
_STRANGE = 1.4

ASCENT, DESCENT = 0.78, 0.24  # of figures, capitals and brackets; em
_TALL_ASCENT, _TALL_DESCENT = 0.95, 0.3  # with accents on capitals or below letters
_TIED = "\u00a0"  # a space at which no line breaks
_MEASURE = re.compile(
    r"(?:\d+' )?\d+ \d+/\d+\"|\d+' (?:\d+/)?\d+\"|\d[\d.]* (?:mm|cm|m|kg|lb|N|Pa|mph|ft|in|%)(?![A-Za-z])"
)
_DROPPED = ("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp")


# A drawing asks for the same texts at every height and scale that it tries: remembering the answers halves its time.
_remembered = lru_cache(maxsize=8192)


@_remembered
def clean(text: str) -> str:
    """Return `text` as one line that an XML file may hold: no control, direction or unpaired characters, single spaces.

    Of marks that sit on a letter at most two stay: more would climb out of the line.
    """
    kept: list[str] = []
    marks = 0
    for char in unicodedata.normalize("NFC", " ".join(text.split())):
        kind = unicodedata.category(char)
        marks = marks + 1 if kind in ("Mn", "Me") else 0
        if kind not in _DROPPED and marks <= 2:
            kept.append(char)
    return " ".join("".join(kept).split())


@_remembered
def is_known(text: str) -> bool:
    """Whether every character of `text` has a measured width, so that its width is exact."""
    return all(_width(char, False) is not None for char in text)


def width_of(text: str, size: float, bold: bool = False) -> float:
    """Return how wide `text` is at font size `size`, in the unit of `size`; of unknown characters an upper estimate."""
    return size * _em(text, bold)


@_remembered
def rise_of(text: str) -> tuple[float, float]:
    """Return how far the letters of `text` reach above and below the base line, in em."""
    if text.isascii() or all(char in _WIDTHS[0] for char in text):
        return ASCENT, DESCENT
    return (_TALL_ASCENT, _TALL_DESCENT) if is_known(text) else (1.15, 0.45)


def wrap(text: str, size: float, width: float, bold: bool = False, indent: float = 0.0) -> list[str]:
    """Return `text` in lines no wider than `width`, the first shorter by `indent`.

    A measure (`1' 3 1/16"`, `368 mm`) stays together. A word wider than a line is cut, at no loss of letters.
    """
    return list(_lines(text, size, width, bold, indent))


@_remembered
def _lines(text: str, size: float, width: float, bold: bool, indent: float) -> tuple[str, ...]:
    lines: list[str] = []
    line, used, space = "", indent, width_of(" ", size, bold)
    for word in _MEASURE.sub(lambda found: found[0].replace(" ", _TIED), " ".join(text.split())).split(" "):
        long = width_of(word, size, bold)
        if line and used + space + long <= width:
            line, used = f"{line} {word}", used + space + long
            continue
        if line:
            lines.append(line)
            used = 0.0
        while used + long > width and len(word) > 1:
            fits = next((n for n in range(len(word) - 1, 1, -1) if used + width_of(word[:n], size, bold) <= width), 1)
            lines.append(word[:fits])
            word, used = word[fits:], 0.0
            long = width_of(word, size, bold)
        line, used = word, used + long
    return tuple(each.replace(_TIED, " ") for each in (*lines, line) if each)


def shortened(text: str, size: float, width: float, bold: bool = False) -> str:
    """Return `text`, cut and ended with … where it is wider than `width`."""
    text = clean(text)
    if width_of(text, size, bold) <= width:
        return text
    return next((part for k in range(len(text), 0, -1) if width_of(part := f"{text[:k]}…", size, bold) <= width), "")


@_remembered
def _em(text: str, bold: bool) -> float:
    return sum(_STRANGE if (width := _width(char, bold)) is None else width for char in text)


def _width(char: str, bold: bool) -> float | None:
    table = _WIDTHS[bold]
    if char in table:
        return table[char]
    parts = unicodedata.normalize("NFD", char)
    base, marks = parts[0], parts[1:]
    if all(unicodedata.category(mark) == "Mn" for mark in marks):
        return 0.0 if not marks and unicodedata.category(base) == "Mn" else table.get(base)
    return None
