"""Sentences of the planning core in other languages.

The core says everything in English, with figures in it, and layouts keep its findings as it said them. The catalogue
holds what stands in its source ("House of {built}."), which is matched against the finished sentence here. A test holds
every text of the modules that crews read from against the catalogue.
"""

from __future__ import annotations

import functools
import re
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

from babel import Locale

from api.languages import ENGLISH, language
from api.languages.catalogues import texts

NAMED = re.compile(r"\{(\w+)\}")
_SET_APART = re.compile(r"( ?)\{(\w+)\}")
_TWO = re.compile(r"(?<=\}) \{\w+\}")
_WORD = re.compile(r"[^\W\d_]{2,}")
_RUN = re.compile(r"\w+")
_SIGNS = r"[\d\s'\"/.,;()°%×:+–$-]*"
# A value that is the same in every language.
_MEASURE = re.compile(
    rf"{_SIGNS}(?:\b(?:mm|ft|in|m|lb|kg|N|Pa|mph|am|pm|min|IAA|IA|I|II|III|GFCI|[A-Z]{{1,3}}-\d+)\b{_SIGNS})*"
)
# A day as the core writes it, and things in a row that are single words or known as they are.
_A_DAY = r"(?:Mon|Tue|Wed|Thu|Fri|Sat|Sun) (?:Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec) [0-9]{1,2}"
_DAY = re.compile(_A_DAY)
_DAY_BEFORE = re.compile(r"\{day\} \{")  # in a text: another value stands right behind a day
_ROW = re.compile(r", | and ")
_AND = re.compile(" and ")
_BRIEF = 5  # letters: fewer, as in "{first} to {last}", may stand in any name
_PARTS = re.compile(r"(?<=[.:;,]) |(?=[,;] )|(?= \()")
_SHORT = 60  # letters of a text in which every blank before a figure, and every "to", may be a seam
_SHORT_PARTS = re.compile(rf"{_PARTS.pattern}| (?=[0-9])")
_EDGES = re.compile(r"([,;:(\s]*)(.*?)([.,:;)\s]*)", re.DOTALL)
WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
# By these a sentence that is part of another begins; see `plain` of the planner's reasons.
_BEGINNINGS = ("it ", "its ", "no ", "the ", "yard ")

# What is matched against: a language's code alone means the core's catalogue, "es refusals" that of refusals as well.
# A text in another language, and how many English words are left in it: the fewer, the better it has been read.
_Told = tuple[str, int]


def core_says(text: str) -> str:
    """Return what the planning core has written, in the language spoken.

    A text three quarters of which would stay English stays so wholly: a scrap of a caution helps nobody.
    """
    return _says(language(), text)


def refused_says(text: str) -> str:
    """Return a refusal, kept in English until it is shown, in the language spoken; as `core_says`."""
    return _says(f"{language()} refusals", text) if language() != ENGLISH else text


def _says(code: str, text: str) -> str:
    if code == ENGLISH or not text:
        return text
    told, left = _said(code, text)
    return told if 4 * left <= 3 * len(_WORD.findall(text)) else text


@functools.lru_cache(maxsize=32768)
def _said(code: str, text: str) -> _Told:
    if _MEASURE.fullmatch(text):
        return text, 0
    if _DAY.fullmatch(text):
        return _day(code, *text.split()), 0
    for level in ("Stop", "Caution", "Note"):
        if text.startswith(f"{level}: "):
            rest, left = _said(code, text[len(level) + 2 :])
            return f"{_patterns(code)[0].get(level, level)}: {rest}", left
    found = _EDGES.fullmatch(text)
    assert found is not None
    before, bare, after = found.groups()
    best = text, len(_WORD.findall(text))
    point = "." if text.endswith(".") else ""
    ways = (
        ("", text, ""), ("", text.removesuffix(point), point), (before, bare + after, ""), ("", before + bare, after),
        (before, bare, after),
    )  # fmt: skip
    for start, inner, end in ways:
        for told in (_whole(code, inner), _row(code, inner), _in_parts(code, inner)):
            if told is not None and told[1] < best[1]:
                best = f"{start}{told[0]}{end}", told[1]
            if not best[1]:
                return best
    return best


def _day(code: str, weekday: str, month: str, number: str) -> str:
    """Return a day as `api.languages.day_in_words` writes it."""
    known = Locale.parse(code.split()[0])
    weekdays, months = known.days["format"]["abbreviated"], known.months["format"]["abbreviated"]
    at = WEEKDAYS.index(weekday), MONTHS.index(month) + 1
    return f"{weekdays[at[0]]} {number} {months[at[1]]}".replace(".", "")


