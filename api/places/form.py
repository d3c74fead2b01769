"""The place of a form: its pin, what looking the address up gave, and the questions that somebody has to answer."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from sqlmodel import Session

from api.places.answers import AddressAnswer
from api.places.finder import Finder
from api.places.pins import PinMap, far_words, pin_map, pin_text, read_pin, spread

MISSING = "The pin must be put on the map: find the address, drag the pin, or type latitude and longitude under More."


@dataclass(frozen=True)
class Placing:
    """How the place of a form stands: its fields begin with `prefix`.

    `text` is the pin as the field shows it, `was` as it is kept; `fault` is why nothing can be kept yet, `unread` that
    the field itself is, `far` the question of a pin that is far from every yard. `may_wait`: somebody may say that it
    is put on the map `later`.
    """

    prefix: str
    map: PinMap
    text: str = ""
    was: str = ""
    answer: AddressAnswer | None = None
    fault: str = ""
    far: str = ""
    unread: bool = False
    may_wait: bool = False
    later: bool = False


def blank(session: Session, prefix: str, was: str = "", but: str = "", *, may_wait: bool = False) -> Placing:
    """Return the place of a form as it is opened; `was`: the pin that is kept."""
    return Placing(prefix, pin_map(session, read_pin(was), but), was, was, may_wait=may_wait)


def looked_up(session: Session, finder: Finder, address: str, town: str) -> Placing:
    """Return the place of an address as it is opened to be placed by somebody: where it seems to be."""
    answer = finder.find(address, town)
    best = answer.places[0] if answer.places else None
    pin = (best.lat, best.lon) if best else None
    far = far_words(session, *pin) if pin else ""
    return Placing("", pin_map(session, pin), best.pin if best else "", "", answer, far=far)


def placed(
    session: Session, finder: Finder, sent: Mapping[str, str], prefix: str, address: str, town: str,
    *, was: str = "", moved: bool = False, but: str = "", may_wait: bool = False,
) -> tuple[dict[str, str], Placing]:  # fmt: skip
    """Return the fields of a form with latitude and longitude in place of its pin, and how its place stands.

    The address is looked up where there is no pin, and where the address has `moved` and its pin has not. `was`
    is the pin that is kept, `but` the row that is being placed. `may_wait`: it is kept without a pin where the form
    says that it is put on the map later.
    """
    later = may_wait and bool(sent.get(f"{prefix}later"))
    fields, wrong = spread({**sent, f"{prefix}was": was}, prefix)
    fault = f"The pin {wrong}." if wrong else ""
    pin = None if fault else read_pin(pin_text(fields.get(f"{prefix}lat", ""), fields.get(f"{prefix}lon", "")))
    text = sent.get(f"{prefix}pin", "") if fault or pin is None else pin_text(*pin)
    stays = moved and pin_text(*(pin or ("", ""))) == was and not sent.get(f"{prefix}found")
    answer = None
    if not fault and (pin is None or stays):
        answer = finder.find(address, town)
        if pin is None and answer.places:
            pin = answer.places[0].lat, answer.places[0].lon
            text = answer.places[0].pin
        if later:
            fields[f"{prefix}lat"] = fields[f"{prefix}lon"] = text = ""
            pin = None
        elif stays or answer.state != "chosen":
            fault = _why(answer, stays)
        else:
            fields[f"{prefix}lat"], fields[f"{prefix}lon"] = (repr(value) for value in pin or ())
    far = far_words(session, *pin, but=but) if pin else ""
    if far and not fault and not sent.get(f"{prefix}far"):
        fault = f"{far} If it is, say so below the map."
    return fields, Placing(
        prefix, pin_map(session, pin, but), text, was, answer, fault, far, bool(wrong), may_wait, later
    )  # fmt: skip


def _why(answer: AddressAnswer, stays: bool) -> str:
    if stays:
        return "The pin still stands at the address before: choose where it is now, or that it is right as it stands."
    return "The pin was found by the address: look at it on the map, then keep it." if answer.places else MISSING
