"""The languages in which crews and customers read, and the texts of pages, papers and messages in each.

    with speaking("es"):
        gettext("level line")       # "línea de nivel"

A text is written in English where it is used, and is its own key in the catalogues (`LANGUAGE/LC_MESSAGES/*.po`): one
of what templates and modules say, one of the phone's scripts, one of the other pages', one of the sentences of the
planning core. What a
catalogue does not have stays English. All is said in English unless a door asks otherwise, by `speak` or `speaking`.
Whoever has chosen a language for the pages reads them in it (`reading`); what their requests keep stays English.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

from babel.dates import format_date

from api.languages.catalogues import texts

# By the names that their speakers give them.
LANGUAGES = {"en": "English", "es": "español"}
ENGLISH = "en"
_spoken: ContextVar[str] = ContextVar("language", default=ENGLISH)
_read: ContextVar[str | None] = ContextVar("reader's language", default=None)


def language() -> str:
    """Return the language spoken here and now."""
    return _spoken.get()


def speak(code: str) -> None:
    """Speak a language until the end of this request: each is answered in a context of its own."""
    _spoken.set(code)


@contextmanager
def speaking(code: str) -> Iterator[None]:
    """Speak a language for the time being."""
    token = _spoken.set(code)
    try:
        yield
    finally:
        _spoken.reset(token)


@contextmanager
def reading(code: str | None, *, speak: bool) -> Iterator[None]:
    """Have pages written in a language that their reader has chosen (None: none); `speak`: all else said then too."""
    token = _read.set(code)
    try:
        with speaking((code or ENGLISH) if speak else ENGLISH):
            yield
    finally:
        _read.reset(token)


def chosen_language() -> str | None:
    """Return the language that the reader has chosen for the pages; None: no choice was made."""
    return _read.get()


def page_language() -> str:
    """Return the language in which a page is written: the one spoken, where none is the one that its reader chose."""
    return (_read.get() or ENGLISH) if language() == ENGLISH else language()


def gettext(text: str) -> str:
    """Return a text in the language spoken."""
    return text if language() == ENGLISH else texts(language(), "messages").get(text)


def ngettext(one: str, more: str, count: int) -> str:
    """Return a text for a count, in the language spoken."""
    if language() == ENGLISH:
        return one if count == 1 else more
    return texts(language(), "messages").count(one, more, count)


def to_say(text: str) -> str:
    """Return a text as it is, marked for the catalogues: it is said by `gettext` elsewhere."""
    return text


def day_in_words(date: datetime.date, pattern: str) -> str:
    """Return a day by a pattern of CLDR in the language spoken, without the dots of its short forms: mar 16 abr."""
    return format_date(date, pattern, locale=language()).replace(".", "")
