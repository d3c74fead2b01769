"""The placement against all layouts there are: every set of places on small walls, judged rule by rule.

`best_by_trying` shares no code with the product. It forms every choice of places at every shift, keeps those that
satisfy the rules, and narrows them down in the order that the rules give.
"""

from __future__ import annotations

import random
from itertools import combinations
from math import ceil, comb
from typing import Any

import numpy as np
import pytest

from scheduler.layout.documents import Survey, survey_from_data
from scheduler.layout.placement.brackets import place_brackets

SAME = 0.001


def best_by_trying(survey: Survey, count: int) -> tuple[float, list[float], float] | None:
    """Return (shift, places on the bar, spread) of the best layout with `count` brackets, None where there is none."""
    awning, band = survey.awning, survey.band
    found = []
    for step in range(-1000, 1001):
        shift = step * 12.7
        left = survey.place.left_end + shift
        right = left + awning.width
        if abs(shift) >= survey.place.slide + SAME or left <= band.left - SAME or right >= band.right + SAME:
            continue
        layouts = _layouts(survey, left, count)
        if len(layouts):
            low, high = survey.place.height - awning.body_below, survey.place.height + awning.body_above
            hidden = sum(
                min(right, o.right) - max(left, o.left) >= SAME and min(high, o.top) - max(low, o.bottom) >= SAME
                for o in survey.obstacles
            )
            outside = (layouts[:, 0] < awning.arms[0]).astype(int) + (layouts[:, -1] > awning.arms[-1])
            found.append((hidden, -outside.max(), abs(step), step, layouts[outside == outside.max()]))
    if not found:
        return None
    *_, step, layouts = min(found, key=lambda one: one[:4])
    served = np.zeros(len(layouts), dtype=int)
    for arm in awning.arms[1:-1]:
        served += (abs(layouts - arm) < 304.8 + SAME).any(axis=1)
    layouts = layouts[served == served.max()]
    even = layouts[:, :1] + (layouts[:, -1:] - layouts[:, :1]) * np.arange(count) / (count - 1)
    far = abs(layouts - even)[:, 1:-1]
    keep = far.max(axis=1) < far.max(axis=1).min() + SAME
    layouts, far = layouts[keep], far[keep]
    layouts = layouts[far.sum(axis=1) < far.sum(axis=1).min() + SAME]
    for n in range(count):
        layouts = layouts[layouts[:, n] < layouts[:, n].min() + SAME]
    chosen = layouts[0]
    even = chosen[0] + (chosen[-1] - chosen[0]) * np.arange(count) / (count - 1)
    return step * 12.7, chosen.tolist(), float(abs(chosen - even)[1:-1].max())


def _places(survey: Survey, left: float) -> Any:
    awning = survey.awning
    half = awning.bracket_width / 2
    if survey.wall.kind in ("concrete", "solid-masonry", "rim-board"):
        places = np.arange(0, awning.width + SAME, 5)
    else:
        places = np.array(sorted(survey.wall.members), dtype=float) - left
    places = places[(places - half > -SAME) & (places + half < awning.width + SAME)]
    for arm in awning.arms:  # a bracket's body and an arm's zone overlap by nothing
        overlap = np.minimum(places + half, arm + awning.arm_half) - np.maximum(places - half, arm - awning.arm_half)
        places = places[overlap < SAME]
    return places


def _layouts(survey: Survey, left: float, count: int) -> Any:
    awning = survey.awning
    sets = np.array(list(combinations(_places(survey, left), count)), dtype=float).reshape(-1, count)
    fine = (awning.bracket_width - np.diff(sets, axis=1) < SAME).all(axis=1)
    fine &= abs(sets[:, 0] - awning.arms[0]) < 304.8 + SAME
    fine &= abs(sets[:, -1] - awning.arms[-1]) < 304.8 + SAME
    return sets[fine]


