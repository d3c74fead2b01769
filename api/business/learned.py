"""How what finished jobs teach is taken over: by somebody, or by itself inside bounds."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlmodel import Session

from api.business.part import Group, Line, Part, chosen
from api.fields.files.sheets import whole
from api.http import versions
from api.tables import LearningRule

HOW = (("no", "when somebody says so"), ("yes", "by itself, inside the bounds below"))


def learning(session: Session) -> Part:
    """Return the part on taking over what finished jobs teach."""
    row = session.get(LearningRule, 1)
    now = row or LearningRule()
    lines = (
        Line("auto", "New times are taken over", "yes" if now.auto else "no", chosen(HOW), choices=HOW,
             meaning="Fitted every night to the jobs that crews noted as done."),
        Line("most_percent", "By itself, at most", str(now.most_percent), lambda text: whole(text, 1, 100), unit="%",
             meaning="Change of a kind's middle time. A fit that meets held-back jobs worse is never taken by itself."),
    )  # fmt: skip

    def write(session: Session, values: Mapping[str, Any]) -> bool:
        kept = {"auto": values["auto"] == "yes", "most_percent": values["most_percent"]}
        if row is not None:
            return versions.update(session, row, kept)
        session.add(LearningRule(**kept))
        session.flush()
        return True

    return Part("learning", "Learning", "What finished jobs teach of task times and drives.",
                (Group("", lines=lines),), write, more=("/learning", "Planned and actual"))  # fmt: skip
