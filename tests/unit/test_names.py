"""One name, one thing: no public class of the product has a name that another one has too."""

from __future__ import annotations

import ast
from collections import defaultdict
from pathlib import Path

ROOT = Path(__file__).parents[2]
# The row of a table and the part of a document that it becomes are one thing in two forms, told apart by their module
# (`tables.Crew`, `week.Crew`), and so is what the roster calls a person or a van.
FORMS = {
    "Awning", "Booking", "Business", "Crew", "Equipment", "KitState", "Lock", "Person", "Site", "Van", "Visit", "Yard",
}  # fmt: skip


def test_no_two_classes_share_a_name() -> None:
    places: dict[str, list[str]] = defaultdict(list)
    for folder in ("api", "scheduler"):
        for path in sorted((ROOT / folder).rglob("*.py")):
            for node in ast.parse(path.read_text("utf-8")).body:
                if isinstance(node, ast.ClassDef) and not node.name.startswith("_") and node.name not in FORMS:
                    places[node.name].append(str(path.relative_to(ROOT)))
    assert {name: paths for name, paths in places.items() if len(paths) > 1} == {}
