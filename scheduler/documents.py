"""Reading and writing the product's JSON documents: strict about form, and able to say which key is wrong."""

from __future__ import annotations

import datetime
import json
import math
import re
import types
from collections.abc import Iterator
from typing import Annotated, Any, Literal, TypeVar, Union, get_args, get_origin

import msgspec

from scheduler.errors import BadInput

T = TypeVar("T")

_DATE = "a date such as 2027-03-15"
_KINDS = {
    "int": "a whole number", "float": "a number", "str": "text", "bool": "true or false", "null": "null",
    "array": "a list", "object": "an object", "date": _DATE,
}  # fmt: skip
_SHOWN = 40
_DOUBLED = "\x00stands twice"  # marks an object with a doubled key, to find the way to it afterwards


def decode(data: bytes | str, kind: type[T], what: str) -> T:
    """Return the document in `data` (JSON, UTF-8) as a value of `kind`, a tree of `msgspec.Struct`.

    `what` names the document in the message where nothing of it can be read ("week file"). Raises `BadInput` naming the
    first faulty key; a key that stands twice in one object is a fault too, not a value to guess. Only the form is
    judged here: what the values mean is the business of the document's own module.
    """
    raw = data.encode("utf-8", "surrogatepass") if isinstance(data, str) else data
    raw = raw.removeprefix(b"\xef\xbb\xbf")
    try:
        document = msgspec.json.decode(raw, type=kind)
    except msgspec.ValidationError as fault:
        raise _explain(fault, _loose(raw, what), kind) from None
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as fault:
        for where, value in _leaves(_loose(raw, what)):  # _loose raises where this is no JSON at all
            if isinstance(value, float) and not math.isfinite(value):
                raise BadInput(_printable(where), f"must be a finite number, is {value}") from None
            if not _is_text(where) or (isinstance(value, str) and not _is_text(value)):
                raise BadInput(_printable(where), "holds half a character (a lone surrogate); write it again") from None
        raise BadInput("", f"this {what} cannot be read: {fault}") from None
    _loose(raw, what)
    return document


class _Form(msgspec.Struct, frozen=True):
    """What tells the formats of one kind of document apart."""

    format: object = None


def form_in(data: bytes | str) -> object:
    """Return what the document in `data` gives as its `format`; None where it gives nothing or cannot be read."""
    try:
        return msgspec.json.decode(
            data.removeprefix(b"\xef\xbb\xbf") if isinstance(data, bytes) else data, type=_Form
        ).format
    except (msgspec.MsgspecError, UnicodeError, RecursionError):  # said by `decode`, with its place
        return None


def convert(value: object, kind: type[T], what: str) -> T:
    """Return plain data (as `json.loads` or a YAML reader gives it) as a value of `kind`; raises `BadInput`."""
    try:
        raw = json.dumps(value, allow_nan=True, default=_plain).encode()
    except TypeError as fault:
        for where, leaf in _leaves(value):
            if not isinstance(leaf, str | int | float | datetime.date | None):
                raise BadInput(where, f"is no value that JSON can hold ({type(leaf).__name__})") from None
        raise BadInput("", f"this {what} holds a key that is no text: {fault}") from None
    except RecursionError:
        raise BadInput("", f"this {what} is nested too deeply to be read") from None
    except ValueError as fault:  # a list within itself, a number with thousands of digits
        raise BadInput("", f"this {what} holds something that is no JSON value: {fault}") from None
    return decode(raw, kind, what)


def encode(document: msgspec.Struct) -> bytes:
    """Return the document as JSON text, one key a line down to the second level, ending in a newline."""
    return msgspec.json.format(msgspec.json.encode(document), indent=1) + b"\n"


def _plain(value: object) -> str:
    if isinstance(value, datetime.date):
        return value.isoformat()
    raise TypeError(type(value).__name__)


