"""The form of the plan document."""

from __future__ import annotations

import json
from typing import Any

import pytest

from scheduler.documents import encode
from scheduler.errors import BadInput
from scheduler.plan import read_plan

COST = dict.fromkeys(("total", "crews", "travel", "overtime", "helpers", "risk", "late", "changes", "skipped"), 0)
PLAN: dict[str, Any] = {
    "format": "plan/1", "week": "w", "engine": "hand", "seconds": 0.5,
    "routes": [{"crew": "oak", "day": 0, "depart": 450, "return": 900, "helpers": 0, "rest": 700,
                "stops": [{"job": "alder", "start": 480, "end": 570}]}],
    "skipped": [{"job": "birch", "because": [{"code": "kit", "detail": "two brackets are missing"}]}],
    "broken": ["cedar"], "cost": COST, "bound": None,
}  # fmt: skip


def test_reads_back_as_written_under_the_names_of_the_format() -> None:
    plan = read_plan(json.dumps(PLAN))
    assert plan.routes[0].back == 900
    assert json.loads(encode(plan)) == PLAN
    assert read_plan(encode(plan)) == plan


def test_a_plan_that_makes_no_sense_is_still_a_plan_in_form() -> None:
    route = PLAN["routes"][0] | {"day": -3, "depart": 900, "return": 1, "stops": []}
    assert read_plan(json.dumps(PLAN | {"routes": [route, route]})).routes[1].day == -3


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"format": "plan/3"}, 'format: must be "plan/1" or "plan/2", is "plan/3"'),
        ({"week": 3}, "week: must be text, is 3"),
        ({"engine": ""}, "engine: must not be empty"),
        ({"seconds": -1}, "seconds: must be at least 0"),
        ({"seconds": float("nan")}, "seconds: must be a finite number"),
        ({"bound": 1.5}, "bound: must be a whole number or null, is 1.5"),
        ({"bound": -1}, "bound: must be at least 0, is -1"),
        ({"bound": True}, "bound: must be a whole number or null, is true"),
        ({"broken": ["a", "b", "a"]}, 'broken[2]: "a" is listed already'),
        ({"cost": COST | {"total": 1.5}}, "cost.total: must be a whole number, is 1.5"),
        ({"cost": COST | {"fuel": 1}}, "cost.fuel: is not a key"),
        ({"routes": [PLAN["routes"][0] | {"helpers": -1}]}, "routes[0].helpers: must be at least 0"),
        ({"routes": [PLAN["routes"][0] | {"rest": "noon"}]}, "routes[0].rest: must be a whole number or null"),
        ({"routes": [{k: v for k, v in PLAN["routes"][0].items() if k != "return"}]}, "routes[0].return: is missing"),
        ({"routes": [PLAN["routes"][0] | {"back": 1}]}, "routes[0].back: is not a key"),
        ({"routes": [PLAN["routes"][0] | {"stops": [{"job": "a", "start": 1}]}]}, "routes[0].stops[0].end: is missing"),
        ({"skipped": [{"job": "a", "because": []}]}, "skipped[0].because: must not be empty"),
        ({"skipped": [{"job": "a", "because": [{"code": "kit", "detail": ""}]}]}, "skipped[0].because[0].detail: "),
    ],
)  # fmt: skip
def test_refuses_a_wrong_form_with_the_way_to_the_key(change: dict[str, Any], says: str) -> None:
    with pytest.raises(BadInput) as caught:
        read_plan(json.dumps(PLAN | change))
    assert str(caught.value).startswith(says)
