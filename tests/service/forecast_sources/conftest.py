"""The played service: with nothing to answer, and as the National Weather Service."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.service.forecast_sources.answers import (
    GRID,
    GUSTS,
    HOURLY,
    NOON,
    ONE,
    Service,
    document,
    grid,
    hourly,
    period,
)


@pytest.fixture(scope="module")
def server() -> Iterator[Service]:
    running = Service()
    yield running
    running.stop()


@pytest.fixture
def service(server: Service) -> Service:
    """The running server, with nothing to answer and nothing asked yet."""
    server.answers.clear()
    server.asked.clear()
    server.agents.clear()
    return server


@pytest.fixture
def nws(service: Service) -> Service:
    """The National Weather Service's three documents; the addresses named in them are on its own host, as in truth."""
    named = "https://api.weather.gov/gridpoints/TOP/31,80"
    point = {"properties": {"gridId": "TOP", "forecastHourly": f"{named}/forecast/hourly", "forecastGridData": named}}
    service.answers["/points/39.7456,-97.0892"] = document(point)
    service.answers[HOURLY] = document(hourly(period(NOON), period(ONE, "5 to 15 mph")))
    service.answers[GRID] = document(grid(windGust=GUSTS))
    return service
