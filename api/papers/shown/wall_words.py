"""What of a surveyed wall a job's pages and papers say in words: the zero, the wood, the bolt pattern, the shade."""

from __future__ import annotations

from dataclasses import dataclass

from api import tables
from api.languages.core import core_says
from api.papers.preparation import JobPapers
from scheduler.documents import convert
from scheduler.layout.drawing.bracket_view import pattern_words
from scheduler.layout.drawing.facts import datum_words, fact_lines
from scheduler.layout.drawing.paper.measures import Measures
from scheduler.layout.site.shade import ShadeSite, shade_words, shades


@dataclass(frozen=True)
class WallWords:
    """`datum` is what the zero is, `facts` sentences of the survey, `pattern` the bolt pattern, `shade` a day each."""

    datum: str
    facts: tuple[str, ...]
    pattern: str
    shade: tuple[str, ...]


def wall_words(job: JobPapers, site: tables.Site, business: tables.Business, year: int) -> WallWords | None:
    """Return the words on a job's wall, with the shade at its site in `year`; None without a survey."""
    survey = job.survey
    if survey is None:
        return None
    measures = Measures(convert(business.units, str, "units"))  # type: ignore[arg-type]  # the table's own check
    found = shades(survey, ShadeSite(site.lat, site.lon, business.timezone, year))
    return WallWords(
        core_says(datum_words(survey, measures)),
        tuple(map(core_says, fact_lines(survey, measures))),
        core_says(pattern_words(survey, measures)),
        tuple(map(core_says, shade_words(found))),
    )
