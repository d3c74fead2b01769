"""The kinds of rows by what people look for on the page of all."""

from __future__ import annotations

from api.languages import to_say
from api.office.kind import Kind
from api.office.kinds import KINDS

# One that is named in none stands at the end.
GROUPS = (
    (to_say("The work"), ("customers", "sites", "jobs")),
    (to_say("Who works"), ("people", "crews", "days-off")),
    (to_say("What they take along"), ("vans", "van-days", "tools", "out-of-order")),
    (to_say("Yards and shelves"), ("yards", "shelf")),
    (to_say("Awnings sold"), ("maker-orders", "models", "model-sizes", "model-parts", "packed")),
    (to_say("Kinds of work"), ("work-kinds", "callbacks", "follow-ons", "racks", "yearly")),
    (to_say("Before a visit"), ("gates", "usual-gates")),
)


def grouped() -> list[tuple[str, list[Kind]]]:
    """Return the groups with their kinds, those of no group last."""
    named = {kind for _, kinds in GROUPS for kind in kinds}
    rest = tuple(kind for kind in KINDS if kind not in named)
    return [(title, [KINDS[kind] for kind in kinds]) for title, kinds in (*GROUPS, (to_say("More"), rest)) if kinds]