def _loose(raw: bytes, what: str) -> Any:
    """Return the JSON in `raw` as plain data; raises `BadInput` where it is none, or where a key stands twice."""
    doubled: list[str] = []

    def one_of_each(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        found = dict(pairs)
        if len(found) < len(pairs):
            keys = [key for key, _ in pairs]
            doubled.append(next(key for n, key in enumerate(keys) if key in keys[:n]))
            found[_DOUBLED] = True
        return found

    try:
        document = json.loads(raw.decode("utf-8", "surrogatepass"), object_pairs_hook=one_of_each)
    except RecursionError:
        raise BadInput("", f"this {what} is nested too deeply to be read") from None
    except UnicodeDecodeError as fault:
        raise BadInput("", f"this {what} is not UTF-8 text (byte {fault.start}); save it as UTF-8") from None
    except json.JSONDecodeError as fault:
        raise BadInput("", f"this {what} is not valid JSON: {fault}") from None
    except ValueError:  # Python reads no whole number of more than 4300 digits
        raise BadInput("", f"this {what} holds a number with thousands of digits") from None
    if doubled:
        where = next((w.removesuffix(_DOUBLED) for w, _ in _leaves(document) if w.endswith(_DOUBLED)), "")
        where = _printable(_join(where.rstrip("."), doubled[0]))
        raise BadInput(where, "stands twice in the same object; keep one of them")
    return document


def _leaves(value: Any, where: str = "") -> Iterator[tuple[str, Any]]:
    """Yield (path, value) of every scalar in plain data, without recursion in depth."""
    stack = [(where, value)]
    while stack:
        path, item = stack.pop()
        if isinstance(item, dict):
            stack += [(_join(path, str(key)), v) for key, v in reversed(item.items())]
        elif isinstance(item, list | tuple):
            stack += [(f"{path}[{n}]", v) for n, v in reversed(list(enumerate(item)))]
        else:
            yield path, item


def _is_text(text: str) -> bool:
    return not any("\ud800" <= c <= "\udfff" for c in text)


def _printable(text: str) -> str:
    return text.encode("utf-8", "replace").decode()


def _explain(fault: msgspec.ValidationError, document: Any, kind: Any) -> BadInput:
    text, _, path = str(fault).partition(" - at `")
    in_key = path.startswith("key` in `")
    where = path.removeprefix("key` in `").rstrip("`").removeprefix("$").lstrip(".")
    if in_key:
        return BadInput(
            where, "has an entry without a name" if "of length >= 1" in text else f"has a wrong key: {text}"
        )
    if "[...]" in where:
        where = _printable(_entry(where, document, kind))
    if found := re.fullmatch(r"Object missing required field `(.+)`", text):
        return BadInput(_join(where, found[1]), "is missing")
    if found := re.fullmatch(r"Object contains unknown field `(.*)`", text):
        key = found[1] or '""'
        return BadInput(_join(where, key), "is not a key of this document; remove it or mend its spelling")
    value = shown(_at(document, where))
    if found := re.fullmatch(r"Expected `([^`]+)`, got `([^`]+)`", text):
        wanted = " or ".join(_KINDS.get(k, k) for k in found[1].split(" | "))
        return BadInput(where, f"must be {wanted}, is {value}")
    if found := re.fullmatch(r"Expected `[^`]+` (>=|<=|>|<) (\S+)", text):
        bound = {">=": "at least", "<=": "at most", ">": "more than", "<": "less than"}[found[1]]
        return BadInput(where, f"must be {bound} {found[2].removesuffix('.0')}, is {value}")
    if found := re.fullmatch(r"Expected `(\w+)` of length (>= |<= )?(\d+)", text):
        if text.endswith(">= 1"):
            return BadInput(where, "must not be empty")
        count = {"": "", ">= ": "at least ", "<= ": "at most "}[found[2] or ""] + found[3]
        return BadInput(where, f"must have {count} {'characters' if found[1] == 'str' else 'entries'}, is {value}")
    if text.startswith("Invalid enum value"):
        return BadInput(where, f"must be {_allowed(kind, where)}, is {value}")
    if "encoded date" in text:
        return BadInput(where, f"must be {_DATE}, is {value}")
    if "out of range" in text:
        return BadInput(where, "is a number beyond all limits")
    return BadInput(where, f"{text[:1].lower()}{text[1:]}, is {value}")


def _join(where: str, key: str) -> str:
    return f"{where}.{key}" if where else key


def _steps(where: str) -> list[tuple[str, str]]:
    return re.findall(r"([^.\[\]]+)|\[(\d+)\]", where)


def _entry(where: str, document: Any, kind: Any) -> str:
    """Name the entry of a free-keyed map that is wrong: msgspec says only that one of them is (`[...]`)."""
    head, _, tail = where.partition("[...]")
    entries, wanted = _at(document, head), _kind_at(kind, head)
    for key, value in entries.items() if isinstance(entries, dict) else ():
        try:
            msgspec.convert({key: value}, type=wanted)
        except (msgspec.ValidationError, UnicodeEncodeError):
            return f"{_join(head, key)}{tail}"
    return head


def _at(document: Any, where: str) -> Any:
    for name, index in _steps(where):
        try:
            document = document[int(index)] if index else document[name]
        except (KeyError, IndexError, TypeError):
            return None
    return document


def _kind_at(kind: Any, where: str) -> Any:
    """Return the type that stands at `where` in a document of type `kind`; Any where the way forks."""
    for name, index in [*_steps(where), ("", "")]:
        if get_origin(kind) is Annotated:
            kind = get_args(kind)[0]
        if get_origin(kind) in (Union, types.UnionType):
            arms = [arm for arm in get_args(kind) if arm is not type(None)]
            kind = arms[0] if len(arms) == 1 else Any
        if get_origin(kind) is Annotated:
            kind = get_args(kind)[0]
        if index and get_origin(kind) in (tuple, list):
            kind = get_args(kind)[0]
        elif name and get_origin(kind) is dict:
            kind = get_args(kind)[1]
        elif name and isinstance(kind, type) and issubclass(kind, msgspec.Struct):
            kind = next((f.type for f in msgspec.structs.fields(kind) if f.encode_name == name), Any)
        elif name or index:
            return Any
    return kind


def _allowed(kind: Any, where: str) -> str:
    found = _kind_at(kind, where)
    values = [shown(v) for v in get_args(found)] if get_origin(found) is Literal else []
    return f"{', '.join(values[:-1])} or {values[-1]}" if len(values) > 1 else "".join(values) or "an allowed value"


def shown(value: Any) -> str:
    """Return `value` as a message shows it: as JSON, cut short, and printable whatever it holds."""
    text = json.dumps(value, ensure_ascii=False)
    return _printable(text if len(text) <= _SHOWN else f"{text[:_SHOWN]}…")
