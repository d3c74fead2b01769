"""A few of the damaged inputs that `python -m tests.fuzzed` gives to every reader, and those that once broke one."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable
from zoneinfo import ZoneInfo

import pytest

from api.business.begin import unpacked
from api.office.files.busy import USUAL, busy_rows
from scheduler.errors import BadInput
from scheduler.weather.climate import climate_from_csv
from scheduler.weather.forecast import forecast_from_csv
from scheduler.weather.limits import read_limits
from tests.fuzzed import NOW, fuzz, readers

MEETING = "BEGIN:VCALENDAR\r\nBEGIN:VEVENT\r\nUID:1\r\n{}\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n"


def test_every_reader_refuses_what_is_damaged_or_takes_it() -> None:
    told, faults = fuzz(10 * len(readers()), seed=1)
    assert faults == []
    assert {name.split(":")[0] for name in told} == set(readers())


def _forecast(text: str) -> object:
    return forecast_from_csv(text, "x", NOW)


@pytest.mark.parametrize("read", [climate_from_csv, read_limits, _forecast])
@pytest.mark.parametrize("text", ["a,b\rc,d\ne", "x" * 200_000])
def test_what_is_no_table_is_refused(read: Callable[[str], object], text: str) -> None:
    with pytest.raises(BadInput):
        read(text)


@pytest.mark.parametrize(
    "moments",
    ["DTSTART:20270412T090000Z\r\nDTSTART:20270413T090000Z", "DTSTART:19980312T,,,,", "DTSTART:20270412\r\nDTEND:x"],
)
def test_a_calendar_with_a_spoilt_moment_is_refused(moments: str) -> None:
    who = {"P-1": dict.fromkeys(range(5), USUAL)}
    with pytest.raises(BadInput, match="cannot be read"):
        busy_rows(MEETING.format(moments).encode(), "a.ics", who, ZoneInfo("America/Chicago"), NOW.date())


def test_a_pack_that_is_damaged_anywhere_is_refused() -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("business.yaml", "name: Marl Awnings\n" * 40)
    data = out.getvalue()
    for at in range(0, len(data), 3):
        for spoilt in (data[:at] + b"\xff" + data[at + 1 :], data[:at] + data[at + 7 :], data[:at]):
            try:
                with unpacked(spoilt, "mine.zip"):
                    pass
            except BadInput:
                continue
