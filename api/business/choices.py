"""What the business decides for itself, part by part: shown with its meaning, checked, kept with its history."""

from __future__ import annotations

from api.business.crews import crews
from api.business.keep import Taken, changes_of, keep, mark_of, read_texts, undoing
from api.business.learned import learning
from api.business.outside import climate, forecast, places, roads
from api.business.part import BadValues, Group, Line, Part
from api.business.rows import times, weather
from api.business.rules import business, prices, week

__all__ = [
    "PARTS", "BadValues", "Group", "Line", "Part", "Taken", "changes_of", "keep", "mark_of", "read_texts",
    "undoing",
]  # fmt: skip

# In the order of the page; each makes its part from what the database holds now.
PARTS = {
    "business": business,
    "week": week,
    "prices": prices,
    "crews": crews,
    "weather": weather,
    "forecast": forecast,
    "climate": climate,
    "roads": roads,
    "places": places,
    "times": times,
    "learning": learning,
}
