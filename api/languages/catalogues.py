"""Catalogues as they are committed, read when their language is first spoken: nothing is compiled ahead of time.

A compiled copy could be older than its text; reading one takes a tenth of a second, once in each process.
"""

from __future__ import annotations

import functools
import io
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Literal

from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po
from babel.support import Translations

HERE = Path(__file__).parent
Domain = Literal["messages", "phone", "pages", "core", "refusals"]


class Texts:
    """The texts of one catalogue in one language; what is missing there, or not settled, stays as it is."""

    def __init__(self, compiled: Translations, all_of: Mapping[str, str | tuple[str, ...]]) -> None:
        self._compiled = compiled
        self.all = all_of  # by their English, with both forms where there are two

    def get(self, text: str) -> str:
        """Return a text in this language."""
        return self._compiled.gettext(text)

    def count(self, one: str, more: str, count: int) -> str:
        """Return a text for a count in this language."""
        return self._compiled.ngettext(one, more, count)


@functools.cache
def texts(language: str, domain: Domain) -> Texts:
    """Return what a catalogue holds in a language, read from its file."""
    with path_of(language, domain).open("rb") as file:
        catalogue = read_po(file, locale=language, domain=domain)
    compiled = io.BytesIO()
    write_mo(compiled, catalogue)
    compiled.seek(0)
    settled = [message for message in catalogue if message.id and message.string and not message.fuzzy]
    all_of = {_of(m.id)[0]: m.string if isinstance(m.string, str) else _of(m.string) for m in settled}
    return Texts(Translations(compiled, domain), all_of)


def _of(text: str | Iterable[str] | None) -> tuple[str, ...]:
    return (text,) if isinstance(text, str) else tuple(text or ())


def path_of(language: str, domain: Domain) -> Path:
    """Return where a catalogue lies."""
    return HERE / language / "LC_MESSAGES" / f"{domain}.po"