def _row(code: str, text: str) -> _Told | None:
    """Return "a, b and c" where each of them is one word, or known; None where it is no such row."""
    each = _ROW.split(text)
    if " and " not in text or " and " in text.rsplit(" and ", 1)[0]:
        return None
    told = [_whole(code, one) or ((one, 0) if " " not in one else None) for one in each]
    words, left = [one[0] for one in told if one is not None], sum(one[1] for one in told if one is not None)
    if len(words) < len(each):
        return None
    both = _patterns(code)[0].get("and", "and")
    return f"{', '.join(words[:-1])} {both} {words[-1]}", left


def _known_row(code: str, text: str) -> _Told | None:
    """Return "a, b and c and d" where the catalogue holds each as it stands, be there an "and" in it; else None."""
    exact = _patterns(code)[0]
    if text in exact:
        return None
    for joint in reversed(list(_AND.finditer(text))):
        first, *others = [*text[: joint.start()].split(", "), text[joint.end() :]]
        told = [exact.get(first) or exact.get(f"{first[:1].lower()}{first[1:]}"), *map(exact.get, others)]
        words = [one for one in told if one]
        if len(words) == len(told):
            return f"{', '.join(words[:-1])} {exact.get('and', 'and')} {words[-1]}", 0
    return None


@functools.lru_cache(maxsize=32768)
def _whole(code: str, text: str) -> _Told | None:
    """Return a text of which the catalogue holds all as one; None where it does not."""
    best = _as_it_stands(code, text)
    if (row := _known_row(code, text)) is not None:
        return row
    if best is not None and not best[1]:
        return best
    if text[:1].isupper():  # a text of the middle of a sentence may begin one
        lower = _as_it_stands(code, text[0].lower() + text[1:])
        if lower is not None:
            best = min(best or lower, (lower[0][:1].upper() + lower[0][1:], lower[1]), key=_left)
    elif best is None and text.startswith(_BEGINNINGS):  # and the other way round, where the core puts two together
        upper = _as_it_stands(code, text[0].upper() + text[1:])
        if upper is not None:
            best = upper[0][:1].lower() + upper[0][1:], upper[1]
    return best


@functools.lru_cache(maxsize=32768)
def _as_it_stands(code: str, text: str) -> _Told | None:
    exact = _patterns(code)[0]
    if text in exact:
        return exact[text], 0
    best: _Told | None = None
    for pattern in _of_its_words(code, text):
        told = pattern.told(code, text)
        if told is not None and not (pattern.brief and told[1]):
            best = min(best or told, told, key=_left)
            if not best[1]:
                return best
    return best


def _of_its_words(code: str, text: str) -> list[_Pattern]:
    """Return the patterns, in their order, of which the text has the word by which they are kept."""
    by_word, others = _by_word(code)
    places = others.union(*(by_word.get(word, ()) for word in set(_RUN.findall(text))))
    patterns = _patterns(code)[1]
    return [patterns[place] for place in sorted(places)]


@functools.cache
def _by_word(code: str) -> tuple[dict[str, list[int]], frozenset[int]]:
    """Return where the patterns stand by the word of theirs that the fewest have, and those without any word."""
    each = [pattern.words() for pattern in _patterns(code)[1]]
    often = Counter(word for words in each for word in words)
    by_word: dict[str, list[int]] = {}
    for place, words in enumerate(each):
        if words:
            by_word.setdefault(min(words, key=lambda word: (often[word], word)), []).append(place)
    return by_word, frozenset(place for place, words in enumerate(each) if not words)


@functools.lru_cache(maxsize=32768)
def _in_parts(code: str, text: str) -> _Told | None:
    """Return a text made of several, of which the catalogue holds the first; None where it does not."""
    best: _Told | None = None
    parts = _PARTS if len(text) > _SHORT else _SHORT_PARTS
    places = [(at.start(), at.end()) for at in parts.finditer(text) if at.start() > 0]
    for start, end in reversed(places):
        head = text[:start]
        bare = head.rstrip(".,:;")
        first = (head, 0) if _MEASURE.fullmatch(head) else _whole(code, head)
        if first is None and bare != head and (cut := _whole(code, bare)) is not None:
            first = cut[0] + head[len(bare) :], cut[1]
        if first is None and len(bare) <= _SHORT and (cut := _in_parts(code, bare)) is not None:
            first = cut[0] + head[len(bare) :], cut[1]
        if first is None:
            continue
        rest = _said(code, text[end:])
        told = first[0] + text[start:end] + rest[0], first[1] + rest[1]
        best = min(best or told, told, key=_left)
        if not best[1]:
            break
    if best is None:  # a name in a list: what follows it may be known
        for start, end in places:
            rest = _said(code, text[end:])
            if text[start] == "," and rest[0] != text[end:]:
                return text[:end] + rest[0], len(_WORD.findall(text[:end])) + rest[1]
    return best


