"""What addresses are compared by, what candidates say, and where a pin is read from and drawn."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.fields.addresses.streets import number_and_street, question_of
from api.places.answers import PlaceFound, asked_words, judged
from api.places.pins import PinMap, distance_km, pin_text, read_pin
from scheduler.errors import BadInput


@pytest.mark.parametrize(
    ("address", "read"),
    [
        ("9 Mill Lane", ("9", "mill lane")),
        ("9  mill LN.", ("9", "mill lane")),
        ("12b N. Quarry Rd, Marl", ("12b", "north quarry road")),
        ("77 1/2 Ash St Apt 4", ("77 1/2".replace(" ", ""), "ash street")),
        ("14 5th Ave", ("14", "5th avenue")),
        ("Mill Farm", ("", "mill farm")),
        ("", ("", "")),
    ],
)
def test_an_address_has_a_number_and_a_street_however_it_is_written(address: str, read: tuple[str, str]) -> None:
    assert number_and_street(address) == read


def test_the_same_address_is_one_question() -> None:
    assert question_of("9 Mill Ln", "Tallow Bend") == question_of("9 mill lane", " tallow  bend")
    assert question_of("9 Mill Lane, Tallow Bend", "") == question_of("9 Mill Lane", "Tallow Bend")
    assert question_of("9 Mill Lane", "Marl") != question_of("9 Mill Lane", "Tallow Bend")
    assert asked_words("9 Mill Lane, Tallow Bend", "Tallow Bend") == "9 Mill Lane, Tallow Bend"


def house(lat: float, lon: float, level: str = "house") -> PlaceFound:
    return PlaceFound("x", lat, lon, level)  # type: ignore[arg-type]


def test_candidates_on_one_spot_are_one_house_and_others_are_several() -> None:
    assert judged("1 A", "", [house(41, -98), house(41.0003, -98)]).state == "one"
    several = judged("1 A", "", [house(41, -98), house(41.01, -98), house(41, -98, "street")])
    assert (several.state, len(several.places), several.sure) == ("several", 2, None)
    assert judged("1 A", "", [house(41, -98, "street"), house(41, -98, "town")]).words.startswith("Only the street")
    assert judged("1 A", "", []).state == "none"


@pytest.mark.parametrize("text", ["41.0213, -91.0305", "41.0213 -91.0305", "41.0213;-91.0305", "41.0213 N, 91.0305 W"])
def test_a_pin_is_read_as_maps_give_it(text: str) -> None:
    assert read_pin(text) == (41.0213, -91.0305)


@pytest.mark.parametrize("text", ["91, 0", "0, 181", "41", "north", "1,2,3", "41,0213, -91,0305"])
def test_what_is_no_pin_is_refused(text: str) -> None:
    with pytest.raises(BadInput):
        read_pin(text)


@given(st.floats(-90, 90), st.floats(-180, 180))
def test_a_pin_that_is_written_is_read_as_the_same_place(lat: float, lon: float) -> None:
    lat, lon = round(lat, 6), round(lon, 6)
    text = pin_text(lat, lon)
    if "e" not in text:  # below a hundredth of a millimeter nobody writes a place
        assert read_pin(text) == (lat, lon)


@given(st.floats(-60, 60), st.floats(-170, 170), st.floats(0.1, 2500), st.sampled_from(["imperial", "metric"]))
def test_the_grid_is_in_round_steps_and_the_drawing_in_kilometers(
    lat: float, lon: float, half_km: float, units: str
) -> None:
    drawn = PinMap(lat, lon, half_km, units, None, ())
    apart, lines, words = drawn.lines
    assert 1 <= len(lines) <= 11
    assert all(abs(at) <= half_km + 1e-9 for at in lines)
    number, unit = words.split()
    assert apart == pytest.approx(float(number) * (1.609344 if unit == "mi" else 1))
    east, south = drawn.at(lat + 0.05, lon + 0.05)
    assert math.hypot(east, south) == pytest.approx(distance_km(lat, lon, lat + 0.05, lon + 0.05), rel=0.003)
