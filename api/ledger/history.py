"""The history in words: who changed what from what to what, in a line that anybody can read."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator
from typing import Any

from sqlmodel import Session

from api import tables
from api.fields.shown import day_name, dollars
from api.languages import gettext
from api.ledger.history_words import CALLED

_DATE = re.compile(r"\d{4}-\d\d-\d\d")
_LONGEST = 60
_MOST_DETAILS = 8
# What people call the things whose rows have other names.
_NOUNS = {"case": "changed visit", "account": "sign-in"}
_DID = {"drafted": "wrote"}
# What is written into a history for programs to find again, and says nothing to people.
_SILENT = {"id", "version", "sha256", "fingerprint", "files"}


def in_words(line: tables.History, of: str = "") -> str:
    """Return a line of the history as a sentence without its full stop, in the language spoken.

    Things other than `of` are named by id. What was done, to what and what was changed of it are said by the catalogue
    (`history_words.py`), one by one; what is not in it stays as it was kept.
    """
    noun = _NOUNS.get(line.noun, line.noun.replace("_", " "))
    which = f" {line.noun_id}" if line.noun_id != of else ""
    article, sentence = f"the {noun}", f"{{who}} {_DID.get(line.did, line.did)} {{what}}"
    named = "" if noun in line.did else gettext(article)
    did = gettext(sentence).format(who=line.by, what=f"{named}{which}".strip()).rstrip()
    told = list(_details(line.detail, made=line.did == "made"))
    shown = told[:_MOST_DETAILS] + (["…"] if len(told) > _MOST_DETAILS else [])
    return did + (f": {'; '.join(shown)}" if shown else "")


def _details(detail: dict[str, Any], *, made: bool) -> Iterator[str]:
    for key, value in detail.items():
        name = gettext(CALLED.get(key) or re.sub(r"_(id|cents|mm|min)$", "", key).replace("_", " "))
        if key in _SILENT or value in (None, "", [], {}):
            continue
        if isinstance(value, list) and len(value) == 2 and not made:
            if all(_is_plain(one) for one in value):
                old, new = _value(key, value[0]), _value(key, value[1])
                yield gettext("{name} from {old} to {new}").format(name=name, old=old, new=new)
            else:
                yield gettext("{name} anew").format(name=name)
        elif _is_plain(value):
            yield f"{name} {_value(key, value)}"
        elif isinstance(value, list) and all(_is_plain(one) for one in value):
            yield f"{name} {', '.join(_value(key, one) for one in value)}"


def _is_plain(value: Any) -> bool:
    return value is None or isinstance(value, str | int | float | bool)


def _value(key: str, value: Any) -> str:
    if value is None or value == "":
        return gettext("nothing")
    if isinstance(value, bool):
        return gettext("yes") if value else gettext("no")
    if key.endswith("_cents") and isinstance(value, int):
        return dollars(value)
    if isinstance(value, str) and _DATE.fullmatch(value):
        return day_name(datetime.date.fromisoformat(value))
    if isinstance(value, str):
        text = " ".join(value.split())
        short = text if len(text) <= _LONGEST else f"{text[:_LONGEST]}…"
        return f"“{gettext(short)}”"
    return str(value)


def note(
    session: Session, at: datetime.datetime, by: str, did: str, noun: str, noun_id: str, detail: dict[str, Any]
) -> None:
    """Add a line to the history."""
    session.add(tables.History(at=at, by=by, did=did, noun=noun, noun_id=noun_id, detail=detail))
