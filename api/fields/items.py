"""What pieces, tools and ladders are called where people read of them: "stepladder 8 ft", never `stepladder-8`."""

from __future__ import annotations

import re

from api.languages import gettext, to_say
from api.languages.core import core_says

# A piece of its own on a list; within the core's sentences the same word has an article in some languages.
_ALONE = (to_say("valance"),)
_SIZED = re.compile(r"(stepladder|ladder)-([0-9]{1,2})")
_ID = re.compile(r"[a-z0-9]+(-[a-z0-9]+)+")


# Skills by which walls and motors ask for people, under the names that pages say.
_SKILLS = {"motor-setup": "motor set-up", "roof-mount": "roof mount"}


def skill_name(skill: str) -> str:
    """Return what a skill is called, in the language spoken; those of the business's own keep their words."""
    return gettext(_SKILLS.get(skill, skill.replace("-", " ")))


def item_name(item: str) -> str:
    """Return what an item of a kit or shelf, or a yard's ladder or tool, is called, in the language spoken.

    `item`: its name, or its id, of which hyphens become blanks; names of the business's own stay as they are.
    """
    told = gettext(item) if item in _ALONE else core_says(item)
    if told != item:
        return told
    if (sized := _SIZED.fullmatch(item)) is not None:
        return f"{sized[1]} {sized[2]} ft"
    return item.replace("-", " ") if _ID.fullmatch(item) else item
