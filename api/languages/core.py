"""Sentences of the planning core in other languages.

The core says everything in English, with figures in it, and layouts keep its findings as it said them. The catalogue
holds what stands in its source ("House of {built}."), which is matched against the finished sentence here. A test holds
every text of the modules that crews read from against the catalogue.
"""

from __future__ import annotations

import ast
import functools
import re
from collections.abc import Iterator
from typing import IO, Any

from api.languages import ENGLISH, language
from api.languages.catalogues import texts

_NAMED = re.compile(r"\{(\w+)\}")
_LETTER = re.compile(r"[^\W\d_]")
_DIGIT = re.compile("[0-9]")
_BRIEF = 6  # letters: fewer, as in "{first} to {last}", may stand in any name
_PARTS = re.compile(r"(?<=[.:;]) |(?=[,;] )|(?= \()")
# Single words that stand in sentences as values: in the core's source nothing tells them from codes.
WORDS = (
    "wall", "stud", "rafter", "joist", "cell", "member", "studs", "rafters", "rim board", "joists", "left", "right",
    "up", "down", "cloth", "door", "stop", "caution", "note", "stepladder", "ladder", "embedment", "noon", "inner",
    "unknown", "Stop", "Caution", "Note", "window", "light", "spout", "vent", "outlet", "meter", "box", "lamp",
    "wood studs", "stucco on studs", "solid masonry", "hollow block", "concrete", "brick veneer", "fascia", "wet",
    "dry", "gusts", "wind", "rain", "heat", "cold", "thunder", "thunder wait", "lag screw", "material-lift",
    "hammer-drill", "ladder-{size}", "stepladder-{size}",
)  # fmt: skip


def core_says(text: str) -> str:
    """Return what the planning core has written, in the language spoken."""
    return text if language() == ENGLISH or not text else _said(language(), text)


@functools.lru_cache(maxsize=4096)
def _said(code: str, text: str) -> str:
    return _whole(code, text) or _in_parts(code, text) or text


def _whole(code: str, text: str) -> str | None:
    """Return a text of which the catalogue holds all as one; None where it does not."""
    exact, patterns = _patterns(code)
    if text in exact:
        return exact[text]
    for begins, pattern, names, brief, told in patterns:
        if text.startswith(begins) and (found := pattern.fullmatch(text)):
            if brief and not all(_DIGIT.search(value) or _whole(code, value) for value in found.groups()):
                continue
            values = dict(zip(names, (_said(code, value) for value in found.groups()), strict=True))
            return _NAMED.sub(lambda name, values=values: values.get(name[1], name[0]), told)  # type: ignore[misc]
    return None


def _in_parts(code: str, text: str) -> str | None:
    """Return a text made of several that the catalogue holds, the longest first; None where it holds none of them."""
    places = [(at.start(), at.end()) for at in _PARTS.finditer(text) if at.start() > 0]
    for start, end in reversed(places):
        first = _whole(code, text[:start])
        if first is not None:
            return first + text[start:end] + _said(code, text[end:])
    for start, end in places:
        last = _whole(code, text[end:])
        if last is not None:
            return _said(code, text[:start]) + text[start:end] + last
    return None


@functools.cache
def _patterns(code: str) -> tuple[dict[str, str], list[tuple[str, re.Pattern[str], list[str], bool, str]]]:
    """Return the catalogue's texts without values, and those with, the ones that say most by themselves first."""
    known = {text: told for text, told in texts(code, "core").all.items() if isinstance(told, str)}
    valued = sorted((t for t in known if _NAMED.search(t)), key=lambda t: -len(_NAMED.sub("", t)))
    made = []
    for text in valued:
        pieces = _NAMED.split(text)
        pattern = "(.*?)".join(re.escape(literal) for literal in pieces[::2])
        brief = sum(letter.isalpha() for literal in pieces[::2] for letter in literal) < _BRIEF
        made.append((pieces[0], re.compile(pattern, re.DOTALL), pieces[1::2], brief, known[text]))
    return {text: told for text, told in known.items() if text not in set(valued)}, made


def core_texts(source: str) -> Iterator[tuple[int, str]]:
    """Yield each text of several words in a module's source with its line, its values named.

    A value that is one of several fixed words ("is" or "are") is called `either`: other languages may not need it. What
    is raised and docstrings are left out.
    """
    tree = ast.parse(source)
    aside: set[ast.AST] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Module | ast.FunctionDef | ast.ClassDef) and ast.get_docstring(node, clean=False):
            aside.add(node.body[0].value)  # type: ignore[attr-defined]
        if isinstance(node, ast.Raise | ast.JoinedStr):
            aside.update(part for part in ast.walk(node) if part is not node and isinstance(part, _TEXTS))
    for node in ast.walk(tree):
        if node in aside or not isinstance(node, _TEXTS):
            continue
        text = _named(node) if isinstance(node, ast.JoinedStr) else str(node.value)
        text = text if text.startswith(" (") else text.strip()
        words = _NAMED.sub("", text)
        if " " in text and _LETTER.search(words) and "<" not in words:
            yield node.lineno, text


_TEXTS = (ast.JoinedStr, ast.Constant)


def _named(text: ast.JoinedStr) -> str:
    """Return what stands in an f-string, each value or row of values in it named."""
    made, names, last = "", dict[str, str](), False
    for part in text.values:
        if isinstance(part, ast.FormattedValue):
            written = ast.unparse(part)
            fixed = isinstance(part.value, ast.IfExp | ast.Subscript) and isinstance(
                part.value.body if isinstance(part.value, ast.IfExp) else part.value.value, ast.Constant
            )
            found = [] if fixed else re.findall(r"(?<!['\w])[A-Za-z_]\w*(?!['\w])", ast.unparse(part.value))
            name = base = "either" if fixed else found[-1].strip("_") if found else "value"
            while names.get(name, written) != written:
                name = f"{base}{len(names)}"
            names[name] = written
            made += "" if last else f"{{{name}}}"
            last = True
        elif isinstance(part, ast.Constant):
            made, last = made + str(part.value), False
    return made


def extract(
    file: IO[bytes], keywords: Any, comment_tags: Any, options: Any
) -> Iterator[tuple[int, Any, Any, list[str]]]:
    """Yield the texts of a module of the core as Babel takes them."""
    for line, text in core_texts(file.read().decode()):
        yield line, None, text, []
