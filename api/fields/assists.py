"""What a second crew is asked for, checked as a whole: the same for forms, files and programs."""

from __future__ import annotations

from collections.abc import Sequence

from scheduler.errors import BadInput


def check_assist(
    minutes: int | None, hands: int | None, first: int | None, last: int | None, skills: Sequence[str],
    work_min: int | None,
) -> None:  # fmt: skip
    """Raise `BadInput`, naming the column, where what is asked of a second crew does not fit together.

    minutes, hands: for how long it comes, with how many people; both or neither. first, last: from when to when after
    the start of the work it may begin, in minutes. work_min: how long the work takes, None: not known yet.
    """
    asked = hands is not None or first is not None or last is not None or bool(skills)
    if minutes is None:
        if asked:
            raise BadInput("assist_minutes", "must say for how many minutes the second crew comes, is empty")
        return
    if hands is None:
        raise BadInput("assist_hands", "must say with how many people the second crew comes, is empty")
    begin = first or 0
    if last is not None and last < begin:
        raise BadInput("assist_to", f"must not come before the earliest minute ({begin}), is {last}")
    ends = (begin if last is None else last) + minutes
    if work_min is not None and ends > work_min:
        raise BadInput("assist_minutes", f"must lie within the {work_min} minutes of the work, would end at {ends}")
