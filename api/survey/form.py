"""The survey form: from a survey document to fields in words, and back, with a sentence for every field that is wrong.

Measures may be written in any usual way; each is shown as it was understood. Nothing is lost on the way: a document
of the second form that goes through the form comes out the same; one of the first lacks what the second asks for.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import msgspec

from api.survey.fields import SECTIONS, FormField, RowsOf, is_asked, limits_of, lists, parts, single_fields, type_of
from scheduler.errors import BadInput
from scheduler.layout.documents import WOOD, Survey, survey_from_data
from scheduler.layout.fitting import USUAL_SIZES, in_the_middle, usual_arms, usual_awning, usual_holes
from scheduler.units import (
    LB_KG,
    LBF_N,
    both,
    exact_length,
    exact_number,
    feet_inches,
    parse_force,
    parse_length,
    parse_weight,
)

_INDEX = re.compile(r"0|[1-9][0-9]{0,3}")
_NUMBERS = re.compile(r"(?<![\w.])-?[0-9]+(?:\.[0-9]+)?(?:e[+-]?[0-9]+)?(?![\w.])")
_YES = "yes"
_LONGEST_TEXT = 200
_USUAL_WIDTH, _LEAST_WIDTH, _USUAL_PROJECTION, _USUAL_MARGIN = 3657.6, 1000.0, 3048.0, 150.0  # mm
_USUAL_KG = 55
_BOUNDS = {"ge": "at least", "gt": "more than", "le": "at most", "lt": "less than"}


@dataclass
class Reading:
    """What was read of a form: `survey` where all of it is right.

    `wrong` and `missing` have a sentence by field ("" for the form as a whole), `understood` how a measure was taken.
    `before` an awning is chosen a usual one stands in its place.
    """

    document: dict[str, Any]
    survey: Survey | None = None
    wrong: dict[str, str] = field(default_factory=dict)
    missing: dict[str, str] = field(default_factory=dict)
    understood: dict[str, str] = field(default_factory=dict)
    before: bool = False

    @property
    def faults(self) -> dict[str, str]:
        """Return the sentence of every field that stands in the way of saving, in the order of the form."""
        return {**self.missing, **self.wrong}


def fields_of(survey: Survey, units: str = "imperial") -> dict[str, str]:
    """Return the fields of a form that shows `survey`; a box that is not ticked has no field, as browsers send it."""
    data: dict[str, Any] = msgspec.to_builtins(survey)
    fields: dict[str, str] = {}
    for one in single_fields():
        at: Any = data
        for step in one.name.split("."):
            at = None if at is None else at.get(step)  # a survey of the first form has not all of it
        _put(fields, one.name, one, at, units)
    for rows in lists():
        at = data
        for step in rows.name.split("."):
            at = at.get(step, ())
        for n, entry in enumerate(at):
            for cell in rows.fields:
                name = f"{rows.name}.{n}.{cell.name}".rstrip(".")
                _put(fields, name, cell, entry[cell.name] if cell.name else entry, units)
    return fields


def _put(fields: dict[str, str], name: str, one: FormField, value: Any, units: str) -> None:
    if one.kind == "yes":
        if value:
            fields[name] = _YES
    else:
        fields[name] = _written(one, value, units)


def _written(one: FormField, value: Any, units: str) -> str:
    if value is None:
        return ""
    if one.kind == "length":
        return exact_length(value, units)
    if one.kind in ("number", "weight", "force"):
        unit = {"weight": " kg", "force": " N"}.get(one.kind, "")
        return f"{exact_number(value)}{unit}"
    return str(value)


def read_fields(fields: Mapping[str, str], survey_id: str, units: str = "imperial", *, before: bool = False) -> Reading:
    """Return what a form's `fields` say: a survey of the second form, also where they come from one of the first.

    Fields that the form does not know are left unread; empty rows are none. `before`: no awning is chosen yet.
    """
    reading = Reading({"format": "survey/2", "id": survey_id}, before=before)
    places: dict[str, str] = {}  # the field of each value, by the way to it that a fault names
    for section in SECTIONS:
        for part in section.parts:
            if not is_asked(part.name, before=before):
                continue
            if isinstance(part, RowsOf):
                _set(reading.document, part.name, _read_rows(reading, part, fields, units, places))
            elif not section.optional:
                _set(reading.document, part.name, _read(reading, part, part.name, part.name, fields, units))
                places[part.name] = part.name
        if section.optional:
            _set(reading.document, section.name, None)
            places[section.name] = section.parts[0].name
            if any(fields.get(one.name, "").strip() for one in section.parts if isinstance(one, FormField)):
                for one in section.parts:
                    assert isinstance(one, FormField)
                    _set(reading.document, one.name, _read(reading, one, one.name, one.name, fields, units))
                    places[one.name] = one.name
    if before:
        _stand_in(reading.document)
    if not reading.faults:
        try:
            reading.survey = survey_from_data(reading.document)
        except BadInput as fault:
            where = places.get(fault.where, "")
            problem = fault.problem if where or not fault.where else f"{fault.where}: {fault.problem}"
            reading.wrong[where] = _sentence(_in_measures(problem, where))
    return reading


def _stand_in(document: dict[str, Any]) -> None:
    """Put a usual awning into the middle of the band, as wide as there is room for; without a band it hangs nowhere."""
    left, right = document["band"]["left"], document["band"]["right"]
    known = left is not None and right is not None and right > left
    wide = min(_USUAL_WIDTH, max(_LEAST_WIDTH, right - left - 2 * _USUAL_MARGIN)) if known else _USUAL_WIDTH
    document["awning"] = msgspec.to_builtins(usual_awning(wide, min(_USUAL_PROJECTION, 0.8 * wide), _USUAL_KG))
    left_end, slide = in_the_middle(left, right, wide) if known else (None, None)
    document["place"] |= {"left_end": left_end, "slide": slide}


def _set(document: dict[str, Any], path: str, value: Any) -> None:
    *way, last = path.split(".")
    for step in way:
        if document.get(step) is None:
            document[step] = {}
        document = document[step]
    document[last] = value


def row_numbers(fields: Mapping[str, str], name: str) -> list[int]:
    """Return the numbers of the rows that a form has of the list `name`, in order, empty ones too."""
    found = set()
    for key in fields:
        if key.startswith(f"{name}."):
            number = key[len(name) + 1 :].partition(".")[0]
            if _INDEX.fullmatch(number):
                found.add(int(number))
    return sorted(found)


def rows_changed(fields: dict[str, str], what: str, name: str, number: str | None) -> dict[str, str]:
    """Return the fields with a row more (`what` is add) or without row `number` of the list `name`."""
    rows = next((one for one in lists() if one.name == name), None)
    if rows is None:
        return fields
    if what == "add":
        following = max(row_numbers(fields, name), default=-1) + 1
        cell = rows.fields[0]
        return {**fields, f"{name}.{following}.{cell.name}".rstrip("."): ""}
    gone = f"{name}.{number}"
    return {key: value for key, value in fields.items() if key != gone and not key.startswith(f"{gone}.")}


def _read_rows(
    reading: Reading, rows: RowsOf, fields: Mapping[str, str], units: str, places: dict[str, str]
) -> list[Any]:
    entries: list[Any] = []
    for number in row_numbers(fields, rows.name):
        names = {one.name: f"{rows.name}.{number}.{one.name}".rstrip(".") for one in rows.fields}
        if not any(fields.get(name, "").strip() for name in names.values()):
            continue
        entry = {
            one.name: _read(reading, one, names[one.name], f"{rows.name}.*.{one.name}".rstrip("."), fields, units)
            for one in rows.fields
        }
        for one in rows.fields:
            places[f"{rows.name}[{len(entries)}].{one.name}".rstrip(".")] = names[one.name]
        entries.append(entry.get("", entry))
    places[rows.name] = rows.name
    return entries


def _read(reading: Reading, one: FormField, name: str, path: str, fields: Mapping[str, str], units: str) -> Any:
    """Return the value of one field, None where it has none; what is wrong with it goes to `reading`."""
    text = fields.get(name, "").strip()
    if one.kind == "yes":
        return bool(text)
    if not text:
        if not one.may_be_empty:
            reading.missing[name] = "Not measured yet." if one.kind == "length" else "Not filled in yet."
        return None
    try:
        value = parsed(one, name, text)
        _check_limits(one, path, value)
    except BadInput as fault:
        reading.wrong[name] = _sentence(fault.problem)
        return None
    words = _understood(one, value, units)
    if words:
        reading.understood[name] = words
    return value


def parsed(one: FormField, name: str, text: str) -> Any:
    """Return what the text of the field `name` says; raises `BadInput`."""
    if one.kind == "length":
        return parse_length(text, name)
    if one.kind == "weight":
        return parse_weight(text, name)
    if one.kind == "force":
        return parse_force(text, name)
    if one.kind == "choice":
        if text not in (value for value, _ in one.choices):
            raise BadInput(name, "is none of the choices; choose one of the list")
        return int(text) if text.isdecimal() else text
    if one.kind == "text":
        if len(text) > _LONGEST_TEXT:
            raise BadInput(name, f"must have at most {_LONGEST_TEXT} characters, has {len(text)}")
        if any(ord(letter) < 32 or ord(letter) == 127 or "\ud800" <= letter <= "\udfff" for letter in text):
            raise BadInput(name, "holds a character that cannot be written; write it again")
        return text
    if not re.fullmatch(r"-?[0-9]{1,15}" + ("" if one.kind == "whole" else r"(\.[0-9]{1,60})?"), text):
        kind = "a whole number" if one.kind == "whole" else "a number such as 0.42"
        raise BadInput(name, f'must be {kind}, is "{text[:40]}"')
    return int(text) if one.kind == "whole" else float(text)


@functools.lru_cache(maxsize=256)
def _limits(path: str) -> dict[str, float]:
    return limits_of(type_of(path))


def _check_limits(one: FormField, path: str, value: Any) -> None:
    if one.kind in ("text", "choice"):
        return
    for name, bound in _limits(path).items():
        if {"ge": value < bound, "gt": value <= bound, "le": value > bound, "lt": value >= bound}[name]:
            shown = both if one.kind == "length" else exact_number
            raise BadInput(path, f"must be {_BOUNDS[name]} {shown(bound)}, is {shown(value)}")


def _understood(one: FormField, value: Any, units: str) -> str:
    """Return how a measure was taken, in the business's units and the other; empty where the text says it all."""
    if one.kind == "length":
        metric = f"{_rounded(value)} mm"
        return f"{feet_inches(value)} ({metric})" if units == "imperial" else f"{metric} ({feet_inches(value)})"
    if one.kind == "weight":
        return f"{_rounded(value)} kg ({value / LB_KG:.0f} lb)"
    if one.kind == "force":
        return f"{value:.0f} N ({value / LBF_N:.0f} lbf)"
    return ""


