"""Templates in other languages: translated text by text when they are loaded, so that showing them costs nothing more.

A text is what stands between two tags, or in an attribute that is read out, up to the next statement; values in it are
named, as in "Posted by {posted_by}". Words inside of expressions are said by `_` and `ngettext`, as Jinja has them.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from typing import Any, BinaryIO

from jinja2 import Environment
from jinja2.ext import Extension, babel_extract

from api.languages import ENGLISH, gettext, language, ngettext
from api.languages.catalogues import texts

_JINJA = re.compile(r"\{\{.*?\}\}|\{%.*?%\}|\{#.*?#\}", re.DOTALL)
_TAG = re.compile(r"<!--.*?-->|<(script|style)\b.*?</\1>|</?[A-Za-z!][^>]*>", re.DOTALL | re.IGNORECASE)
_READ_OUT = re.compile(r'(\s(?:aria-label|alt|placeholder|title)=")([^"]*)(")')
_PLAIN_VALUE = re.compile(r"[\w.\[\]]*?([A-Za-z_]\w*)(?:\[[^\]]*\])?\s*(?:\|.*)?", re.DOTALL)
_ENTITY = re.compile(r"&\w+;|&#\d+;")
_LETTER = re.compile(r"[^\W\d_]")
_NAMED = re.compile(r"\{(\w+)\}")
_MASKS = 0xE000  # the first letter of those that no text uses


class TemplateTexts:
    """A template with each piece of Jinja behind one letter of its own, so that only HTML and texts are left."""

    def __init__(self, source: str) -> None:
        self._pieces: list[str] = []
        self.masked = _JINJA.sub(self._mask, source)
        last = chr(_MASKS + len(self._pieces))
        self._any = re.compile(f"[{chr(_MASKS)}-{last}]")

    def _mask(self, found: re.Match[str]) -> str:
        self._pieces.append(found[0])
        return chr(_MASKS + len(self._pieces) - 1)

    def _piece(self, mask: str) -> str:
        return self._pieces[ord(mask) - _MASKS]

    def unmasked(self, text: str) -> str:
        return self._any.sub(lambda found: self._piece(found[0]), text)

    def each(self, said: Callable[[str, int], str]) -> str:
        """Return the masked template with what `said` makes of each text; it is given the line too."""
        made, end = [], 0
        for tag in _TAG.finditer(self.masked):
            made.append(self._run(self.masked[end : tag.start()], end, said))
            end = tag.end()
            made.append(self._tag(tag, said))
        return "".join([*made, self._run(self.masked[end:], end, said)])

    def _tag(self, tag: re.Match[str], said: Callable[[str, int], str]) -> str:
        """Return a tag with those of its attributes said that are read out."""
        return _READ_OUT.sub(lambda at: at[1] + self._run(at[2], tag.start(), said) + at[3], tag[0])

    def _run(self, run: str, at: int, said: Callable[[str, int], str]) -> str:
        """Return a run of text without tags; statements in it set its texts apart."""
        made, text = [], ""
        for letter in run:
            if self._any.fullmatch(letter) and not self._piece(letter).startswith("{{"):
                made += [self._text(text, at, said), letter]
                text = ""
            else:
                text += letter
        return "".join([*made, self._text(text, at, said)])

    def _text(self, text: str, at: int, said: Callable[[str, int], str]) -> str:
        bare = text.strip()
        if not _LETTER.search(self._any.sub("", _ENTITY.sub("", bare))):
            return text
        key, named = self._key(bare)
        # Where a text begins or ends with a blank, that stays: it sets it apart from its neighbor.
        before, after = text[: len(text) - len(text.lstrip())], text[len(text.rstrip()) :]
        line = self.masked.count("\n", 0, at) + 1
        told = said(key, line)
        if told == key:
            return text
        return before + _NAMED.sub(lambda found: named.get(found[1], found[0]), told) + after

    def _key(self, text: str) -> tuple[str, dict[str, str]]:
        """Return a text with its values named, and the mask of each name."""
        named: dict[str, str] = {}

        def name(found: re.Match[str]) -> str:
            inner = self._piece(found[0])[2:-2].strip("- \n")
            plain = _PLAIN_VALUE.fullmatch(inner)
            base = plain[1] if plain else "value"
            wanted = base
            while wanted in named and self._piece(named[wanted]) != self._piece(found[0]):
                wanted = f"{base}{len(named)}"
            named[wanted] = found[0]
            return f"{{{wanted}}}"

        return " ".join(self._any.sub(name, text).split()), named


class Spoken(Extension):
    """Has each template say its texts in the language of the environment (`environment.spoken`)."""

    def preprocess(self, source: str, name: str | None, filename: str | None = None) -> str:
        """Return the template with its texts in that language."""
        known = texts(self.environment.spoken, "messages")  # type: ignore[attr-defined]  # set by `speaks`
        whole = TemplateTexts(source)
        return whole.unmasked(whole.each(lambda text, _: known.get(text)))


def speaks(made: Environment, code: str) -> None:
    """Have an environment's templates speak a language: texts when they are loaded, words in expressions when shown."""
    made.add_extension("jinja2.ext.i18n")
    made.install_gettext_callables(gettext, ngettext, newstyle=False)  # type: ignore[attr-defined]
    made.globals.update(language=language, phone_texts=_phone_texts)
    made.spoken = code  # type: ignore[attr-defined]
    if code != ENGLISH:
        made.add_extension(Spoken)


def _phone_texts() -> Mapping[str, Any]:
    """Return the texts of the phone's scripts in the language spoken."""
    return texts(language(), "phone").all


def extract(
    file: BinaryIO, keywords: Any, comment_tags: Any, options: Any
) -> Iterator[tuple[int, Any, Any, list[str]]]:
    """Yield the texts of a template as Babel takes them."""
    found: list[tuple[int, Any, Any, list[str]]] = []

    def keep(text: str, line: int) -> str:
        found.append((line, None, text, []))
        return text

    TemplateTexts(file.read().decode()).each(keep)
    file.seek(0)
    yield from found
    yield from babel_extract(file, keywords, comment_tags, {"trimmed": "true", "silent": "false"})
