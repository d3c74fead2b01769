"""Reading documents that are broken as text, as JSON, or as plain data."""

from __future__ import annotations

import datetime
import json
from typing import Any, Literal

import msgspec
import pytest

from scheduler.documents import convert, decode, encode
from scheduler.errors import BadInput


class Leaf(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    size: int
    kind: Literal["short", "verified"] = "short"


class Tree(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    name: str
    day: datetime.date
    leaf: Leaf | None = None
    leaves: tuple[Leaf, ...] = ()
    named: dict[str, Leaf] = {}
    pair: tuple[float, float] = (0, 0)


GOOD = '{"name": "a", "day": "2027-03-15"%s}'


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "this tag is not valid JSON: Expecting value: line 1 column 1"),
        ("{", "this tag is not valid JSON: "),
        (GOOD % "" + "x", "this tag is not valid JSON: Extra data"),
        ("[]", "must be an object, is []"),
        ("null", "must be an object, is null"),
        ("[" * 100_000, "this tag is nested too deeply"),
        (GOOD % (', "leaf": ' + "[" * 100_000 + "]" * 100_000), "this tag is nested too deeply"),
        (GOOD % ', "leaf": {"size": 1, "size": 2}', "leaf.size: stands twice in the same object"),
        (GOOD % ', "name": "b"', "name: stands twice in the same object"),
        (GOOD % ', "leaves": [{"size": 1}, {"size": 1, "kind": "short", "kind": "short"}]', "leaves[1].kind: stands"),
        (GOOD % ', "leaf": {"size": NaN}', "leaf.size: must be a finite number, is nan"),
        (GOOD % ', "leaf": {"size": -Infinity}', "leaf.size: must be a finite number, is -inf"),
        (GOOD % ', "pair": [1, 1e999]', "pair[1]: is a number beyond all limits"),
        (GOOD % f', "leaf": {{"size": {"9" * 6000}}}', "this tag holds a number with thousands of digits"),
        (GOOD % ', "pair": [1]', "pair: must have 2 entries, is [1]"),
        (GOOD % ', "leaf": {"size": 1, "kind": "long"}', 'leaf.kind: must be "short" or "verified", is "long"'),
        (GOOD % ', "named": {"hill": {"size": 1}, "moor": {}}', "named.moor.size: is missing"),
        (GOOD % ', "named": {"hill": {"size": 1}, "moor": {"size": "x"}}', 'named.moor.size: must be a whole number'),
        ('{"name": "\\ud800", "day": "2027-03-15"}', "name: holds half a character"),
        ('{"name": "\ud800", "day": "2027-03-15"}', "name: holds half a character"),
        ('{"\\ud800": 1}', "?: holds half a character"),
    ],
)  # fmt: skip
def test_says_in_one_sentence_what_is_wrong(text: str, says: str) -> None:
    with pytest.raises(BadInput) as caught:
        decode(text, Tree, "tag")
    sentence = str(caught.value)
    assert sentence.startswith(says)
    assert "\n" not in sentence
    assert len(sentence) < 250
    sentence.encode()  # can be shown anywhere


@pytest.mark.parametrize("data", [b"\xff\xfe{\x00}\x00", b'{"name": "caf\xe9"}', b"\x80", b"\x1f\x8b\x08\x00"])
def test_bytes_that_are_not_utf8_are_refused(data: bytes) -> None:
    with pytest.raises(BadInput, match=r"not UTF-8 text|not valid JSON"):
        decode(data, Tree, "tag")


def test_plain_data_may_hold_dates_as_yaml_readers_give_them() -> None:
    tree = convert({"name": "a", "day": datetime.date(2027, 3, 15)}, Tree, "tag")
    assert tree.day == datetime.date(2027, 3, 15)


@pytest.mark.parametrize(
    ("value", "says"),
    [
        ({"name": {1, 2}}, "name: is no value that JSON can hold (set)"),
        ({"name": "a", "leaves": [{"size": b"1"}]}, "leaves[0].size: is no value that JSON can hold (bytes)"),
        ({("a", "b"): 1}, "this tag holds a key that is no text"),
        ({"name": 10**5000}, "this tag holds something that is no JSON value"),
        (7, "must be an object, is 7"),
    ],
)
def test_plain_data_that_is_no_document(value: Any, says: str) -> None:
    with pytest.raises(BadInput) as caught:
        convert(value, Tree, "tag")
    assert str(caught.value).startswith(says)


def test_a_list_within_itself_is_refused() -> None:
    ring: list[Any] = []
    ring.append(ring)
    with pytest.raises(BadInput):
        convert({"name": ring}, Tree, "tag")


def test_writing_ends_in_a_newline_and_reads_back() -> None:
    tree = Tree("é", datetime.date(2027, 3, 15), Leaf(3), (Leaf(1), Leaf(2, "verified")))
    text = encode(tree)
    assert text.endswith(b"}\n")
    assert json.loads(text)["leaves"][1] == {"size": 2, "kind": "verified"}
    assert decode(text, Tree, "tag") == tree
