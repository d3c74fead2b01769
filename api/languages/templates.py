"""Templates in other languages: translated text by text when they are loaded, so that showing them costs nothing more.

A text is what stands between two tags, or in an attribute that is read out or shown, up to the next statement; values
in it are named, as in "Posted by {posted_by}". Words inside of expressions are said by `_` and `ngettext`, as Jinja has
them.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable, Iterator, Mapping
from typing import Any, BinaryIO, Literal

from jinja2 import Environment
from jinja2.ext import Extension, babel_extract

from api.languages import ENGLISH, gettext, language, ngettext
from api.languages.catalogues import texts
from api.languages.whole import kept_together

_JINJA = re.compile(r"\{\{.*?\}\}|\{%.*?%\}|\{#.*?#\}", re.DOTALL)
_TAG = re.compile(r"</?[A-Za-z!][^>]*>")
_ASIDE = re.compile(r"<!--.*?-->|<(script|style)\b.*?</\1>", re.DOTALL | re.IGNORECASE)
_READ_OUT = re.compile(r'(\s(?:aria-label|alt|data-head|data-is|placeholder|title)=")([^"]*)(")')
_PLAIN_VALUE = re.compile(r"[\w.\[\]]*?([A-Za-z_]\w*)(?:\[[^\]]*\])?\s*(?:\|.*)?", re.DOTALL)
_ENTITY = re.compile(r"&\w+;|&#\d+;")
_PIECES = re.compile(f"({_JINJA.pattern})", re.DOTALL)
_BOUND = re.compile(r"<(?=[A-Za-z/])|>")  # where a tag begins and ends
_LETTER = re.compile(r"[^\W\d_]")
_MASKS = 0xE000  # the first letter of those that no text uses


# Tags that stand within a sentence: it is one text with them, as in "Take <a>the demo's files</a> and ...".
_INLINE = re.compile(r"<(/?)(a|abbr|b|code|em|i|output|span|strong)\b[^>]*>")
_IN_KEY = re.compile(r"</?(?:a|abbr|b|code|em|i|output|span|strong)\d*>|\{\w+\}")
# A value that is one of several words: {{ "visit" if n == 1 else "visits" }}.
_CHOICE = re.compile(r'"([^"{}]*)" if (.+?) else (.+)|"([^"{}]*)"(?: if (.+))?', re.DOTALL)
_ONE = re.compile(r".+ == 1")
_MOST = 4  # variants of one text: more are no sentence that anybody could translate

# The words of a choice, each with the condition under which it is said; None for the last, said otherwise.
_Choice = tuple[tuple[str, str | None], ...]
_Conditions = list[tuple[str | None, ...]]
# What is made of a text: of its one form, or of those for one and for more.
_Said = Callable[[str | tuple[str, str], int], str | tuple[str, str]]


class TemplateTexts:
    """A template with each piece of Jinja behind one letter of its own, so that only HTML and texts are left."""

    def __init__(self, source: str) -> None:
        self._pieces: list[str] = []
        self._tags: dict[str, tuple[bool, str]] = {}  # of letters that stand for tags: whether it closes, its name
        masked = _JINJA.sub(lambda found: self._mask(found[0]), source)
        self.masked = _ASIDE.sub(lambda found: self._mask(found[0]), masked)
        self._any = re.compile(f"[{chr(_MASKS)}-{chr(_MASKS + len(self._pieces) + len(_INLINE.findall(masked)))}]")

    def _mask(self, piece: str) -> str:
        self._pieces.append(piece)
        return chr(_MASKS + len(self._pieces) - 1)

    def _piece(self, mask: str) -> str:
        return self._pieces[ord(mask) - _MASKS]

    def unmasked(self, text: str) -> str:
        while self._any.search(text):  # a tag holds pieces
            text = self._any.sub(lambda found: self._piece(found[0]), text)
        return text

    def each(self, said: _Said) -> str:
        """Return the masked template with what `said` makes of each text; it is given the line too."""
        whole = _INLINE.sub(lambda tag: self._tag_mask(tag, said), self.masked)
        made, end = [], 0
        for tag in _TAG.finditer(whole):
            made.append(self._run(whole[end : tag.start()], end, said))
            end = tag.end()
            made.append(self._tag(tag[0], tag.start(), said))
        return "".join([*made, self._run(whole[end:], end, said)])

    def _tag_mask(self, tag: re.Match[str], said: _Said) -> str:
        mask = self._mask(self._tag(tag[0], tag.start(), said))
        self._tags[mask] = tag[1] == "/", tag[2]
        return mask

    def _tag(self, tag: str, at: int, said: _Said) -> str:
        """Return a tag with those of its attributes said that are read out."""
        return _READ_OUT.sub(lambda found: found[1] + self._run(found[2], at, said) + found[3], tag)

    def _run(self, run: str, at: int, said: _Said) -> str:
        """Return a run of text without tags but those within sentences; statements in it set its texts apart."""
        made, text = [], ""
        for letter in run:
            if self._is_statement(letter):
                made += [self._sentences(text, at, said), letter]
                text = ""
            else:
                text += letter
        return "".join([*made, self._sentences(text, at, said)])

    def _is_statement(self, letter: str) -> bool:
        return bool(self._any.fullmatch(letter)) and letter not in self._tags and self._piece(letter)[:2] != "{{"

    def _sentences(self, text: str, at: int, said: _Said) -> str:
        """Return a run without statements: one text where words stand around its tags, else those between them."""
        partner = self._partners(text)
        made, end, n = [], 0, 0
        while n < len(text):
            if text[n] in self._tags and n not in partner:  # a statement stands between it and its other half
                made += [self._balanced(text[end:n], at, said), text[n]]
                end = n + 1
            n += 1
        return "".join([*made, self._balanced(text[end:], at, said)])

    def _partners(self, text: str) -> dict[int, int]:
        """Return where each tag of a text that is opened and closed in it has its other half."""
        found: dict[int, int] = {}
        opened: list[int] = []
        for n, letter in enumerate(text):
            if letter not in self._tags:
                continue
            closes, name = self._tags[letter]
            if not closes:
                opened.append(n)
            elif opened and self._tags[text[opened[-1]]][1] == name:
                found[n] = opened.pop()
                found[found[n]] = n
            else:
                opened.clear()
        return found

    def _balanced(self, text: str, at: int, said: _Said) -> str:
        partner = self._partners(text)
        outer, within, n = [], [], 0  # what stands outside of tags, and what within each
        while n < len(text):
            if n in partner:
                within.append((n, partner[n]))
                n = partner[n]
            else:
                outer.append(text[n])
            n += 1
        if not within or self._has_words("".join(outer)):
            return self._text(text, at, said)
        made, end = [], 0
        for first, last in within:
            inner = self._balanced(text[first + 1 : last], at, said)
            made += [text[end:first], text[first], inner, text[last]]
            end = last + 1
        return "".join([*made, text[end:]])

    def _has_words(self, text: str) -> bool:
        chosen = "".join(word for letter in text for word, _ in self._choice(letter) or ())
        return bool(_LETTER.search(chosen + self._any.sub("", _ENTITY.sub("", text))))

    def _choice(self, letter: str) -> _Choice | None:
        """Return the words of a value that is one of several; None for another."""
        if not self._any.fullmatch(letter) or letter in self._tags or self._piece(letter)[:2] != "{{":
            return None
        words: list[tuple[str, str | None]] = []
        rest = self._piece(letter)[2:-2].strip("- \n")
        while True:
            found = _CHOICE.fullmatch(rest)
            if found is None:
                return None
            if found[3] is None:
                words += [(found[4], found[5]), ("", None)] if found[5] else [(found[4], None)]
                return tuple(words) if any(_LETTER.search(word) for word, _ in words) else None
            words.append((found[1], found[2]))
            rest = found[3]

    def _text(self, text: str, at: int, said: _Said) -> str:
        bare = text.strip()
        if not self._has_words(bare):
            return text
        choices = list(dict.fromkeys(choice for letter in bare if (choice := self._choice(letter)) is not None))
        line = self.masked.count("\n", 0, at) + 1
        # Where a text begins or ends with a blank, that stays: it sets it apart from its neighbor.
        before, after = text[: len(text) - len(text.lstrip())], text[len(text.rstrip()) :]
        conditions = list(dict.fromkeys(tuple(condition for _, condition in choice) for choice in choices))
        ways = list(itertools.product(*(range(len(one)) for one in conditions)))
        if len(ways) > _MOST:
            raise ValueError(
                f"line {line}: {len(ways)} variants of one text, set some apart: {self.unmasked(bare)[:200]}"
            )
        chosen = [self._chosen(bare, conditions, way) for way in ways]
        keys = [self._key(words) for words in chosen]
        if len(ways) == 2 and _ONE.fullmatch(conditions[0][0] or ""):
            told = said((keys[0][0], keys[1][0]), line)
            forms = list(told)
        else:
            forms = [str(said(key, line)) if self._has_words(words) else key
                     for (key, _), words in zip(keys, chosen, strict=True)]  # fmt: skip
        if forms == [key for key, _ in keys]:
            return text
        made = [_IN_KEY.sub(lambda found, named=named: named.get(found[0], found[0]), form)  # type: ignore[misc]
                for form, (_, named) in zip(forms, keys, strict=True)]  # fmt: skip
        return before + self._branches(conditions, dict(zip(ways, made, strict=True)), ()) + after

    def _chosen(self, text: str, conditions: _Conditions, way: tuple[int, ...]) -> str:
        """Return a text with the words of its choices that one way of their conditions gives."""
        made = ""
        for letter in text:
            choice = self._choice(letter)
            if choice is None:
                made += letter
            else:
                made += choice[way[conditions.index(tuple(condition for _, condition in choice))]][0]
        return made

    def _branches(self, conditions: _Conditions, made: dict[tuple[int, ...], str], way: tuple[int, ...]) -> str:
        """Return statements that say of several texts the one that the conditions ask for."""
        if len(way) == len(conditions):
            return made[way]
        told = ""
        for n, condition in enumerate(conditions[len(way)]):
            told += "{%+ else +%}" if condition is None else f"{{%+ {'elif' if n else 'if'} {condition} +%}}"
            told += self._branches(conditions, made, (*way, n))
        return told + "{%+ endif +%}"

    def _key(self, text: str) -> tuple[str, dict[str, str]]:
        """Return a text with its values and tags named, and the mask of each name."""
        named: dict[str, str] = {}

        def keep(name: Callable[[int], str], mask: str) -> str:
            n = 1
            while name(n) in named and self._piece(named[name(n)]) != self._piece(mask):
                n += 1
            named[name(n)] = mask
            return name(n)

        made, opened = "", list[str]()
        for letter in text:
            if letter in self._tags:
                closes, tag = self._tags[letter]
                if not closes:
                    n = 1
                    while f"<{tag}{n if n > 1 else ''}>" in named:
                        n += 1
                    opened.append(f"{tag}{n if n > 1 else ''}")
                    made += f"<{opened[-1]}>"
                    named[f"<{opened[-1]}>"] = letter
                else:
                    made += f"</{opened[-1]}>"
                    named[f"</{opened.pop()}>"] = letter
            elif self._any.fullmatch(letter):
                plain = _PLAIN_VALUE.fullmatch(self._piece(letter)[2:-2].strip("- \n"))
                base = plain[1] if plain else "value"
                made += keep(lambda n, base=base: f"{{{base}{n if n > 1 else ''}}}", letter)  # type: ignore[misc]
            else:
                made += letter
        return " ".join(made.split()), named


def whole_figures(source: str) -> str:
    """Return a template in whose texts no line breaks between a figure and its unit ("45 %", "12 min").

    Values within a tag, such as `data-item="{{ item }}"`, are written as they are: scripts send them back.
    """
    pieces, in_tag = _PIECES.split(source), False
    for n, piece in enumerate(pieces):
        if n % 2:  # every second is Jinja's
            if in_tag and piece.startswith("{{ ") and '"' not in piece:  # a choice between words of ours is none
                pieces[n] = f"{{{{ ({piece[2:-2].strip()}) | in_tag }}}}"
            continue
        figure = n > 0 and pieces[n - 1].startswith("{{")
        pieces[n] = kept_together(piece, after_figure=figure)
        for bound in _BOUND.findall(piece):
            in_tag = bound != ">"
    return "".join(pieces)


class WholeFigures(Extension):
    """Keeps figures and their units on one line, in every language: after its texts have been found."""

    priority = 200

    def preprocess(self, source: str, name: str | None, filename: str | None = None) -> str:
        """Return the template with its figures whole."""
        return whole_figures(source)


class Spoken(Extension):
    """Has each template say its texts in the language of the environment (`environment.spoken`)."""

    def preprocess(self, source: str, name: str | None, filename: str | None = None) -> str:
        """Return the template with its texts in that language."""
        known = texts(self.environment.spoken, "messages")  # type: ignore[attr-defined]  # set by `speaks`
        whole = TemplateTexts(source)

        def said(text: str | tuple[str, str], _: int) -> str | tuple[str, str]:
            if isinstance(text, str):
                return known.get(text)
            return known.count(*text, 1), known.count(*text, 2)

        return whole.unmasked(whole.each(said))


def speaks(made: Environment, code: str) -> None:
    """Have an environment's templates speak a language: texts when they are loaded, words in expressions when shown."""
    made.add_extension("jinja2.ext.i18n")
    made.install_gettext_callables(gettext, ngettext, newstyle=False)  # type: ignore[attr-defined]
    made.globals.update(language=language, script_texts=_script_texts)
    made.spoken = code  # type: ignore[attr-defined]
    if code != ENGLISH:
        made.add_extension(Spoken)


def _script_texts(domain: Literal["phone", "pages"]) -> Mapping[str, Any]:
    """Return the texts of the phone's scripts, or of the other pages', in the language spoken."""
    return texts(language(), domain).all


def extract(
    file: BinaryIO, keywords: Any, comment_tags: Any, options: Any
) -> Iterator[tuple[int, Any, Any, list[str]]]:
    """Yield the texts of a template as Babel takes them."""
    found: list[tuple[int, Any, Any, list[str]]] = []

    def keep(text: str | tuple[str, str], line: int) -> str | tuple[str, str]:
        found.append((line, None if isinstance(text, str) else "ngettext", text, []))
        return text

    TemplateTexts(file.read().decode()).each(keep)
    file.seek(0)
    yield from found
    yield from babel_extract(file, keywords, comment_tags, {"trimmed": "true", "silent": "false"})