def _rounded(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")


def _sentence(problem: str) -> str:
    """Return a problem as the sentence that stands beside its field."""
    problem = problem.removesuffix(", is None")
    text = problem if problem[:1] in "\"'" else f"{problem[:1].upper()}{problem[1:]}"
    return text if text.endswith((".", "!", "?")) else f"{text}."


def _in_measures(problem: str, where: str) -> str:
    """Return a sentence of the document's own check with its millimetres in both measures, where it is about them."""
    kinds = {one.name: one.kind for one in single_fields()}
    for rows in lists():
        kinds |= {f"{rows.name}.*.{one.name}".rstrip("."): one.kind for one in rows.fields}
    if kinds.get(re.sub(r"\.[0-9]+", ".*", where)) != "length":
        return problem
    return _NUMBERS.sub(lambda found: both(float(found[0])), problem)


def sketch(reading: Reading) -> tuple[Survey | None, list[str]]:
    """Return the survey to draw while a form is being filled, with usual values for what is not measured yet.

    The list names what was taken as usual; None where something is wrong, or what is filled in cannot be. A row that
    is not complete is left out. Usual sizes are common practice, no published source: they are never saved.
    """
    if reading.survey is not None or reading.wrong:
        return reading.survey, []
    document = reading.document
    awning, wall, place, band = (dict(document[key]) for key in ("awning", "wall", "place", "band"))
    labels: list[str] = []

    def usual(part: dict[str, Any], key: str, value: Any, label: str) -> None:
        if part.get(key) is None:
            part[key] = value
            labels.append(label)

    label_of = {one.name: one.label.lower() for one in single_fields()}
    usual(awning, "width", _USUAL_WIDTH, label_of["awning.width"])
    wide = awning["width"]
    for key, value in {
        "projection": min(_USUAL_PROJECTION, 0.8 * wide), "weight_kg": _USUAL_KG, **USUAL_SIZES,
    }.items():  # fmt: skip
        usual(awning, key, value, label_of[f"awning.{key}"])
    awning["arms"] = [arm for arm in awning["arms"] if arm is not None]
    if len(awning["arms"]) < 2:
        awning["arms"] = usual_arms(wide)
        labels.append("arm centers")
    usual(wall, "kind", "wood-studs", label_of["wall.kind"])
    usual(wall, "cover", 25, label_of["wall.cover"])
    wall["members"] = [member for member in wall["members"] if member is not None]
    if wall["kind"] in WOOD:
        usual(wall, "member_width", 38.1, label_of["wall.member_width"])
        usual(wall, "species", "unknown", label_of["wall.species"])
        usual(wall, "member_depth", 38.1 if wall["kind"] == "rim-board" else 88.9, label_of["wall.member_depth"])
    usual(
        place,
        "left_end",
        300.0 if band.get("left") is None else band["left"] + _USUAL_MARGIN,
        label_of["place.left_end"],
    )
    usual(place, "slide", 0, label_of["place.slide"])
    usual(place, "height", 3000, label_of["place.height"])
    usual(band, "left", place["left_end"] - _USUAL_MARGIN, label_of["band.left"])
    usual(band, "right", place["left_end"] + wide + _USUAL_MARGIN, label_of["band.right"])
    usual(band, "bottom", max(0, place["height"] - awning["body_below"] - 40), label_of["band.bottom"])
    usual(band, "top", place["height"] + awning["body_above"] + 40, label_of["band.top"])
    usual(awning, "valance", 0, label_of["awning.valance"])
    usual(place, "under", "private", label_of["place.under"])
    awning["holes"] = [hole for hole in awning["holes"] if None not in hole.values()]
    if len(awning["holes"]) != awning["bolts"]:
        awning["holes"] = msgspec.to_builtins(usual_holes(awning["bracket_lever"], awning["bolts"]))
        labels.append("bolt pattern")
    datum = document["datum"]
    if datum["name"] is None or None in datum["control"].values():
        datum = {"name": datum["name"] or "not named yet", "control": {"what": "not measured yet", "at": 0}}
        labels.append("the zero and its check")
    anchor, tie, outlet = document["anchor"], wall["tie"], document["outlet"]
    wall["tie"] = None if tie is None or None in tie.values() else tie
    drawn = {
        **document, "awning": awning, "wall": wall, "place": place, "band": band,
        "anchor": None if anchor is None or None in anchor.values() else anchor, "datum": datum,
        "outlet": None if outlet is None or None in outlet.values() else outlet,
        "obstacles": [row for row in document["obstacles"] if None not in row.values()],
        "doors": [row for row in document["doors"] if None not in row.values()],
        "wind_class": 2 if document["wind_class"] is None else document["wind_class"],
    }  # fmt: skip
    try:
        return survey_from_data(drawn), labels
    except BadInput as fault:
        reading.wrong[""] = _sentence(_in_measures(str(fault), ""))
        return None, []


# What stands beside the document and is kept with it.
BESIDE = {"surveyed_on": "Measured on", "surveyed_by": "Measured by", "uncertain": "Not sure of"}
NO_ZERO = "no_zero"  # the field that says why no photo shows the zero; kept among what is not sure


def label_of(name: str) -> str:
    """Return what a field is called, for a list of faults: `Obstacles 2, left`."""
    for part in parts():
        if isinstance(part, FormField) and part.name == name:
            return part.label
        if isinstance(part, RowsOf) and (name == part.name or name.startswith(f"{part.name}.")):
            number, _, cell = name[len(part.name) + 1 :].partition(".")
            label = next((one.label for one in part.fields if one.name == cell), "")
            return part.title if not number else f"{part.row} {int(number) + 1}, {label}".capitalize()
    return "Photo of the zero" if name == NO_ZERO else BESIDE.get(name, "The survey")
