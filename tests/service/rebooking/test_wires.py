"""A morning played through the public doors, in the long tests: `ops/wires` plays a season so; and its dice."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from pathlib import Path

import pytest

from api.rebooking import later
from tests.service.cast import running, settings_for
from tests.service.rebooking.cast import MONDAY, THURSDAY
from tests.wires.doors import Doors
from tests.wires.play import posted_copy
from tests.wires.season import Season
from tests.wires.world import World, forecast_csv

MORNING_SEED = 38  # on the Monday somebody is ill and a customer calls


@pytest.fixture
def doors(planned_demo: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Doors]:
    """The service over the demo with its week posted, as a played season begins."""
    monkeypatch.setattr(later, "PROMISED_S", 0.1)
    with running(settings_for(posted_copy(planned_demo, tmp_path / "data"))) as app:
        app.state.clock = lambda: THURSDAY
        yield Doors(app)


@pytest.mark.long
def test_after_an_illness_and_a_call_all_pages_are_of_one_mind(doors: Doors) -> None:
    season = Season(doors, World(MORNING_SEED), wired=True)
    season.begin()
    season.morning(MONDAY)
    told = season.figures()
    assert told["visits rebooked"] + told["let wait"] >= 2, told
    assert (season.tally.happened["sick"], season.tally.happened["call"]) == (1, 1)


def test_the_world_is_the_same_whoever_asks_and_in_whatever_order() -> None:
    one, other = World(7), World(7)
    days = [MONDAY + datetime.timedelta(days=n) for n in range(60)]
    storms = [day for day in days if one.storm(day)]
    assert storms == [day for day in reversed(days) if other.storm(day)][::-1]
    assert one.takes("J-1", 100) == other.takes("J-1", 100)
    assert 0 < len(storms) < 20


def test_a_storm_stands_in_the_forecast_by_local_time() -> None:
    hours = [f"2027-04-12T{hour:02}:00Z,2.0,3.0,0.0,0.0,0.0,8.0,0.7" for hour in range(24)]
    pattern = "start_utc,wind_mps,gust_mps,rain_mm,rain_chance,thunder_chance,temp_c,humidity\n" + "\n".join(hours)
    made = forecast_csv(pattern, MONDAY, {MONDAY + datetime.timedelta(days=1)}, days=3).splitlines()
    blown = [line[:13] for line in made if ",25.0," in line]
    assert (blown[0], blown[-1], len(blown)) == ("2027-04-13T05", "2027-04-14T04", 24)
