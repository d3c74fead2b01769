"""What a user reads is said as a yard office says it: words of other trades, and of the code, are on no page."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from babel.messages.pofile import read_po

ROOT = Path(__file__).parents[2]
# Words that nobody in a yard says, with what is said instead.
FORBIDDEN = {
    r"\bstays in\b(?! force)": "does not go out; in the yard: gusts",
    r"\bpairs of hands\b": "people",
    r"\b(?:extra|few|enough|\d|[}]) hands\b": "people",
    r"\bwhat became of\b": "how did it go?",
    r"\bdays? kept\b": "day promised",
    r"\bonly in place of\b": "no room: it would push out",
    r"\bcannot stand\b": "to fix",
    r"\btold that binds\b": "not promised yet",
    r"\bweather takes it\b": "chance of being weathered out",
    r"\bas eaveboard counts\b": "",
    r"\b(?:visits?|nothing) (?:can )?falls?\b": "can't go as posted",
    r"\bdraft(?:s|ed)?\b": "still to tell",
    r"\baccounts?\b": "who may sign in",
    r"(?<!load )(?<!in )\bcases?\b(?! that (?:asks|the layout))": "changed visit",
}
# Statics has its load cases; a chance is verified on cases; the history keeps the nouns of addresses.
NO_CASES = ("scheduler/layout/", "api/forecast_backtest/", "docs/", "DEVELOPERS.md")
JINJA = re.compile(r"(?s)\{#.*?#\}|\{[%{](.*?)[%}]\}")
QUOTED = re.compile(r'"((?:[^"\\]|\\.)*)"' + r"|'((?:[^'\\]|\\.)*)'|`((?:[^`\\]|\\.)*)`")


def said(text: str) -> str:
    """Return of a quoted text what is a sentence or a word to be read; names that the code uses have no blank."""
    return text if " " in text.strip() else ""


def in_template(text: str) -> str:
    """Return what a template shows: its text, what is read of its tags, and the sentences in its expressions."""
    quoted = " \n".join(said(a or b) for m in JINJA.finditer(text) for a, b, _ in QUOTED.findall(m[1] or ""))
    plain = JINJA.sub(" x ", text)
    attributes = " \n".join(re.findall(r'\b(?:aria-label|title|placeholder|alt)="([^"]*)"', plain))
    return re.sub(r"(?s)<(style|script)\b.*?</\1>|<[^>]+>", " ", plain) + "\n" + attributes + "\n" + quoted


def in_python(text: str) -> str:
    """Return the sentences of a module but for its docstrings: what is refused, told, asked and printed."""
    tree = ast.parse(text)
    documents = {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef)
        and node.body
        and isinstance(node.body[0], ast.Expr)
    }
    within = {id(part) for node in ast.walk(tree) if isinstance(node, ast.JoinedStr) for part in node.values}
    parts = []
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            whole = "".join(str(v.value) if isinstance(v, ast.Constant) else "{}" for v in node.values)
            parts.append(said(whole) if re.search(r"[a-z]{3} [a-z]", whole) else "")
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in documents | within:
            parts.append(said(node.value))
    return "\n".join(parts)


def in_page(text: str) -> str:
    """Return the prose of a page of documentation."""
    return re.sub(r"(?s)```.*?```|`[^`\n]+`|\]\([^)]*\)", " ", text)


def in_script(text: str) -> str:
    """Return the sentences that a page's script shows."""
    code = re.sub(r"(?s)/\*.*?\*/|(?m:(?<!:)//.*$)", "", text)
    return "\n".join(said(a or b or c) for a, b, c in QUOTED.findall(code))


@pytest.fixture(scope="module")
def read() -> dict[str, str]:
    """What a user reads of each file: not read before a test asks, as every process of the suite imports this."""
    return dict(_read())


def _read() -> Iterator[tuple[str, str]]:
    kinds = [
        ("api/templates/**/*.html", in_template), ("api/**/*.py", in_python), ("scheduler/**/*.py", in_python),
        ("docs/*.md", in_page), ("README.md", in_page), ("CHANGELOG.md", in_page), ("DEVELOPERS.md", in_page),
        ("api/web/src/**/*.ts", in_script),
    ]  # fmt: skip
    for pattern, reader in kinds:
        for path in sorted(ROOT.glob(pattern)):
            name = path.relative_to(ROOT).as_posix()
            if not re.search(r"node_modules|/migrations/|/tables/|\.test\.ts$", name):
                yield name, reader(path.read_text())


@pytest.mark.parametrize("word", FORBIDDEN)
def test_nobody_reads_words_of_other_trades(read: dict[str, str], word: str) -> None:
    found = [
        f"{name}: …{text[max(0, m.start() - 40) : m.end() + 30]}…".replace("\n", " ")
        for name, text in read.items()
        if "case" not in word or not name.startswith(NO_CASES)
        for m in re.finditer(word, text, re.IGNORECASE)
    ]
    assert not found, f"say: {FORBIDDEN[word]}"


def test_nobody_reads_them_in_spanish_either() -> None:
    """A word of a help desk comes back by a translation; the core's catalogue has its load cases."""
    found = []
    for name in ("messages", "pages", "phone", "refusals"):
        with (ROOT / f"api/languages/es/LC_MESSAGES/{name}.po").open("rb") as file:
            texts = [str(message.string) for message in read_po(file, locale="es")]
        assert len(texts) > 20
        found += [
            text for text in texts if re.search(r"\b(?:casos?(?! de carga)|borrador(?:es)?)\b", text, re.IGNORECASE)
        ]
    assert not found


@pytest.mark.parametrize(
    ("reader", "text", "shown"),
    [
        (
            in_template,
            "<p title=\"an open case\">{{ 'the case is' if case else x }}</p>",
            ["an open case", "the case is"],
        ),
        (in_python, 'def f():\n    """A draft."""\n    return f"{n} drafts to tell", "draft"', ["{} drafts to tell"]),
        (in_script, 'say("no case"); // a draft\nconst a = "draft";', ["no case"]),
        (in_page, "an account `of account`", ["an account"]),
    ],
)
def test_what_is_read_is_told_from_what_the_code_says(reader: object, text: str, shown: list[str]) -> None:
    found = reader(text)  # type: ignore[operator]
    assert all(re.search(words, found) for words in map(re.escape, shown))
    assert found.count("draft") == sum(words.count("draft") for words in shown)
    assert found.count("account") == sum(words.count("account") for words in shown)
