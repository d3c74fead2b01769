"""A played season as it stood at the end of its last whole day, to be gone on with from there."""

from __future__ import annotations

import pickle
import sqlite3
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.wires.season import Season

BASE = "eaveboard.sqlite"


@dataclass(frozen=True)
class KeptSeason:
    """The folder of one season: `folder`/data is the service's, beside it what is kept after each day."""

    folder: Path

    @property
    def data(self) -> Path:
        return self.folder / "data"

    @property
    def days(self) -> int:
        """How many days of it have been played and kept."""
        return int(self._read()["days"]) if self._state.exists() else 0

    @property
    def figures(self) -> dict[str, Any]:
        """What came of those days (`Season.figures`); empty where none is kept."""
        found: dict[str, Any] = self._read()["figures"] if self._state.exists() else {}
        return found

    def keep(self, season: Season) -> None:
        """Keep the season as it stands: the database, and what is counted of it."""
        copy = self.folder / "new.sqlite"
        copy.unlink(missing_ok=True)
        with closing(sqlite3.connect(self.data / BASE)) as base, closing(sqlite3.connect(copy)) as into:
            base.backup(into)
        state = {
            "days": season.tally.days, "now": season.doors.now, "tally": season.tally, "promised": season.promised,
            "began": season.began, "broken": season.broken, "did": season.office.did,
            "figures": season.figures(),
        }  # fmt: skip
        new = self.folder / "new.pickle"
        new.write_bytes(pickle.dumps(state))
        copy.replace(self.folder / BASE)
        new.replace(self._state)

    def bring_back(self) -> None:
        """Put the database back as it was kept; to be done before a service is started on it."""
        for stale in self.data.glob(f"{BASE}*"):
            stale.unlink()
        with closing(sqlite3.connect(self.folder / BASE)) as kept, closing(sqlite3.connect(self.data / BASE)) as into:
            kept.backup(into)

    def go_on(self, season: Season) -> None:
        """Have a season that was just made stand as it was kept."""
        state = self._read()
        season.doors.now = state["now"]
        season.tally, season.promised, season.began = state["tally"], state["promised"], state["began"]
        season.broken, season.office.did = state["broken"], state["did"]

    @property
    def _state(self) -> Path:
        return self.folder / "season.pickle"

    def _read(self) -> dict[str, Any]:
        found: dict[str, Any] = pickle.loads(self._state.read_bytes())
        return found
