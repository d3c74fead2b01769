"""What planning needs to know of one visit."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass

from scheduler.plan import Because


@dataclass(frozen=True)
class Needs:
    """What preparation found out about one visit.

    `ready_on` is the day from which its own kit is whole, None where nobody can say; `because` then says why.
    `yard_id` is the yard that its crew must come from: where its kit or its rack is; None: any.
    `parts` come from the yard's shelf, item to quantity; `equipment` kind to quantity.
    """

    minutes: int
    hands: int
    skills: tuple[str, ...]
    equipment: Mapping[str, int]
    parts: Mapping[str, int]
    weight_kg: int
    box_mm: int
    boxes: int
    tall_ladder: bool
    large_awning: bool
    sealant: bool
    ready_on: datetime.date | None
    because: tuple[Because, ...]
    yard_id: str | None = None
