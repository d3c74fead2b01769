"""How a sentence names a crew, so that a verb for one agrees: the crew Lea and Bo does not work."""

from __future__ import annotations

import re

_SEVERAL = re.compile(r" (?:and|y|e) |[,/&+]")


def is_of_several(name: str) -> bool:
    """Say whether a crew's name reads as that of several people."""
    return _SEVERAL.search(name) is not None


def crew_begins(name: str) -> str:
    """Return a crew's name as a sentence begins with it."""
    return f"The crew {name}" if is_of_several(name) else name


def crew_goes_on(name: str) -> str:
    """Return a crew's name as it stands in the middle of a sentence."""
    return f"the crew {name}" if is_of_several(name) else name
