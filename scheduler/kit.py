"""The parts list of an install, the bench count of its opened crate against it, and the four conditions of a kit.

Quantities of sealant, shims and spares are common practice, no published source; the maker's own list goes first.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import Literal

import msgspec

from scheduler.errors import BadInput
from scheduler.layout.documents import WOOD, Layout, Survey
from scheduler.layout.site.tools import Tool
from scheduler.layout.statics.lag import fastener_name

# Each a rule of the shop: one spare fastener in ten begun, two at least; a pair of shims a bracket; a cartridge of
# sealant for twenty holes begun; a box a foot longer than the awning and a tenth heavier.
SPARE_IN = 10
LEAST_SPARES = 2
SHIMS_A_BRACKET = 2
HOLES_A_CARTRIDGE = 20
BOX_LONGER_MM = 300
BOX_HEAVIER = 0.10

Condition = Literal["uncounted", "short", "verified", "loaded"]


class _Part(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Common form of all parts: frozen, every key required, no other key allowed."""


class KitItem(_Part, frozen=True):
    """`quantity` of an item: in the `crate` (the maker packs it), from the yard's `shelf`, or a tool that comes `back`.

    `equipment` is the id of a yard's shared ladder, lift or tool, None for everything else.
    """

    name: str
    quantity: int
    where: Literal["crate", "shelf", "back"]
    equipment: str | None


class Kit(_Part, frozen=True):
    """What goes out to an install: items, and the long box with its length and weight."""

    items: tuple[KitItem, ...]
    box_mm: int
    boxes: int
    weight_kg: int

    def crate(self) -> dict[str, int]:
        """Return what an opened crate is counted against."""
        return {item.name: item.quantity for item in self.items if item.where == "crate"}

    def shelf(self) -> dict[str, int]:
        """Return what is taken from the yard's shelf (a week's `jobs[].parts`)."""
        return {item.name: item.quantity for item in self.items if item.where == "shelf"}

    def equipment(self) -> dict[str, int]:
        """Return the shared ladders, lift and tools by id (a week's `jobs[].equipment`)."""
        return {item.equipment: item.quantity for item in self.items if item.equipment is not None}


class Count(_Part, frozen=True):
    """A bench count against a list: what is `short` by how many, not `uncounted` yet, and `extra` beyond the list."""

    short: dict[str, int]
    uncounted: tuple[str, ...]
    extra: dict[str, int]


def parts_list(
    survey: Survey, layout: Layout, tools: Iterable[Tool], maker: Mapping[str, int] | None = None,
    box_mm: int | None = None, boxes: int = 1,
) -> Kit:  # fmt: skip
    """Return the parts and tools of an install.

    `tools` as `layout.tools.tools_for` gives them. `maker`: the maker's parts list, item and quantity (None: the usual
    one: awning, brackets, hood, drive). What the layout needs and the maker packs comes in the crate as far as it
    goes, and the rest from the shelf; whatever else the maker lists is in the crate too. `box_mm`: the longest box,
    where known. Raises `BadInput` for a layout without brackets, and for quantities below 1.
    """
    if not layout.brackets:
        raise BadInput("brackets", f"the layout of {layout.survey} has none: settle its stops before making its kit")
    for name, quantity in (maker or {}).items():
        if quantity < 1:
            raise BadInput(f"maker.{name}", f"must be 1 or more, is {quantity}")
    awning = survey.awning
    packed = _usual_crate(survey, layout) if maker is None else dict(maker)
    needed = {"bracket": len(layout.brackets), **_shelf(survey, layout)}
    items = [KitItem(name, quantity, "crate", None) for name, quantity in packed.items()]
    items += [
        KitItem(name, quantity - packed.get(name, 0), "shelf", None)
        for name, quantity in needed.items()
        if quantity > packed.get(name, 0)
    ]
    items += [KitItem(tool.name, tool.count, "back", tool.equipment) for tool in tools]
    return Kit(
        items=tuple(items),
        box_mm=box_mm if box_mm is not None else math.ceil(awning.width) + BOX_LONGER_MM,
        boxes=boxes,
        weight_kg=math.ceil(awning.weight_kg * (1 + BOX_HEAVIER)),
    )