def _left(told: _Told) -> int:
    return told[1]


@dataclass(frozen=True)
class _Pattern:
    """A text of the catalogue with values in it; `brief`: it says so little that all of its values must be known.

    `readings` are ways to tell its values apart, each with the values' names; `literals` stand between them.
    """

    literals: tuple[str, ...]
    readings: tuple[tuple[re.Pattern[str], tuple[str, ...]], ...]
    translation: str
    brief: bool

    def told(self, code: str, text: str) -> _Told | None:
        """Return the text translated, by the reading that leaves least in English; None where it is another."""
        if self.brief and len(text) > _SHORT:
            return None
        if not text.startswith(self.literals[0]) or not self._may_be(text):
            return None
        best: _Told | None = None
        for reading, names in self.readings:
            found = reading.fullmatch(text)
            if found is None:
                continue
            said = {name: _said(code, value) for name, value in zip(names, found.groups(), strict=True)}
            # One of several fixed words needs no translation of its own; what is longer has been read wrongly.
            values = zip(names, found.groups(), strict=True)
            fixed = {name for name, value in values if name.startswith("either") and value.count(" ") < 2}
            left = sum(count for name, (_, count) in said.items() if name not in fixed)
            told = self._filled({name: value for name, (value, _) in said.items()}), left
            best = min(best or told, told, key=_left)
            if not best[1]:
                break
        return best

    def words(self) -> set[str]:
        """Return the words that stand whole in every text of the pattern, none of whose letters can be a value's."""
        found: set[str] = set()
        last = len(self.literals) - 1
        for n, literal in enumerate(self.literals):
            for run in _RUN.finditer(literal):
                if (run.start() > 0 or n == 0) and (run.end() < len(literal) or n == last):
                    found.add(run[0])
        return found

    def _may_be(self, text: str) -> bool:
        """Say whether a text holds the literals in their order: quicker than asking for the values between them."""
        at = 0
        for literal in self.literals:
            at = text.find(literal, at)
            if at < 0:
                return False
            at += len(literal)
        return text.endswith(self.literals[-1])

    def _filled(self, values: Mapping[str, str]) -> str:
        # A value that was read together with the one before it is there already.
        return _SET_APART.sub(
            lambda name: name[1] + values[name[2]] if name[2] in values else "", self.translation
        ).strip()


@functools.cache
def _patterns(code: str) -> tuple[dict[str, str], list[_Pattern]]:
    """Return the catalogue's texts without values, and those with, the ones that say most by themselves first."""
    spoken, *more = code.split()
    held = [texts(spoken, "core"), *(texts(spoken, "refusals") for _ in more)]
    known = {text: told for one in held for text, told in one.all.items() if isinstance(told, str)}
    exact = {text: told for text, told in known.items() if not NAMED.search(text)}
    made = []
    for text in sorted(known.keys() - exact.keys(), key=lambda text: (-len(NAMED.sub("", text)), text)):
        literals = NAMED.split(text)[::2]
        brief = sum(letter.isalpha() for literal in literals for letter in literal) < _BRIEF
        readings = tuple(_reading(way, group) for way in _ways(text) for group in ("(.*)", "(.*?)"))
        if _DAY_BEFORE.search(text):  # where the day ends, neither of them tells
            readings = (_reading(text, "(.*?)", day=rf"({_A_DAY})"), *readings)
        made.append(_Pattern(tuple(literals), readings, known[text], brief))
    return exact, made


def _ways(text: str) -> tuple[str, ...]:
    """Return a text as it is, and with values that only a blank sets apart as one."""
    joined = _TWO.sub("", text)
    return (text,) if joined == text else (text, joined)


def _reading(text: str, group: str, day: str = "") -> tuple[re.Pattern[str], tuple[str, ...]]:
    pieces = NAMED.split(text)
    made = re.escape(pieces[0])
    for before, name, literal in zip(pieces[::2], pieces[1::2], pieces[2::2], strict=False):
        value = day if day and name == "day" else group
        made += (r"([\w/-]*)" if before.endswith("-") else value) + re.escape(literal)  # "ladder-24" is one word
    return re.compile(made, re.DOTALL), tuple(pieces[1::2])
