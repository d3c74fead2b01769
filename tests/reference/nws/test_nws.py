"""Heat index and Beaufort force against the tables of the US National Weather Service (see source.md)."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from scheduler.weather.heat import band, heat_index_f, temp_at_heat_index_f
from scheduler.weather.limits import beaufort

EQUATION_ERROR_F = 1.3  # stated with the equation


def chart() -> list[tuple[int, int, int]]:
    with (Path(__file__).parent / "heat_index.csv").open() as file:
        rows = list(csv.DictReader(file))
    return [(int(r["temp_f"]), int(h), int(v)) for r in rows for h, v in r.items() if h != "temp_f" and v]


def test_every_cell_of_the_chart() -> None:
    """All within 1 °F. The chart leaves out the page's adjustment for damp air, which is taken off here."""
    cells = chart()
    assert len(cells) == 135
    for temp_f, humidity, printed in cells:
        damp = (humidity - 85) / 10 * (87 - temp_f) / 5 if humidity > 85 and temp_f <= 87 else 0.0
        difference = heat_index_f(temp_f, humidity) - damp - printed
        assert abs(difference) <= 1.0, (temp_f, humidity, difference)


@pytest.mark.parametrize(
    ("temp_f", "humidity", "printed"), [(90, 70, 106), (100, 40, 109), (88, 60, 95), (86, 90, 105), (104, 50, 131)]
)
def test_cells_of_the_tulsa_table(temp_f: float, humidity: float, printed: float) -> None:
    assert heat_index_f(temp_f, humidity) == pytest.approx(printed, abs=1)


def test_the_one_cell_of_the_tulsa_table_known_to_differ() -> None:
    assert heat_index_f(82, 100) == pytest.approx(95, abs=EQUATION_ERROR_F)


def test_adjustments_apply_where_the_page_says() -> None:
    """The page's two adjustments by hand: dry, 10 % at 100 °F, −3/4·√(12/17); damp, 90 % at 86 °F, +0.1."""
    dry = -42.379 + 204.901523 + 101.4333127 - 224.75541 - 68.3783 - 5.481717 + 122.874 + 8.5282 - 1.99
    assert heat_index_f(100, 10) == pytest.approx(dry - 0.75 * (12 / 17) ** 0.5, abs=0.001)
    assert heat_index_f(86, 90) == pytest.approx(105.29 + 0.5 * 0.2, abs=0.01)


def test_mild_air_takes_the_simple_form() -> None:
    """Half of temperature and Steadman's 0.5(T + 61 + 1.2(T − 68) + 0.094 R): at 70 °F and 50 %, (70 + 69.05) / 2."""
    assert heat_index_f(70, 50) == pytest.approx(69.525)


def test_bands_of_the_more_cautious_chart() -> None:
    assert [band(f) for f in (79.9, 80, 90, 103, 124.9, 125)] == [
        "", "caution", "extreme caution", "danger", "danger", "extreme danger",
    ]  # fmt: skip


def test_the_temperature_that_reaches_an_index_is_its_inverse() -> None:
    for humidity in (15, 40, 60, 80):
        assert heat_index_f(temp_at_heat_index_f(103, humidity), humidity) == pytest.approx(103, abs=0.01)


def test_beaufort_edges() -> None:
    assert [beaufort(mph) for mph in (18, 19, 24, 25, 31, 32)] == [4, 5, 5, 6, 6, 7]
    assert [beaufort(mph) for mph in (0, 1, 3, 4, 7, 8, 12, 13, 38, 39, 46, 47, 54, 55, 63, 64)] == [
        0, 1, 1, 2, 2, 3, 3, 4, 7, 8, 8, 9, 9, 10, 10, 11,
    ]  # fmt: skip
