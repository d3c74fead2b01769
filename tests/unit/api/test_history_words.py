from __future__ import annotations

import datetime
from typing import Any

import pytest

from api.ledger.history import in_words
from api.tables import History


def line(did: str, noun: str, noun_id: str, detail: dict[str, Any]) -> History:
    return History(at=datetime.datetime(2027, 4, 9, tzinfo=datetime.UTC), by="olive", did=did, noun=noun,
                   noun_id=noun_id, detail=detail)  # fmt: skip


@pytest.mark.parametrize(
    ("did", "noun", "detail", "words"),
    [
        ("changed", "visit", {"due_on": ["2027-04-16", None]},
         "olive changed the visit: due on from Fri Apr 16 to nothing"),
        ("changed", "visit", {"skip_cents": [150000, 90000]}, "olive changed the visit: skip from $1,500 to $900"),
        ("made", "visit", {"kind": "install", "skills": ["masonry"], "version": 1, "hours": []},
         "olive made the visit: kind “install”; skills “masonry”"),
        ("changed", "survey", {"document": [{"a": 1}, {"a": 2}]}, "olive changed the survey: document anew"),
        ("changed", "site", {"gate": [True, False]}, "olive changed the site: gate from yes to no"),
        ("reset password", "password", {}, "olive reset password"),
        ("counted", "day_link", {"pieces": 3}, "olive counted the day link: pieces 3"),
        ("changed", "x", {f"k{n}": n for n in range(12)},
         "olive changed the x: " + "; ".join(f"k{n} {n}" for n in range(8)) + "; …"),
    ],
)  # fmt: skip
def test_a_line_is_a_sentence(did: str, noun: str, detail: dict[str, Any], words: str) -> None:
    assert in_words(line(did, noun, "J-1", detail), of="J-1") == words


def test_other_things_are_named_and_long_words_cut() -> None:
    words = in_words(line("changed", "site", "S-1", {"access": ["", "x" * 90]}), of="J-1")
    assert words == f"olive changed the site S-1: access from nothing to “{'x' * 60}…”"
