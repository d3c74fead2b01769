"""Every kind of thing that the auditor finds is read in Spanish: on a refused posting, at a move by hand."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest

from api.languages import speaking
from api.languages.core import refused_says
from scheduler.audit import RULES, audit
from tests.plans2 import cases2
from tests.unit.test_audit import BROKEN

_WORD = re.compile(r"[^\W\d_]{2,}")
# What stays as it is in any language: names, parts and skills of the weeks of these tests, codes, and words of both.
_SAME = {
    "alder", "birch", "cedar", "dogwood", "oak", "elm", "pine", "yard", "annex", "scaffold", "anchor", "shim", "wiring",
    "roofs", "masonry", "kg", "mm", "kit", "last", "by", "hand", "plan", "week", "no", "north",
}  # fmt: skip


def _english_left(sentence: str) -> set[str]:
    with speaking("es"):
        return set(_WORD.findall(refused_says(sentence))) & set(_WORD.findall(sentence)) - _SAME


@pytest.mark.parametrize("sentence", [says for _, _, _, says in BROKEN])
def test_what_a_rule_says_is_read_in_spanish(sentence: str) -> None:
    assert _english_left(sentence.replace("ard yard", "ard north")) == set()


def test_so_is_what_the_rules_of_second_crews_and_reloads_say() -> None:
    said = dict(_of_the_second_format())
    assert {rule for _, rule in said.items()} >= {"assist", "reload"}
    assert len(said) > 40
    for sentence in said:
        assert _english_left(re.sub(r"\b(crew|job)-", "n", sentence)) == set(), sentence


def _of_the_second_format() -> Iterator[tuple[str, str]]:
    for week, plan in cases2(7, 12, 12):
        for breach in audit(week, plan).broken_rules:
            if breach.rule in ("assist", "reload", "travel", "service"):
                yield breach.sentence, breach.rule


def test_every_rule_but_those_on_figures_of_the_plan_itself_is_among_these() -> None:
    assert RULES.keys() - {rule for rule, *_ in BROKEN} == {"one_route", "assist", "reload", "cost", "bound"}
