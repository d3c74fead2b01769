"""Whatever is done to a document, only `BadInput` comes out, in one sentence fit to be shown."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from typing import Any

import msgspec
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from scheduler.documents import encode
from scheduler.errors import BadInput
from scheduler.plan import Plan, read_plan
from scheduler.week import Week, read_week, week_from_data
from tests.brute import cheapest
from tests.weeks import spoilt, weeks

PLANS = weeks(max_jobs=4, max_crews=2, max_days=2).map(cheapest)
KEYS = st.text(st.characters(exclude_characters="`"), max_size=3)  # it would be taken for the parser's own
ANYTHING = st.recursive(
    st.none() | st.booleans() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(KEYS, inner, max_size=3),
)
quick = settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True)


def is_fit_to_show(fault: BadInput) -> bool:
    sentence = str(fault)
    sentence.encode()
    ours = re.sub('"[^"]*"', "", sentence)  # without what it quotes, which may be anything
    return 5 < len(sentence) < 400 and "\n" not in sentence and "Traceback" not in sentence and "`" not in ours


@quick
@given(week=weeks())
def test_every_valid_week_survives_writing_and_reading(week: Week) -> None:
    assert read_week(encode(week)) == week


def reads_or_tells(read: Callable[[], object], kind: type, *, with_path: bool) -> None:
    try:
        document = read()
    except BadInput as fault:
        told = fault
    else:
        assert isinstance(document, kind)
        return
    assert is_fit_to_show(told)
    assert told.where or not with_path, str(told)


@quick
@given(data=spoilt(weeks(max_jobs=3, max_crews=2, max_days=2)))
def test_a_spoilt_week_is_read_or_refused(data: Any) -> None:
    reads_or_tells(lambda: week_from_data(data), Week, with_path=True)
    reads_or_tells(lambda: read_week(json.dumps(data)), Week, with_path=True)


@quick
@given(data=spoilt(PLANS))
def test_a_spoilt_plan_is_read_or_refused(data: Any) -> None:
    reads_or_tells(lambda: read_plan(json.dumps(data)), Plan, with_path=True)


@quick
@given(week=weeks(max_jobs=2, max_crews=1, max_days=2), data=st.data())
def test_a_week_damaged_as_text_is_read_or_refused(week: Week, data: st.DataObject) -> None:
    raw = bytearray(encode(week))
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(raw) - 1))
        raw[at : at + data.draw(st.integers(0, 3))] = data.draw(st.binary(max_size=4))
    reads_or_tells(lambda: read_week(bytes(raw)), Week, with_path=False)


@quick
@given(raw=st.one_of(st.binary(max_size=60), st.text(max_size=60)))
@example(raw=b"\x00\x00\x00{")
@example(raw="\ud800")
@example(raw='{"\ud800": {"a": 1, "a": 2}}')
@example(raw="[" * 5000)
@example(raw='{"a":' * 5000)
@example(raw="9" * 5000)
@example(raw="-" + "9" * 5000 + "e9")
def test_anything_else_is_refused(raw: bytes | str) -> None:
    for read in (read_week, read_plan):
        with pytest.raises(BadInput) as caught:
            read(raw)
        assert is_fit_to_show(caught.value)


@quick
@given(data=ANYTHING)
def test_any_plain_data_is_refused(data: Any) -> None:
    for read in (week_from_data, lambda data: read_plan(json.dumps(data))):
        with pytest.raises(BadInput) as caught:
            read(data)
        assert is_fit_to_show(caught.value)


@quick
@given(week=weeks(max_jobs=3, max_crews=2, max_days=2), data=st.data())
def test_a_key_that_stands_twice_is_refused(week: Week, data: st.DataObject) -> None:
    text = msgspec.json.encode(week).decode()
    key = data.draw(st.sampled_from([m.span() for m in re.finditer(r'"[a-z_]+":(?:\d+|null)(?=[,}])', text)]))
    doubled = f"{text[: key[1]]},{text[key[0] : key[1]]}{text[key[1] :]}"
    with pytest.raises(BadInput, match="stands twice in the same object"):
        read_week(doubled)
