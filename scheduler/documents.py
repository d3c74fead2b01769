"""Reading and writing the product's JSON documents: strict about form, and able to say which key is wrong."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterator
from typing import Any, TypeVar

import msgspec

from scheduler.errors import BadInput

T = TypeVar("T")

_KINDS = {
    "int": "a whole number", "float": "a number", "str": "text", "bool": "true or false", "null": "null",
    "array": "a list", "object": "an object", "date": "a date such as 2027-03-15",
}
_SHOWN = 40


def decode(data: bytes | str, kind: type[T], what: str) -> T:
    """Return the document in `data` (JSON, UTF-8) as a value of `kind`, a tree of `msgspec.Struct`.

    `what` names the document in the message where nothing of it can be read ("week file"). Raises `BadInput` naming the
    first faulty key. Only the form is judged here: what the values mean is the business of the document's own module.
    """
    raw = data.encode() if isinstance(data, str) else data
    raw = raw.removeprefix(b"\xef\xbb\xbf")
    try:
        return msgspec.json.decode(raw, type=kind)
    except msgspec.ValidationError as fault:
        raise _explain(fault, _loose(raw, what)) from None
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as fault:
        document = _loose(raw, what)  # raises where this is no JSON at all
        for where, value in _leaves(document):
            if isinstance(value, float) and not math.isfinite(value):
                raise BadInput(where, f"must be a finite number, is {value}") from None
        raise BadInput("", f"this {what} cannot be read: {fault}") from None


def convert(value: object, kind: type[T], what: str) -> T:
    """Return plain data (as `json.loads` or a YAML reader gives it) as a value of `kind`; raises `BadInput`."""
    try:
        raw = json.dumps(value, allow_nan=True).encode()
    except (TypeError, ValueError, RecursionError) as fault:
        raise BadInput("", f"this {what} holds something that is no JSON value: {fault}") from None
    return decode(raw, kind, what)


def encode(document: msgspec.Struct) -> bytes:
    """Return the document as JSON text, one key a line down to the second level, ending in a newline."""
    return msgspec.json.format(msgspec.json.encode(document), indent=1) + b"\n"


def _loose(raw: bytes, what: str) -> Any:
    try:
        return json.loads(raw)
    except RecursionError:
        raise BadInput("", f"this {what} is nested too deeply to be read") from None
    except ValueError as fault:  # malformed JSON, text that is not UTF-8, a number with thousands of digits
        raise BadInput("", f"this {what} is not valid JSON: {fault}") from None


def _leaves(value: Any, where: str = "") -> Iterator[tuple[str, Any]]:
    """Yield (path, value) of every scalar in plain data, without recursion in depth."""
    stack = [(where, value)]
    while stack:
        path, item = stack.pop()
        if isinstance(item, dict):
            stack += [(f"{path}.{key}" if path else str(key), v) for key, v in reversed(item.items())]
        elif isinstance(item, list):
            stack += [(f"{path}[{n}]", v) for n, v in reversed(list(enumerate(item)))]
        else:
            yield path, item


def _explain(fault: msgspec.ValidationError, document: Any) -> BadInput:
    text, _, path = str(fault).partition(" - at `$")
    where = path.rstrip("`").lstrip(".")
    if "[...]" in where or "key" in path.partition(" in ")[0]:
        where = _entry(where.removeprefix("key` in `$.").removeprefix("key` in `$"), document)
    if found := re.fullmatch(r"Object missing required field `(.+)`", text):
        return BadInput(_join(where, found[1]), "is missing")
    if found := re.fullmatch(r"Object contains unknown field `(.+)`", text):
        return BadInput(_join(where, found[1]), "is not a key of this document; remove it or mend its spelling")
    value = _shown(_at(document, where))
    if found := re.fullmatch(r"Expected `([^`]+)`, got `([^`]+)`", text):
        wanted = " or ".join(_KINDS.get(k, k) for k in found[1].split(" | "))
        return BadInput(where, f"must be {wanted}, is {value}")
    if found := re.fullmatch(r"Expected `[^`]+` (>=|<=|>|<) (\S+)", text):
        bound = {">=": "at least", "<=": "at most", ">": "more than", "<": "less than"}[found[1]]
        return BadInput(where, f"must be {bound} {found[2]}, is {value}")
    if "of length" in text:
        return BadInput(where, "must not be empty" if ">= 1" in text else f"has the wrong length ({text})")
    if found := re.fullmatch(r"Invalid enum value (.+)", text):
        return BadInput(where, f"is {value}, which is none of the allowed values")
    return BadInput(where, f"{text[:1].lower()}{text[1:]}, is {value}")


def _join(where: str, key: str) -> str:
    return f"{where}.{key}" if where else key


def _entry(where: str, document: Any) -> str:
    """Name the entry of a free-keyed map that is wrong: msgspec says only that one of them is (`[...]`)."""
    head, _, tail = where.partition("[...]")
    entries = _at(document, head)
    if isinstance(entries, dict):
        for key, value in entries.items():
            if type(value) is not int or not 0 <= value <= 1_000_000_000 or not key:
                return f"{_join(head, key)}{tail}"
    return head


def _at(document: Any, where: str) -> Any:
    for name, index in re.findall(r"([^.\[\]]+)|\[(\d+)\]", where):
        try:
            document = document[int(index)] if index else document[name]
        except (KeyError, IndexError, TypeError):
            return None
    return document


def _shown(value: Any) -> str:
    text = json.dumps(value)
    return text if len(text) <= _SHOWN else f"{text[:_SHOWN]}…"
