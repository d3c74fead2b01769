"""Contacts of a phone or a mail program (vCard, RFC 6350 and RFC 2426) as rows of a list of customers."""

from __future__ import annotations

from typing import Any

from api.office.files.sheets import Rows, decoded
from api.uploads.reading import MOST_ROWS
from scheduler.errors import BadInput

HEADS = ["Name", "Phone", "E-mail", "Address", "Address, second line", "Town", "Note"]
_FIRST = ("pref", "cell", "home", "voice")  # of several numbers or addresses, the one that is taken


def is_cards(data: bytes) -> bool:
    """Return whether a file holds contacts."""
    return data.removeprefix(b"\xef\xbb\xbf").lstrip()[:11].upper() == b"BEGIN:VCARD"


def card_rows(data: bytes, name: str) -> Rows:
    """Return the contacts of a file as a table of customers, its heads first; raises `BadInput`.

    Further numbers and addresses go into the note; what a customer has no column for (a birthday, a photo) is left out.
    """
    import vobject  # takes a while to load

    rows = [list(HEADS)]
    try:
        for card in vobject.readComponents(decoded(data, name), ignoreUnreadable=True, allowQP=True):
            if card.name == "VCARD":
                rows.append(_row(card))
    except (vobject.base.ParseError, ValueError, AttributeError, IndexError) as fault:
        line = getattr(fault, "lineNumber", None)
        where = f" near line {line}" if line else ""
        raise BadInput(name, f"cannot be read as contacts{where}: save it again as vCard 3 or 4") from None
    if len(rows) == 1:
        raise BadInput(name, "holds no contact")
    if len(rows) > MOST_ROWS:
        raise BadInput(name, f"has more than {MOST_ROWS} contacts: split it")
    return rows


def _row(card: Any) -> list[str]:
    phones = [_phone(one) for one in _sorted(card, "tel")]
    mails = [_text(one.value) for one in _sorted(card, "email")]
    places = [one.value for one in _sorted(card, "adr")]
    notes = [_text(one.value) for one in card.contents.get("note", [])]
    notes += [f"also {one}" for one in (*phones[1:], *mails[1:], *(_line(one) for one in places[1:])) if one]
    street, second, town = _place(places[0]) if places else ("", "", "")
    return [_name(card), (phones or [""])[0], (mails or [""])[0], street, second, town, "; ".join(filter(None, notes))]


def _sorted(card: Any, name: str) -> list[Any]:
    """Return the lines of a name, those first that the card prefers; fax numbers are left out."""

    def rank(line: Any) -> int:
        types = {one.casefold() for one in line.params.get("TYPE", [])} | ({"pref"} if "PREF" in line.params else set())
        return next((n for n, word in enumerate(_FIRST) if word in types), len(_FIRST))

    lines = card.contents.get(name, [])
    return sorted((x for x in lines if "fax" not in {t.casefold() for t in x.params.get("TYPE", [])}), key=rank)


def _name(card: Any) -> str:
    if card.contents.get("fn") and _text(card.fn.value):
        return _text(card.fn.value)
    if card.contents.get("n"):
        own = card.n.value
        name = " ".join(filter(None, (_text(own.given), _text(own.family))))
        if name:
            return name
    return _text(card.org.value[0]) if card.contents.get("org") and card.org.value else ""


def _phone(line: Any) -> str:
    return _text(line.value).removeprefix("tel:").partition(";")[0]


def _place(place: Any) -> tuple[str, str, str]:
    return _text(place.street), _text(place.extended), _text(place.city)


def _line(place: Any) -> str:
    return ", ".join(filter(None, _place(place)))


def _text(value: Any) -> str:
    """Return a value in one line; lists come where a card has commas."""
    text = ", ".join(map(str, value)) if isinstance(value, list) else str(value or "")
    return " ".join(text.split())
