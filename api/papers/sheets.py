"""The sheets of a wall drawing, which are kept as one text: the first to drill by, then the later ones."""

from __future__ import annotations

import re
from collections.abc import Sequence

_BETWEEN = re.compile(r"(?<=</svg>)\n(?=<svg )")


def joined(sheets: Sequence[str]) -> str:
    """Return the sheets of a drawing as the one text that is kept of it."""
    return "\n".join(sheet.rstrip("\n") for sheet in sheets)


def sheets_of(drawing: str | None) -> list[str]:
    """Return the sheets of a drawing that is kept, the first first; none of None."""
    return [f"{sheet}\n" for sheet in _BETWEEN.split(drawing)] if drawing else []
