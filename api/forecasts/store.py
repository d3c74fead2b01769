"""The last good forecast of each place, kept on disk for when the service is away."""

from __future__ import annotations

import datetime
import hashlib
import tempfile
from pathlib import Path
from typing import Any

import msgspec

from scheduler.errors import BadInput
from scheduler.weather.forecast import Forecast, checked


class KeptForecast(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A forecast as it was got at `fetched` (UTC), with the notes of then."""

    fetched: datetime.datetime
    notes: tuple[str, ...]
    forecast: Forecast


class ForecastStore:
    """Files in one folder, one a place and service; a file that cannot be read counts as none.

    Writing replaces the file in one step, so that a reader never sees half of one.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def load(self, key: str) -> KeptForecast | None:
        try:
            kept = msgspec.json.decode(self._file(key).read_bytes(), type=KeptForecast)
            checked(kept.forecast)
        except (OSError, msgspec.MsgspecError, BadInput, UnicodeDecodeError):
            return None
        return kept

    def save(self, key: str, kept: KeptForecast) -> None:
        """Keep a forecast; raises `OSError` where the folder cannot be written."""
        self._write(self._file(key), msgspec.json.encode(kept))

    def load_value(self, key: str) -> Any:
        """Return a plain value kept under `key`, None where there is none."""
        try:
            return msgspec.json.decode(self._file(key).read_bytes())
        except (OSError, msgspec.MsgspecError, UnicodeDecodeError):
            return None

    def save_value(self, key: str, value: Any) -> None:
        self._write(self._file(key), msgspec.json.encode(value))

    def _file(self, key: str) -> Path:
        return self.folder / f"{hashlib.sha256(key.encode()).hexdigest()[:24]}.json"

    def _write(self, file: Path, data: bytes) -> None:
        self.folder.mkdir(parents=True, exist_ok=True)
        with tempfile.NamedTemporaryFile(dir=self.folder, suffix=".part", delete=False) as part:
            part.write(data)
        Path(part.name).replace(file)
