"""Where two crews meet at a lift, as the week sheet says it in the cells of both."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from scheduler.reports.sheet import Sheet
from scheduler.week import Week


@dataclass(frozen=True)
class CrewsMeet:
    """The names of the crew that does a job and of the one that helps with the lift, when, and with how many people."""

    crew: str
    second: str
    start: int
    end: int
    hands: int


def meetings(week: Week, laid_out: Sheet, names: Mapping[str, str]) -> dict[str, CrewsMeet]:
    """Return by job where two crews meet; `names` is what crews are called, by id."""
    asked = {job.id: job.assist for job in week.jobs if job.assist is not None}
    does = {entry.job: cell.crew for cell in laid_out.cells for entry in cell.visits}
    found = {}
    for cell in laid_out.cells:
        for entry in cell.entries:
            if "assist" in entry.marks and entry.job in does and entry.job in asked:
                crew, second = (names.get(one, one) for one in (does[entry.job], cell.crew))
                found[entry.job] = CrewsMeet(crew, second, entry.start, entry.end, asked[entry.job].hands)
    return found