def with_spares(quantity: int) -> int:
    """Return how many fasteners to take for `quantity` holes: one spare in ten begun, two at least; none for none."""
    return quantity + max(math.ceil(quantity / SPARE_IN), LEAST_SPARES) if quantity else 0


def compare(listed: Mapping[str, int], counted: Mapping[str, int], damaged: Mapping[str, int] | None = None) -> Count:
    """Return a bench count against a list (`Kit.crate`); a damaged piece counts as missing.

    `counted`: pieces found by item; an item without an entry has not been counted yet, one not on the list is extra.
    Raises `BadInput` for negative numbers, and for more pieces damaged than counted.
    """
    broken = damaged or {}
    for name in (*counted, *broken):
        if counted.get(name, 0) < 0 or broken.get(name, 0) < 0:
            raise BadInput(f"counted.{name}", "must not be negative")
        if broken.get(name, 0) > counted.get(name, 0):
            problem = f"must not be more than was counted ({counted.get(name, 0)}), is {broken[name]}"
            raise BadInput(f"damaged.{name}", problem)
    sound = {name: pieces - broken.get(name, 0) for name, pieces in counted.items()}
    return Count(
        short={name: need - sound[name] for name, need in listed.items() if name in sound and sound[name] < need},
        uncounted=tuple(name for name in listed if name not in counted),
        extra={name: sound[name] - listed.get(name, 0) for name in sound if sound[name] > listed.get(name, 0)},
    )


class KitState(_Part, frozen=True):
    """What is known of a kit: items not counted yet, pieces missing by item, and whether it is on the van.

    Its condition follows from these: `loaded`; else `short` as soon as anything is known to be missing; else
    `uncounted` while any item is; else `verified`. A loaded kit has nothing missing and nothing uncounted.
    """

    uncounted: tuple[str, ...]
    missing: dict[str, int]
    loaded: bool

    @property
    def condition(self) -> Condition:
        if self.loaded:
            return "loaded"
        if self.missing:
            return "short"
        return "uncounted" if self.uncounted else "verified"


def new_kit(listed: Mapping[str, int]) -> KitState:
    """Return a kit whose list has just been made, or changed: nothing of it is counted."""
    return KitState(tuple(listed), {}, False)


def after_count(state: KitState, count: Count) -> KitState:
    """Return the kit after a bench count; a new count replaces the old one. A loaded kit is unloaded first."""
    if state.loaded:
        raise BadInput("condition", "a loaded kit is not counted: unload it first")
    return KitState(count.uncounted, dict(count.short), False)


def after_loading(state: KitState) -> KitState:
    """Return the kit on the van; only a verified one goes."""
    if state.condition != "verified":
        raise BadInput("condition", f"only a verified kit is loaded, this one is {state.condition}")
    return KitState((), {}, True)


def _usual_crate(survey: Survey, layout: Layout) -> dict[str, int]:
    awning, brackets = survey.awning, len(layout.brackets)
    crate = {"awning": 1, "bracket": brackets}
    if awning.hood:
        crate |= {"hood": 1, "hood end cap": 2, "hood support": brackets}
    return crate | ({"hand transmitter": 1} if awning.motor is not None else {"hand crank": 1})


def _shelf(survey: Survey, layout: Layout) -> dict[str, int]:
    brackets, fastener = len(layout.brackets), layout.fastener
    shelf = {"shim": SHIMS_A_BRACKET * brackets}
    if fastener is not None:
        holes = brackets * fastener.count
        shelf[fastener_name(fastener)] = with_spares(holes)
        if survey.wall.kind in WOOD and fastener.diameter is not None:
            size = fastener_name(fastener).split()[1]
            shelf[f"washer {size} in"] = with_spares(holes)
        shelf["sealant cartridge"] = math.ceil(holes / HOLES_A_CARTRIDGE)
    return shelf
