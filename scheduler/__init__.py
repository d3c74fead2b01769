"""The planning core: plain functions over plain typed values; no database, web, clock, chance or environment.

Five calls are its face, `plan_week`, `replan`, `offer`, `worth` and `audit`, with the types that they take and give and
the questions that hang on them. What belongs to the engine is loaded when it is first asked for: a command that plans
nothing does not wait for compiled code and solvers.
"""

import sys
from importlib import import_module
from types import ModuleType
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from scheduler.audit import audit
    from scheduler.engine.again.apart import apart
    from scheduler.engine.again.by_hand import BY_HAND, Lock, Off, Put, Tried, by_hand, locked
    from scheduler.engine.again.compare import Comparison, compare
    from scheduler.engine.again.filling import Filling, fillings, plan_without
    from scheduler.engine.again.moves import Event, Move, move_sentence, what_changed
    from scheduler.engine.again.offers import Offer, offer, warm
    from scheduler.engine.again.replan import (
        Replanned,
        Told,
        as_it_stands,
        assists_begun_by,
        begun_by,
        changed_week,
        replan,
        told_prices,
        told_week,
    )
    from scheduler.engine.again.warm import Warm
    from scheduler.engine.by_yard import PartsLine, parts_of, plan_by_yard
    from scheduler.engine.model.build import build
    from scheduler.engine.model.fixed import Fixed, Spot, fixed_as_data, fixed_from_data
    from scheduler.engine.model.starts import NOON, Half, halves
    from scheduler.engine.planning import Progress, plan_week
    from scheduler.engine.pricing.elsewhere import Elsewhere
    from scheduler.engine.ready import make_ready
    from scheduler.engine.tiny import tiny_week
    from scheduler.engine.waiting.because import why_not_kept, with_reasons
    from scheduler.engine.worth.fairness import Fair, fair
    from scheduler.engine.worth.worth import Worth, worth

_WHERE = {
    "audit": "audit",
    "engine.planning": "Progress plan_week",
    "engine.by_yard": "PartsLine parts_of plan_by_yard",
    "engine.pricing.elsewhere": "Elsewhere",
    "engine.model.fixed": "Fixed Spot fixed_as_data fixed_from_data",
    "engine.model.build": "build",
    "engine.model.starts": "NOON Half halves",
    "engine.waiting.because": "with_reasons why_not_kept",
    "engine.again.replan": (
        "Replanned Told begun_by assists_begun_by changed_week replan as_it_stands told_prices told_week"
    ),
    "engine.again.moves": "Event Move move_sentence what_changed",
    "engine.again.offers": "Offer offer warm",
    "engine.again.apart": "apart",
    "engine.again.warm": "Warm",
    "engine.again.filling": "Filling fillings plan_without",
    "engine.again.by_hand": "BY_HAND Lock Off Put Tried by_hand locked",
    "engine.again.compare": "Comparison compare",
    "engine.worth.worth": "Worth worth",
    "engine.worth.fairness": "Fair fair",
    "engine.ready": "make_ready",
    "engine.tiny": "tiny_week",
}
_MODULE = {name: f"scheduler.{module}" for module, names in _WHERE.items() for name in names.split()}


def __getattr__(name: str) -> Any:
    if name not in _MODULE:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(_MODULE[name]), name)


class _Face(ModuleType):
    """Keeps a module from taking the name of a call: `scheduler.audit` is the function, whoever imported the module."""

    def __setattr__(self, name: str, value: Any) -> None:
        if not (name in _MODULE and isinstance(value, ModuleType)):
            super().__setattr__(name, value)


sys.modules[__name__].__class__ = _Face


__all__ = [
    "BY_HAND",
    "NOON",
    "Comparison",
    "Elsewhere",
    "Event",
    "Fair",
    "Filling",
    "Fixed",
    "Half",
    "Lock",
    "Move",
    "Off",
    "Offer",
    "PartsLine",
    "Progress",
    "Put",
    "Replanned",
    "Spot",
    "Told",
    "Tried",
    "Warm",
    "Worth",
    "apart",
    "as_it_stands",
    "assists_begun_by",
    "audit",
    "begun_by",
    "build",
    "by_hand",
    "changed_week",
    "compare",
    "fair",
    "fillings",
    "fixed_as_data",
    "fixed_from_data",
    "halves",
    "locked",
    "make_ready",
    "move_sentence",
    "offer",
    "parts_of",
    "plan_by_yard",
    "plan_week",
    "plan_without",
    "replan",
    "tiny_week",
    "told_prices",
    "told_week",
    "warm",
    "what_changed",
    "why_not_kept",
    "with_reasons",
    "worth",
]
