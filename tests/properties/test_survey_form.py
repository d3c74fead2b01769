"""The survey form loses nothing: every document comes out of it as it went in, in either measure."""

from __future__ import annotations

import random
from pathlib import Path

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from api.survey.compare import differences, merged
from api.survey.form import fields_of, read_fields, sketch
from scheduler.layout.documents import Survey, survey_from_data
from tests.surveys import random_second

pytestmark = pytest.mark.slow

DEMO = sorted((Path(__file__).parents[2] / "seeds" / "demo" / "surveys").glob("*.yaml"))
SECOND_ONLY = {"datum.name", "datum.control.what", "datum.control.at", "awning.valance", "place.under"} | {
    f"anchor.{name}" for name in ("base", "hole", "hole_depth", "embedment", "edge", "spacing", "torque_nm")
}
seeds = st.integers(0, 2**32 - 1)
units = st.sampled_from(["imperial", "metric"])


def drawn(seed: int) -> Survey:
    return random_second(random.Random(seed))


@pytest.mark.parametrize("path", DEMO, ids=lambda path: path.stem)
def test_every_survey_of_the_demo_goes_through_the_form_unchanged(path: Path) -> None:
    survey = survey_from_data(yaml.safe_load(path.read_text())["survey"])
    for measure in ("imperial", "metric"):
        reading = read_fields(fields_of(survey, measure), survey.id, measure)
        if survey.is_second:
            assert reading.faults == {}
            assert reading.survey == survey
        else:  # the form asks for what the first form lacks, and loses nothing of the rest
            assert reading.wrong == {}
            assert set(reading.missing) <= SECOND_ONLY
            assert "datum.name" in reading.missing
            assert sketch(reading)[0] is not None


@settings(deadline=None)
@given(seeds, units)
def test_document_to_form_to_document_loses_nothing(seed: int, measure: str) -> None:
    survey = drawn(seed)
    fields = fields_of(survey, measure)
    reading = read_fields(fields, survey.id, measure)
    assert reading.survey == survey
    assert fields_of(reading.survey, measure) == fields
    assert sketch(reading) == (survey, [])


@settings(deadline=None)
@given(seeds, seeds)
def test_two_forms_differ_in_nothing_or_in_what_they_mean(one: int, other: int) -> None:
    first, second = drawn(one), drawn(other)
    assert differences(fields_of(first, "imperial"), fields_of(first, "metric"), {}) == []
    found = differences(fields_of(first), fields_of(second), {})
    same = first == Survey(**{**{f: getattr(second, f) for f in Survey.__struct_fields__}, "id": first.id})
    assert (found == []) == same


@settings(deadline=None)
@given(seeds, seeds, st.randoms())
def test_choosing_loses_nothing_of_what_was_chosen(one: int, other: int, chance: random.Random) -> None:
    mine, theirs = fields_of(drawn(one)), fields_of(drawn(other))
    found = differences(mine, theirs, {})
    picks = {each.name: chance.choice(["mine", "theirs"]) for each in found}
    made = merged(mine, theirs, picks)
    left = {each.name for each in differences(made, mine, {})}
    assert left == {name for name, side in picks.items() if side == "theirs"}
    assert {each.name for each in differences(made, theirs, {})} == {n for n, side in picks.items() if side == "mine"}
    assert differences(merged(mine, theirs, dict.fromkeys(picks, "theirs")), theirs, {}) == []


@settings(deadline=None)
@given(seeds, st.data())
def test_a_form_with_anything_in_a_field_is_read_or_refused_by_field(seed: int, data: st.DataObject) -> None:
    fields = fields_of(drawn(seed))
    name = data.draw(st.sampled_from(sorted(fields)))
    reading = read_fields({**fields, name: data.draw(st.text(max_size=30))}, "x")
    assert (reading.survey is None) == bool(reading.faults)
    assert all(words.endswith((".", "!", "?")) for words in reading.faults.values())
    sketch(reading)


@settings(deadline=None)
@given(seeds, st.data())
def test_a_form_that_is_half_filled_can_be_drawn_or_says_why_not(seed: int, data: st.DataObject) -> None:
    fields = fields_of(drawn(seed))
    gone = data.draw(st.sets(st.sampled_from(sorted(fields)), max_size=30))
    reading = read_fields({name: text for name, text in fields.items() if name not in gone}, "x")
    survey, usual = sketch(reading)
    assert survey is not None or reading.wrong
    assert bool(usual) <= bool(reading.missing)
