"""The pages of the office in a language: nothing that a template says stands outside of the catalogues.

Every page is shown with each text of the catalogues in ⟦⟧ and each value that it is given in ⟪⟫: letters outside of
both are own words of the template that no catalogue holds. Words inside of expressions are looked for in the templates.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from jinja2 import Environment, nodes, pass_context
from jinja2.runtime import Context
from markupsafe import Markup

from api.access.accounts import Role
from api.http import pages as http_pages
from tests.conftest import BuiltDemo
from tests.service.cast import PAGE, anonymous, signed_in
from tests.service.languages.test_catalogues import bracketed, seen
from tests.service.posted import posted_demo
from tests.walk import pages

TEMPLATES = Path(http_pages.__file__).parents[1] / "templates"
_VALUE = re.compile(r"⟪[^⟪⟫]*⟫")
_SAID = re.compile(r"⟦[^⟦⟧\n]*(?:⟧|(?=\n)|$)")
_WORD = re.compile(r"[^\W\d_][\w’'-]+")
_UNREAD = re.compile(r"<(textarea|pre|code)\b.*?</\1>|<code>[^<]*", re.DOTALL)
# Units and names, the same in every language; addresses and codes that are shown as they are typed.
_SAME = {"min", "mm", "ft", "in", "lb", "kg", "km", "mi", "UTC", "Eaveboard", "MB", "J-1042", "English", "español"}
__all__ = ["bracketed"]  # a fixture


@pytest.fixture
def app(built: BuiltDemo, tmp_path: Path) -> Iterator[FastAPI]:
    with posted_demo(built.out, tmp_path / "data") as app:
        yield app


@pass_context
def _marked(_: Context, value: Any) -> Any:
    """Return a value in brackets of its own; Markup has its values marked already."""
    return value if isinstance(value, Markup) or value is None else f"⟪{value}⟫"


def outside(page: str) -> list[str]:
    """Return the words of a page that are neither a value nor a text of the catalogues."""
    text = seen(_UNREAD.sub("", page))
    while _VALUE.search(text):
        text = _VALUE.sub(" ", text)
    return [word for word in _WORD.findall(_SAID.sub(" ", text)) if word not in _SAME]


@pytest.mark.slow
@pytest.mark.usefixtures("bracketed")
def test_no_text_of_a_page_is_outside_the_catalogues(app: FastAPI) -> None:
    found: list[str] = []
    walked = 0
    manager, stranger = signed_in(app, Role.manager), anonymous(app)
    http_pages._templates("es").env.finalize = _marked
    for client in (manager, stranger):
        client.cookies.set("eave-language", "es")
        for walk in pages(app):
            if Role.manager not in walk.roles or (client is stranger and len(walk.roles) < len(Role)):
                continue
            answer = client.get(walk.address, headers=PAGE)
            if not answer.headers.get("content-type", "").startswith("text/html"):
                continue
            walked += 1
            assert '<html lang="es"' in answer.text.replace("⟪", "").replace("⟫", ""), walk.address
            if words := outside(answer.text):
                found.append(f"{walk.address}: {words[:12]}")
    assert not found, f"{len(found)} of {walked} pages:\n" + "\n".join(found)
    assert walked >= 60


def literals(env: Environment, path: Path) -> Iterator[str]:
    """Yield the words that expressions of a template hold outside of `_`, `ngettext` and choices of a text."""

    def of(node: nodes.Node) -> Iterator[str]:
        match node:
            case nodes.Call(node=nodes.Name(name="_" | "ngettext" | "script" | "asset" | "held_to")):
                return
            case nodes.Compare() | nodes.Test() | nodes.Extends() | nodes.Include() | nodes.Import():
                return
            case nodes.FromImport() | nodes.TemplateData():
                return
            case nodes.Getitem():
                yield from of(node.node)
                return
            case nodes.Filter():
                yield from of(node.node) if node.node is not None else ()
                return
            case nodes.Output():
                for one in node.nodes:
                    yield from of(one) if not isinstance(one, nodes.CondExpr) else chosen(one)
                return
            case nodes.Pair():
                yield from of(node.value)
                return
            case nodes.Const():
                if isinstance(node.value, str):
                    yield node.value
        for child in node.iter_child_nodes():
            yield from of(child)

    def chosen(node: nodes.Expr) -> Iterator[str]:
        """Words of which a text chooses one are in the catalogues with the whole of it."""
        match node:
            case nodes.CondExpr():
                yield from chosen(node.expr1)
                yield from chosen(node.expr2) if node.expr2 is not None else ()
            case nodes.Const():
                return
            case _:
                yield from of(node)

    yield from of(env.parse(path.read_text()))


def test_no_words_stand_in_expressions_outside_the_catalogues() -> None:
    codes = {
        " disabled data-asleep",
        "short kit",
        "new time",
        "rain date",
    }  # an attribute, and keys of what is looked up
    words = re.compile(r"[A-Za-z]{2,} [A-Za-z]|^[^\w/\"%]*[A-Z][a-z]")
    env = http_pages._templates("en").env
    found = {
        f"{path.relative_to(TEMPLATES)}: {text}"
        for path in sorted(TEMPLATES.rglob("*.html"))
        for text in literals(env, path)
        if words.search(text) and text not in codes
    }
    assert found == set()


# Of pages whose values were English once, words of them in Spanish and in English.
_VALUES = (
    ("/settings/crews", "Un minuto de más", "A minute over"),
    ("/jobs/J-1042/survey", "extremo derecho", "right end"),
    ("/promise", "instalación", ">install<"),
    ("/customers/C-001", "termínelo", "finish or cancel"),
    ("/weeks/2027-04-12", ">0.02\u00a0pulg<", ">0.02\u00a0in"),
    ("/looking-back/2027-04-12", ", north</text>", "ladder-32, north"),
)


@pytest.mark.parametrize(("address", "spanish", "english"), _VALUES)
def test_values_with_words_of_ours_are_said(app: FastAPI, address: str, spanish: str, english: str) -> None:
    manager = signed_in(app, Role.manager)
    manager.cookies.set("eave-language", "es")
    answer = manager.get(address, headers=PAGE)
    assert answer.status_code == 200
    assert spanish in answer.text
    assert english not in answer.text
