"""Site surveys for the tests: one that is known by heart, and random ones as varied as real walls are.

The walls, awnings and measures are invented; sizes follow common practice of the trade (no published source).
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from typing import Any

import msgspec

from scheduler.layout.documents import Survey, WallKind, checked, survey_from_data

_SAME = object()
INCH_MM = 25.4
FOOT_MM = 304.8
KINDS: Sequence[WallKind] = (
    "wood-studs", "rim-board", "rafters", "stucco-on-studs", "concrete", "solid-masonry", "hollow-block",
    "brick-veneer", "fascia",
)  # fmt: skip
# How often each kind is met; the two that carry nothing are met by mistake only.
_OFTEN = (30, 10, 8, 20, 8, 8, 6, 3, 3)
_CONTINUOUS = ("rim-board", "concrete", "solid-masonry")
_BASES = {"solid-masonry": "solid clay brick", "hollow-block": "hollow concrete block, ungrouted"}
_WOOD = ("wood-studs", "rim-board", "rafters", "stucco-on-studs")

# The survey known by heart, in plain data: a 4 m bar with its left end 400 mm right of the datum, studs every 16 in
# from the datum on, so members 1, 2, … lie 6.4, 412.8, … mm from the bar's left end; arms 600 mm from either end.
PLAIN: dict[str, Any] = {
    "format": "survey/1",
    "id": "alder-4m",
    "awning": {
        "width": 4000, "projection": 3000, "weight_kg": 60, "hood": True, "arms": [600, 3400], "arm_half": 70,
        "bracket_width": 120, "bracket_lever": 150, "bolts": 4, "body_above": 60, "body_below": 180,
        "pitch_deg": 14, "front_drop": 80, "motor": "right",
    },
    "wall": {
        "kind": "wood-studs", "members": [round(406.4 * n, 1) for n in range(14)], "member_width": 38.1,
        "gravity": 0.42, "wet": True, "cover": 25.4,
    },
    "anchor": None,
    "place": {"left_end": 400, "slide": 200, "height": 2900},
    "band": {"left": 0, "right": 5400, "bottom": 2700, "top": 3000},
    "obstacles": [],
    "doors": [{"left": 1500, "right": 2400, "top": 2050, "swings_out": False}],
    "wind_class": 2,
}  # fmt: skip


def plain_survey(**changes: Any) -> Survey:
    """Return the survey known by heart, with changed values: `plain_survey(awning={"width": 3000}, obstacles=[])`."""
    data: dict[str, Any] = {}
    for key, value in PLAIN.items():
        new = changes.pop(key, None)
        data[key] = {**value, **new} if isinstance(value, dict) and isinstance(new, dict) else value
        if new is not None and not (isinstance(value, dict) and isinstance(new, dict)):
            data[key] = new
    assert not changes, f"no such keys: {sorted(changes)}"
    return survey_from_data(data)


def random_survey(rng: random.Random, *, kind: WallKind | None = None, width: float | None = None) -> Survey:
    """Return a survey as a site might give it, drawn with `rng`: mostly one that can be hung, now and then not.

    `kind` and `width` (mm) are drawn where they are None. Every survey passes `checked`.
    """
    if kind is None:
        kind = rng.choices(KINDS, _OFTEN)[0]
    if width is None:
        width = rng.choice([round(rng.uniform(8, 24)) * FOOT_MM, rng.uniform(2000, 7400), rng.randint(250, 700) * 10.0])
    left_end = rng.choice([0.0, rng.uniform(0, 900), round(rng.uniform(0, 40)) * INCH_MM])
    slide = rng.choice([0.0, rng.uniform(0, 300), 12 * INCH_MM, 6 * INCH_MM])
    wall_right = left_end + width + rng.uniform(0, 900)
    height = rng.choice([rng.uniform(2300, 3400), 102 * INCH_MM, 114 * INCH_MM, rng.uniform(3400, 5200)])
    awning = _awning(rng, width)
    above, below = (rng.uniform(-10, 100) if rng.random() < 0.1 else rng.uniform(0, 100) for _ in range(2))
    bottom, top = height - awning["body_below"] - below, height + awning["body_above"] + above
    data: dict[str, Any] = {
        "format": "survey/1",
        "id": f"{rng.choice(['alder', 'birch', 'cedar', 'dogwood', 'elm', 'fir'])}-{rng.randint(100, 999)}",
        "awning": awning,
        "wall": _wall(rng, kind, wall_right),
        "anchor": _anchor(rng, kind),
        "place": {"left_end": left_end, "slide": slide, "height": height},
        "band": {
            "left": left_end - rng.choice([0.0, rng.uniform(0, 300), 300.0]), "right": wall_right,
            "bottom": bottom, "top": top,
        },
        "obstacles": [_obstacle(rng, wall_right, height) for _ in range(rng.choice([0, 0, 0, 1, 1, 2, 4]))],
        "doors": [_door(rng, wall_right) for _ in range(rng.choice([0, 1, 1, 2]))],
        "wind_class": rng.choice([0, 1, 2, 2, 2, 3]),
    }  # fmt: skip
    return survey_from_data(data)


def _awning(rng: random.Random, width: float) -> dict[str, Any]:
    count = 2 if width < 4900 else rng.choice([2, 2, 3, 3, 4])
    inset = rng.uniform(0.08, 0.2) * width
    step = (width - 2 * inset) / (count - 1)
    arms = [inset + n * step + (rng.uniform(-0.1, 0.1) * step if 0 < n < count - 1 else 0) for n in range(count)]
    projection = rng.choice([1500.0, 2000.0, 2500.0, 3000.0, 8 * FOOT_MM, 10 * FOOT_MM, 122 * INCH_MM, 3500.0])
    return {
        "width": width, "projection": projection, "weight_kg": round(8 + width * 0.009 + projection * 0.005, 1),
        "hood": rng.random() < 0.5, "arms": arms, "arm_half": rng.uniform(40, 130),
        "bracket_width": rng.choice([60.0, 90.0, 120.0, 6 * INCH_MM, rng.uniform(50, 250)]),
        "bracket_lever": rng.uniform(90, 200), "bolts": rng.choice([2, 2, 3, 4]),
        "body_above": rng.uniform(20, 90), "body_below": rng.uniform(120, 260),
        "pitch_deg": rng.choice([5, 8, 10, 14, 14, 15, 18, 22.5, 30]), "front_drop": rng.uniform(40, 130),
        "motor": rng.choice(["left", "right", None]),
    }  # fmt: skip


def _wall(rng: random.Random, kind: WallKind, right: float) -> dict[str, Any]:
    members: list[float] = []
    if kind not in _CONTINUOUS and rng.random() < 0.97:
        spacing = rng.choice([16, 16, 16, 24, 12, 19.2]) * INCH_MM
        at = rng.uniform(-200, spacing)
        while at < right + 200:
            if rng.random() < 0.96:
                members.append(at + rng.choice([0.0, rng.uniform(-20, 20)]))
                if rng.random() < 0.08:  # a doubled stud, as beside an opening
                    members.append(members[-1] + rng.choice([38.1, 76.2]))
            at += spacing
    members = sorted(set(members))
    if rng.random() < 0.3:
        members = [round(m) for m in members]
    wood = kind in _WOOD
    return {
        "kind": kind, "members": members,
        "member_width": 38.1 if wood else rng.choice([None, 120.0]),
        "gravity": rng.choice([0.42, 0.43, 0.5, 0.55]) if wood else None,
        "wet": rng.random() < 0.7, "cover": rng.choice([0.0, 12.7, 25.4, rng.uniform(5, 60)]),
    }  # fmt: skip


def _anchor(rng: random.Random, kind: WallKind) -> dict[str, Any] | None:
    if kind in _WOOD or rng.random() < 0.2:
        return None
    return {
        "name": "sleeve anchor 1/2 in (invented)", "tension_n": rng.uniform(1500, 9000),
        "shear_n": rng.uniform(2000, 12000), "source": "the anchor's evaluation report, table 4 (invented)",
    }  # fmt: skip


def _obstacle(rng: random.Random, right: float, height: float) -> dict[str, Any]:
    what, wide, high = rng.choice(
        [("light", 150, 250), ("downspout", 80, 2400), ("dryer vent", 150, 150), ("outlet box", 80, 120)]
    )
    left, bottom = rng.uniform(-100, right), max(0.0, height + rng.uniform(-500, 200) - rng.choice([0, high]))
    return {"what": what, "left": left, "right": left + wide, "bottom": bottom, "top": bottom + high}


def _door(rng: random.Random, right: float) -> dict[str, Any]:
    left = rng.uniform(0, max(1.0, right - 1000))
    return {
        "left": left, "right": left + rng.choice([813.0, 914.4, 1828.8]), "top": rng.choice([2032.0, 2057.4, 2108.0]),
        "swings_out": rng.random() < 0.5,
    }  # fmt: skip


def with_place(survey: Survey, **changes: float) -> Survey:
    """Return `survey` with other values in its `place`."""
    return checked(msgspec.structs.replace(survey, place=msgspec.structs.replace(survey.place, **changes)))


# What a survey of the second form has besides: the plain wall on 2×6 studs, its bracket with four holes in one line.
PLAIN_2: dict[str, Any] = {
    "format": "survey/2",
    "awning": {"valance": 0, "holes": [{"across": 0, "down": down} for down in (0, 42, 84, 126)]},
    "wall": {"gravity": None, "member_depth": 139.7, "species": "douglas-fir-larch", "end_grain": False, "tie": None},
    "place": {"facing_deg": 225, "under": "private"},
    "datum": {"name": "left jamb of the patio door", "control": {"what": "right edge of the downspout", "at": 5210}},
    "outlet": {"at": 4600, "height": 2700, "gfci": True},
    "built": 1994,
}  # fmt: skip
ANCHOR_2: dict[str, Any] = {
    "name": "wedge anchor 3/8 in (invented)", "tension_n": 9000, "shear_n": 12000,
    "source": "invented report 17, table 4", "base": "concrete of 2500 psi or more", "hole": 9.525, "hole_depth": 70,
    "embedment": 60, "edge": 100, "spacing": 40, "torque_nm": 40,
}  # fmt: skip


def second_survey(**changes: Any) -> Survey:
    """Return the survey known by heart in the second form, with changed values as `plain_survey` takes them."""
    data: dict[str, Any] = {}
    for key in (*PLAIN, *(key for key in PLAIN_2 if key not in PLAIN)):
        value, more, new = PLAIN.get(key), PLAIN_2.get(key), changes.pop(key, _SAME)
        data[key] = {**value, **more} if isinstance(value, dict) and isinstance(more, dict) else more
        if key in PLAIN and key not in PLAIN_2:
            data[key] = value
        if new is not _SAME:
            data[key] = {**data[key], **new} if isinstance(data[key], dict) and isinstance(new, dict) else new
    assert not changes, f"no such keys: {sorted(changes)}"
    return survey_from_data(data)


def random_second(rng: random.Random, *, kind: WallKind | None = None, width: float | None = None) -> Survey:
    """Return a survey of the second form as a site might give it, drawn with `rng` as `random_survey` does."""
    first: dict[str, Any] = msgspec.to_builtins(random_survey(rng, kind=kind, width=width))
    awning, wall, place = first["awning"], first["wall"], first["place"]
    lever, bolts = awning["bracket_lever"], awning["bolts"]
    step = rng.choice([0.6, 0.8, 0.95]) * lever / bolts
    holes = [{"across": 0.0, "down": n * step} for n in range(bolts)]
    if rng.random() < 0.2 and bolts % 2 == 0:  # two and two side by side, as wide brackets have them
        wide = min(awning["bracket_width"] / 2, 30.0) * rng.uniform(0.1, 0.9)
        holes = [{"across": side * wide, "down": n * 2 * step} for n in range(bolts // 2) for side in (-1, 1)]
    wood = wall["kind"] in _WOOD
    species = rng.choice(["spruce-pine-fir", "douglas-fir-larch", "hem-fir", "southern-pine", "unknown"])
    awning |= {"valance": rng.choice([0.0, 0.0, rng.uniform(100, 300)]), "holes": holes}
    wall |= {
        "gravity": None, "member_depth": rng.choice([88.9, 139.7, 184.2]) if wood else None,
        "species": species if wood else None, "tie": None,
        "end_grain": wall["kind"] == "rafters" and rng.random() < 0.5,
    }  # fmt: skip
    if wall["kind"] == "rim-board":
        wall["member_depth"] = 38.1
        if rng.random() < 0.5:
            wall["tie"] = {"what": "hold-down", "pull_n": rng.uniform(2000, 9000), "source": "its maker's list"}
    anchor = None
    if not wood and rng.random() < 0.8:
        anchor = ANCHOR_2 | {"tension_n": rng.uniform(3000, 15000), "spacing": rng.choice([30, 60])}
        if wall["kind"] in _BASES and rng.random() < 0.8:  # else a report for another material, by mistake
            anchor["base"] = _BASES[wall["kind"]]
    place |= {
        "facing_deg": rng.choice([None, rng.uniform(0, 359)]),
        "under": rng.choice(["private", "private", "public"]),
    }
    control = {"what": rng.choice(["corner of the house", "meter box"]), "at": rng.uniform(-2000, 9000)}
    outlet = {"at": rng.uniform(0, 5000), "height": rng.uniform(300, 3000), "gfci": rng.random() < 0.7}
    data = {
        **first, "format": "survey/2", "anchor": anchor, "built": rng.choice([None, rng.randint(1900, 2026)]),
        "datum": {"name": rng.choice(["left jamb of the patio door", "left corner of the house"]), "control": control},
        "outlet": rng.choice([None, outlet]),
    }  # fmt: skip
    return survey_from_data(data)
