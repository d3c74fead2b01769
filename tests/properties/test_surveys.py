"""Any survey is refused in a sentence or laid out in full; nothing else ever happens."""

from __future__ import annotations

import json
import random
from typing import Any

import msgspec
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from scheduler.documents import decode, encode
from scheduler.errors import BadInput
from scheduler.layout.compute import lay_out
from scheduler.layout.documents import CARRIES_NOTHING, Layout, Survey, read_survey, survey_from_data
from tests.surveys import random_second, random_survey

SAME = 0.001
seeds = st.integers(0, 2**32)
oddities = st.one_of(
    st.floats(), st.integers(), st.sampled_from([0, -1, 1, 0.001, 5, 12.7, 304.8, 20_000, 100_000, 1e308, "", "x"]),
    st.none(), st.booleans(), st.lists(st.floats(-1000, 10_000), max_size=6), st.just({}), st.text(max_size=3),
)  # fmt: skip


def _laid_out(survey: Survey, at_least: int = 0) -> Layout:
    """Return the layout, after checking what every layout must keep."""
    layout = lay_out(survey, at_least)
    assert decode(encode(layout), Layout, "layout file") == layout
    assert layout == lay_out(survey, at_least)
    levels = [["stop", "caution", "note"].index(finding.level) for finding in layout.findings]
    assert levels == sorted(levels)
    awning, place = survey.awning, survey.place
    if not layout.brackets:
        assert 0 in levels, "a layout without brackets says why"
        assert layout.spread is None
        return layout
    assert survey.wall.kind not in CARRIES_NOTHING
    assert len(layout.brackets) == layout.required
    assert abs(layout.shift) < place.slide + SAME
    left = place.left_end + layout.shift
    assert left > survey.band.left - SAME
    assert left + awning.width < survey.band.right + SAME
    half, previous = awning.bracket_width / 2, -1e9
    for bracket in layout.brackets:
        assert abs(bracket.wall - left - bracket.at) < SAME
        assert bracket.at - half > -SAME
        assert bracket.at + half < awning.width + SAME
        assert all(abs(bracket.at - arm) > awning.arm_half + half - SAME for arm in awning.arms)
        assert bracket.at - previous > awning.bracket_width - SAME
        if bracket.member is not None:
            assert abs(survey.wall.members[bracket.member] - bracket.wall) < SAME
        else:
            assert abs(bracket.at / 5 - round(bracket.at / 5)) < SAME
        previous = bracket.at
    for bracket, arm in ((layout.brackets[0], 0), (layout.brackets[-1], len(awning.arms) - 1)):
        assert bracket.arm == arm
        assert abs(bracket.at - awning.arms[arm]) < 304.8 + SAME
    assert all(bracket.arm is None for bracket in layout.brackets[1:-1])
    return layout


@settings(max_examples=150, deadline=None)
@given(seeds, st.sampled_from([0, 0, 0, 5, 9]))
def test_every_layout_keeps_the_rules(seed: int, at_least: int) -> None:
    for survey in (random_survey(random.Random(seed)), random_second(random.Random(seed))):
        assert read_survey(encode(survey)) == survey
        _laid_out(survey, at_least)


def _paths(value: Any, path: tuple[str | int, ...] = ()) -> list[tuple[str | int, ...]]:
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    return [path, *(found for key, part in inner for found in _paths(part, (*path, key)))]


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(seeds, st.lists(st.tuples(st.integers(0, 10_000), oddities), min_size=1, max_size=4), st.booleans())
def test_a_survey_with_odd_values_is_refused_or_laid_out(seed: int, odd: list[tuple[int, Any]], remove: bool) -> None:
    made = random_second if seed % 2 else random_survey
    data = json.loads(encode(made(random.Random(seed))))
    for where, value in odd:
        paths = _paths(data)[1:]
        *parents, last = paths[where % len(paths)]
        part: Any = data
        for key in parents:
            part = part[key]
        if remove and isinstance(part, dict) and value is None:
            del part[last]
        else:
            part[last] = value
    survey, sentence = None, ""
    try:
        survey = survey_from_data(data)
    except BadInput as refused:
        sentence = str(refused)
    if survey is not None:
        _laid_out(survey)
    else:
        assert 0 < len(sentence) < 400


@settings(max_examples=100, deadline=None)
@given(st.binary(max_size=60) | st.text(max_size=60).map(str.encode))
def test_what_is_no_survey_is_refused(data: bytes) -> None:
    try:
        read_survey(data)
    except BadInput:
        return
    raise AssertionError("taken as a survey")


@settings(max_examples=60, deadline=None)
@given(seeds)
def test_a_layout_does_not_depend_on_the_order_of_the_members(seed: int) -> None:
    rng = random.Random(seed)
    survey = random_survey(rng, kind="wood-studs")
    members = list(survey.wall.members)
    rng.shuffle(members)
    mixed = msgspec.structs.replace(survey, wall=msgspec.structs.replace(survey.wall, members=tuple(members)))
    assert [b.wall for b in lay_out(mixed).brackets] == [b.wall for b in lay_out(survey).brackets]
