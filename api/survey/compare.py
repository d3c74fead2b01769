"""Two forms of one survey side by side: where they differ, and one made of both. So two people may edit at once."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from api.survey.fields import SECTIONS, FormField, RowsOf
from api.survey.form import BESIDE, Reading, parsed, read_fields, row_numbers
from scheduler.errors import BadInput


@dataclass(frozen=True)
class Difference:
    """A field, or a list as a whole, in which two forms differ; `pick` is "mine", "theirs" or "" where both changed."""

    name: str
    label: str
    mine: str
    theirs: str
    pick: str


def differences(
    mine: Mapping[str, str], theirs: Mapping[str, str], base: Mapping[str, str], units: str = "imperial"
) -> list[Difference]:
    """Return where two forms differ in what they mean; `base` is what both began from, empty where it is not known."""
    told = [_told(fields, units) for fields in (mine, theirs, base)]
    found = []
    for name, label in _groups():
        (value, words), (other, other_words), (old, _) = (one[name] for one in told)
        if value == other:
            continue
        pick = ("theirs" if value == old else "mine" if other == old else "") if base else ""
        found.append(Difference(name, label, words, other_words, pick))
    return found


def merged(mine: Mapping[str, str], theirs: Mapping[str, str], picks: Mapping[str, str]) -> dict[str, str]:
    """Return the form with each field or list from `mine` or `theirs`, as `picks` says; mine where it says nothing."""
    fields: dict[str, str] = {}
    for name, _ in _groups():
        source = theirs if picks.get(name) == "theirs" else mine
        fields |= {key: value for key, value in source.items() if key == name or key.startswith(f"{name}.")}
    return fields


def _groups() -> Iterator[tuple[str, str]]:
    """Yield name and label of everything that is chosen as one: fields, lists, and the anchor as a whole."""
    yield from BESIDE.items()
    for section in SECTIONS:
        if section.optional:
            yield section.name, section.title
            continue
        for part in section.parts:
            yield part.name, part.title if isinstance(part, RowsOf) else part.label


def _told(fields: Mapping[str, str], units: str) -> dict[str, tuple[Any, str]]:
    """Return by group what it means, to be compared, and in words."""
    reading = read_fields(fields, "-", units)
    told: dict[str, tuple[Any, str]] = {
        name: (fields.get(name, "").strip(), fields.get(name, "").strip() or "–") for name in BESIDE
    }
    for section in SECTIONS:
        for part in section.parts:
            if isinstance(part, RowsOf):
                rows = [_row_told(part, number, fields, reading) for number in row_numbers(fields, part.name)]
                kept = [row for row in rows if row is not None]
                told[part.name] = ([value for value, _ in kept], "; ".join(words for _, words in kept) or "none")
            elif not section.optional:
                told[part.name] = _field_told(part, part.name, fields, reading)
        if section.optional:
            cells = [_field_told(one, one.name, fields, reading) for one in section.parts if isinstance(one, FormField)]
            words = ", ".join(text for _, text in cells if text != "–")
            told[section.name] = ([value for value, _ in cells], words or "none")
    return told


def _row_told(rows: RowsOf, number: int, fields: Mapping[str, str], reading: Reading) -> tuple[Any, str] | None:
    names = [(one, f"{rows.name}.{number}.{one.name}".rstrip(".")) for one in rows.fields]
    if not any(fields.get(name, "").strip() for _, name in names):
        return None
    cells = [(one, *_field_told(one, name, fields, reading)) for one, name in names]
    words = [text if one.kind == "text" or not one.name else f"{one.label} {text}" for one, _, text in cells]
    return [value for _, value, _ in cells], ", ".join(words)


def _field_told(one: FormField, name: str, fields: Mapping[str, str], reading: Reading) -> tuple[Any, str]:
    text = fields.get(name, "").strip()
    if one.kind == "yes":
        return bool(text), "yes" if text else "no"
    if one.kind == "choice":
        return text, dict(one.choices).get(text, text or "–")
    if not text:
        return None, "–"
    try:
        return parsed(one, name, text), reading.understood.get(name, text)
    except BadInput:
        return text, text