def _small_survey(
    rng: random.Random, kind: str, width: float, arms: list[float], arm_half: float, bracket: float
) -> Survey:
    """Return a survey for the placement's sake: what does not decide it stays the same."""
    whole = rng.random() < 0.5
    left_end = rng.randint(0, 300) if whole else rng.uniform(0, 300)
    members: list[float] = []
    slide = rng.choice([0, 12.7, 50, 127]) if kind == "wood-studs" else rng.choice([0, 13])
    if kind == "wood-studs":
        spacing, at = rng.choice([406.4, 400, 609.6, 304.8, 487.68]), rng.uniform(-100, 300)
        while at < left_end + width + 300:
            if rng.random() < 0.9:
                members.append(at + (0 if whole else rng.uniform(-40, 40)))
                if rng.random() < 0.15:
                    members.append(members[-1] + rng.choice([38.1, 76.2, 60]))
            at += spacing
        members = [float(round(m)) for m in members] if whole else members
        rng.shuffle(members)
    obstacles = []
    for _ in range(rng.choice([0, 0, 1, 3])):
        left, bottom = rng.uniform(-200, left_end + width + 200), rng.uniform(2500, 3050)
        obstacles.append({"what": "light", "left": left, "right": left + 100, "bottom": bottom, "top": bottom + 150})
    data = {
        "format": "survey/1", "id": "small",
        "awning": {
            "width": width, "projection": 2000, "weight_kg": 30, "hood": False, "arms": arms,
            "arm_half": arm_half, "bracket_width": bracket, "bracket_lever": 150, "bolts": 2, "body_above": 60,
            "body_below": 180, "pitch_deg": 14, "front_drop": 80, "motor": None,
        },
        "wall": {
            "kind": kind, "members": members, "member_width": 38.1, "gravity": 0.42, "wet": False, "cover": 20,
        },
        "anchor": None,
        "place": {"left_end": left_end, "slide": slide, "height": 2800},
        "band": {
            "left": left_end - rng.choice([0, 12.7, 60, 500]),
            "right": left_end + width + rng.choice([0, 12.7, 60, 500]), "bottom": 2600, "top": 2900,
        },
        "obstacles": obstacles, "doors": [], "wind_class": 2,
    }  # fmt: skip
    return survey_from_data(data)


def _on_studs(rng: random.Random) -> tuple[Survey, int]:
    width = rng.choice([rng.randint(20, 62) * 100.0, rng.uniform(1800, 6000)])
    inset = rng.uniform(0.08, 0.25) * width
    arms = [inset, width - inset]
    for _ in range(rng.choice([0, 0, 1, 2])):
        arms.append(rng.uniform(inset + 100, width - inset - 100))
    arms.sort()
    zone = rng.choice([30, 70, 100])
    survey = _small_survey(rng, "wood-studs", width, arms, zone, rng.choice([38.1, 60, 120, 300]))
    return survey, rng.choice([0, 0, 0, 5])


def _on_concrete(rng: random.Random) -> tuple[Survey, int]:
    """Return a bar so short, or so full of arm zones, that few places of the grid are left."""
    bracket, count = rng.choice([20, 31.7, 45, 58]), rng.choice([4, 4, 4, 5])
    if rng.random() < 0.5:
        width, zone = bracket * count + rng.uniform(30, 170), rng.uniform(2, 25)
        arms = [rng.uniform(0, width * 0.4), rng.uniform(width * 0.5, width)]
    else:  # a few places between one arm's zone and the next, some out of reach of either
        zone = rng.choice([100, 200, 260, 290])
        arms, free = [], bracket / 2
        for _ in range(rng.choice([3, 4, 5])):
            arms.append(free + rng.uniform(0, 45) + zone + bracket / 2)
            free = arms[-1] + zone + bracket / 2
        width = free + rng.uniform(0, 45) + bracket / 2
    survey = _small_survey(rng, "concrete", width, arms, zone, bracket)
    if comb(len(_places(survey, 0)), count) > 30_000:  # more sets than are worth trying
        return _on_concrete(rng)
    return survey, count


def _agree(survey: Survey, at_least: int) -> bool:
    count = max(4 + max(ceil((survey.awning.width - 4876.8) / 1219.2), 0), at_least)
    expected, placed = best_by_trying(survey, count), place_brackets(survey, at_least)
    assert placed.required == count
    if expected is None:
        assert placed.spots == ()
        return False
    shift, places, spread = expected
    assert placed.shift == pytest.approx(shift, abs=SAME)
    assert [spot.at for spot in placed.spots] == pytest.approx(places, abs=SAME)
    assert placed.spread == pytest.approx(spread, abs=SAME)
    return True


def test_placement_on_studs_is_the_best_there_is() -> None:
    placed = sum(_agree(*_on_studs(random.Random(seed))) for seed in range(200))
    assert 50 < placed < 195, "the walls drawn must be of both kinds, with a layout and without"


def test_placement_on_concrete_is_the_best_there_is() -> None:
    placed = sum(_agree(*_on_concrete(random.Random(seed))) for seed in range(150))
    assert 50 < placed < 125, "the walls drawn must be of both kinds, with a layout and without"
