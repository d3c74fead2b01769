"""Which texts a module of the planning core says: read from its source, values in them named (`core` matches them)."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from typing import IO, Any

from api.languages.core import NAMED

_TEXTS = (ast.JoinedStr, ast.Constant)
_SMALL = re.compile(r"[^\W\d_A-Z]{2}")  # no path of a picture has it


def core_texts(source: str) -> Iterator[tuple[int, str]]:
    """Yield each text of several words in a module's source with its line, and single ones that it has said.

    Values are named; one that is one of several fixed words ("is" or "are") is called `either`: other languages may not
    need it. What is raised and docstrings are left out.
    """
    tree = ast.parse(source)
    aside: set[ast.AST] = set()
    said: set[ast.AST] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Module | ast.FunctionDef | ast.ClassDef) and ast.get_docstring(node, clean=False):
            aside.add(node.body[0].value)  # type: ignore[attr-defined]
        if isinstance(node, ast.Raise):
            aside.update(part for part in ast.walk(node) if isinstance(part, _TEXTS))
        if isinstance(node, ast.JoinedStr):
            aside.update(node.values)
        if isinstance(node, ast.Call) and ast.unparse(node.func).rpartition(".")[2] == "say":
            said.update(node.args)
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and ast.unparse(node.func) == "Finding" and len(node.args) > 1:
            code = node.args[1]
            if isinstance(code, ast.Constant):  # sheets name by it what stands on the next one
                yield code.lineno, str(code.value).replace("-", " ")
        if node in aside or not isinstance(node, _TEXTS):
            continue
        text = _named(node) if isinstance(node, ast.JoinedStr) else str(node.value)
        text = text if text.startswith(" (") else text.strip()
        words = NAMED.sub("", text)
        if (" " in text or node in said) and _SMALL.search(words) and "<" not in words:
            yield node.lineno, text


def core_sentence(node: ast.expr) -> Iterator[str]:
    """Yield the texts that an expression may be, their values named; none where it is not written out there."""
    match node:
        case ast.Constant(value=str() as text):
            yield text
        case ast.JoinedStr():
            yield _named(node)
        case ast.IfExp():
            yield from core_sentence(node.body)
            yield from core_sentence(node.orelse)


def _named(text: ast.JoinedStr) -> str:
    """Return what stands in an f-string, each value or row of values in it named."""
    made, names, last = "", dict[str, str](), False
    for part in text.values:
        if isinstance(part, ast.FormattedValue):
            written = ast.unparse(part)
            chosen = _chosen(part.value)
            fixed = isinstance(chosen, ast.Constant) and isinstance(chosen.value, str)
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


def _chosen(value: ast.expr) -> ast.expr | None:
    """Return the first of the words of which an expression chooses: `"is" if one else "are"`, `"s" * (count > 1)`."""
    match value:
        case ast.IfExp():
            return value.body
        case ast.Subscript():
            return value.value
        case ast.BinOp(op=ast.Mult()):
            return value.left
    return None


def extract(
    file: IO[bytes], keywords: Any, comment_tags: Any, options: Any
) -> Iterator[tuple[int, Any, Any, list[str]]]:
    """Yield the texts of a module of the core as Babel takes them."""
    for line, text in core_texts(file.read().decode()):
        yield line, None, text, []
