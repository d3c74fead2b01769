"""Plans for tests: good ones (the cheapest of small weeks), and the same damaged at one to three places.

`cases` yields them with their weeks; each damage is one function.
"""

from __future__ import annotations

import json
import random
from collections.abc import Callable, Iterator, Sequence
from typing import Any

import msgspec

from scheduler.audit import audit
from scheduler.plan import Plan, read_plan
from scheduler.price import price
from scheduler.week import Week, week_from_data
from tests.brute import cheapest
from tests.weeks import as_data, small_week

Data = dict[str, Any]


def good_plan(week: Week) -> Plan:
    plan = cheapest(week)
    return msgspec.structs.replace(plan, cost=price(week, plan.routes))


def damaged(rng: random.Random, week: Week, plan: Plan, ways: Sequence[Damage] = ()) -> Plan:
    """Return `plan` changed at one to three places, its cost and broken bookings mostly restated rightly."""
    data = as_data(plan)
    for _ in range(rng.choice((1, 1, 1, 2, 3))):
        rng.choice(ways or DAMAGE)(rng, as_data(week), data)
    changed = read_plan(json.dumps(data))
    if rng.random() < 0.8:
        data["cost"] = as_data(price(week, changed.routes))
        data["bound"] = None
    if rng.random() < 0.8:
        listed = {b.job for b in audit(week, changed).broken_rules if b.rule == "booking"}
        data["broken"] = sorted(set(data["broken"]) ^ {job for job in listed if job})
    return read_plan(json.dumps(data))


def _some_route(rng: random.Random, data: Data) -> Data:
    routes = data["routes"] or [{"stops": [], "helpers": 0, "rest": None, "day": 0, "depart": 0, "return": 0}]
    route: Data = rng.choice(routes)
    return route


def shift_a_stop(rng: random.Random, week: Data, data: Data) -> None:
    for stop in _some_route(rng, data)["stops"][-1:]:
        by = rng.choice((-60, -30, -5, -1, 1, 5, 30, 60))
        stop["start"] += by
        stop["end"] += by


def stretch_a_stop(rng: random.Random, week: Data, data: Data) -> None:
    for stop in _some_route(rng, data)["stops"][:1]:
        stop[rng.choice(("start", "end"))] += rng.choice((-5, -1, 1, 5))


def shift_a_route(rng: random.Random, week: Data, data: Data) -> None:
    route, by = _some_route(rng, data), rng.choice((-120, -20, -1, 1, 20, 120))
    for holder, key in [
        (route, "depart"),
        (route, "return"),
        *((s, k) for s in route["stops"] for k in ("start", "end")),
    ]:
        holder[key] += by


def leave_at_another_time(rng: random.Random, week: Data, data: Data) -> None:
    _some_route(rng, data)["depart"] += rng.choice((-60, -1, 1, 10))


def return_at_another_time(rng: random.Random, week: Data, data: Data) -> None:
    _some_route(rng, data)["return"] += rng.choice((-10, -1, 1, 60, 200))


def change_the_rest(rng: random.Random, week: Data, data: Data) -> None:
    route = _some_route(rng, data)
    route["rest"] = rng.choice((None, route["depart"], route["return"] - 10, rng.randint(480, 800)))
    if route["stops"] and rng.random() < 0.5:
        route["rest"] = rng.choice(route["stops"])[rng.choice(("start", "end"))]


def change_helpers(rng: random.Random, week: Data, data: Data) -> None:
    _some_route(rng, data)["helpers"] = rng.randint(0, 3)


def change_crew_or_day(rng: random.Random, week: Data, data: Data) -> None:
    route = _some_route(rng, data)
    route["crew"] = rng.choice([c["id"] for c in week["crews"]])
    route["day"] = rng.randint(0, week["days"] - 1)


def lose_a_job(rng: random.Random, week: Data, data: Data) -> None:
    holder = rng.choice((data["skipped"], _some_route(rng, data)["stops"]))
    if holder:
        holder.pop(rng.randrange(len(holder)))


def skip_a_stop(rng: random.Random, week: Data, data: Data) -> None:
    stops = _some_route(rng, data)["stops"]
    if stops:
        gone = stops.pop(rng.randrange(len(stops)))
        data["skipped"].append({"job": gone["job"], "because": [{"code": "x", "detail": "x"}]})


def do_a_skipped_job_too(rng: random.Random, week: Data, data: Data) -> None:
    """At the end of a route, and now and then without leaving the waiting pile."""
    route = _some_route(rng, data)
    if data["skipped"] and route["stops"]:
        name = data["skipped"][-1]["job"] if rng.random() < 0.2 else data["skipped"].pop()["job"]
        minutes = next((j["minutes"] for j in week["jobs"] if j["id"] == name), 0)
        start = route["stops"][-1]["end"] + rng.choice((0, 20, 40))
        route["stops"].append({"job": name, "start": start, "end": start + minutes})
        route["return"] = max(route["return"], start + minutes + 30)


def go_out_for_a_skipped_job(rng: random.Random, week: Data, data: Data) -> None:
    if data["skipped"] and week["crews"]:
        name = data["skipped"].pop(rng.randrange(len(data["skipped"])))["job"]
        job = next((j for j in week["jobs"] if j["id"] == name), None)
        if job and job["windows"]:
            window, crew = rng.choice(job["windows"]), rng.choice(week["crews"])
            start, end = window["start"], window["start"] + job["minutes"]
            stops = [{"job": name, "start": start, "end": end}]
            route = {"crew": crew["id"], "day": window["day"], "depart": start - 45, "return": end + 45}
            data["routes"].append(route | {"helpers": rng.randint(0, 1), "rest": None, "stops": stops})


def turn_a_route_round(rng: random.Random, week: Data, data: Data) -> None:
    _some_route(rng, data)["stops"].reverse()


def swap_two_crews(rng: random.Random, week: Data, data: Data) -> None:
    a, b = _some_route(rng, data), _some_route(rng, data)
    a["stops"], b["stops"] = b["stops"], a["stops"]


def split_a_route(rng: random.Random, week: Data, data: Data) -> None:
    """As two routes of the same hours, each long enough for its part."""
    long = [r for r in data["routes"] if len(r["stops"]) > 1]
    if long:
        route = rng.choice(long)
        data["routes"].append(route | {"stops": route["stops"][1:]})
        del route["stops"][1:]


def double_a_route(rng: random.Random, week: Data, data: Data) -> None:
    if data["routes"]:
        data["routes"].append(json.loads(json.dumps(_some_route(rng, data))))


def name_a_stranger(rng: random.Random, week: Data, data: Data) -> None:
    route = _some_route(rng, data)
    if rng.random() < 0.3:
        route["crew"] = "nobody"
    elif route["stops"]:
        route["stops"][0]["job"] = "nothing"


def leave_the_week(rng: random.Random, week: Data, data: Data) -> None:
    _some_route(rng, data)["day"] = rng.choice((-1, week["days"], 10_000_000, -10_000_000))


def empty_a_route(rng: random.Random, week: Data, data: Data) -> None:
    _some_route(rng, data)["stops"].clear()


def misstate(rng: random.Random, week: Data, data: Data) -> None:
    match rng.randrange(4):
        case 0:
            data["cost"][rng.choice(list(data["cost"]))] += rng.choice((-1, 1))
        case 1:
            data["bound"] = data["cost"]["total"] + rng.choice((0, 1))
        case 2:
            data["week"] = "another"
        case 3:
            data["broken"] = list({*data["broken"]} ^ {rng.choice([j["id"] for j in week["jobs"]] + ["nothing"])})


Damage = Callable[[random.Random, Data, Data], None]
DAMAGE: tuple[Damage, ...] = (
    shift_a_stop, stretch_a_stop, shift_a_route, leave_at_another_time, return_at_another_time, change_the_rest,
    change_helpers, change_crew_or_day, lose_a_job, skip_a_stop, do_a_skipped_job_too, go_out_for_a_skipped_job,
    turn_a_route_round, swap_two_crews, split_a_route, double_a_route, name_a_stranger, leave_the_week, empty_a_route,
    misstate,
)  # fmt: skip


def changed_under_it(rng: random.Random, week: Week, plan: Plan) -> Week:
    """Return `week` with one thing less for one of the plan's routes: a plan made before the news came."""
    data: Data = as_data(week)
    if not plan.routes:
        return week
    route = rng.choice(plan.routes)
    crew = next(c for c in data["crews"] if c["id"] == route.crew)
    jobs = [j for j in data["jobs"] if j["id"] in {s.job for s in route.stops}]
    one = rng.choice(jobs)
    match rng.randrange(12):
        case 0:
            crew["vehicle"]["payload_kg"] = max(0, sum(j["weight_kg"] for j in jobs) - rng.randint(0, 1))
        case 1:
            crew["vehicle"]["boxes"] = max(0, sum(j["boxes"] for j in jobs) - rng.randint(0, 1))
        case 2:
            crew["vehicle"]["rack_mm"] = max(0, max(j["box_mm"] for j in jobs) - rng.randint(0, 1))
        case 3:
            one["skills"] = ["motor-setup", "wiring"]
        case 4:
            one["ready_day"] = rng.choice((None, *range(week.days)))
        case 5:
            one["yard"] = rng.choice(data["yards"])["id"]
        case 6:
            for item in data["equipment"]:
                item["count"] = [max(0, n - 1) for n in item["count"]]
        case 7:
            for item in data["stock"]:
                item["on_hand"] = max(0, item["on_hand"] - rng.randint(1, 3))
        case 8:
            data["helpers"] = [h for h in data["helpers"] if h["day"] != route.day]
        case 9:
            one["hands"] += 1
        case 10:
            crew["shifts"] = [s for s in crew["shifts"] if s["day"] != route.day]
        case 11:
            one["windows"] = one["windows"][1:]
    return week_from_data(data)


def cases(seed: int, weeks: int, each: int) -> Iterator[tuple[Week, Plan]]:
    """Yield weeks with their cheapest plan, then the same plan damaged, or the week changed, in several ways."""
    rng = random.Random(seed)
    for _ in range(weeks):
        week = small_week(rng, rng.randint(2, 6), rng.choice((1, 2, 3)), rng.choice((1, 2, 3)))
        plan = good_plan(week)
        yield week, plan
        for _ in range(each):
            yield week, damaged(rng, week, plan)
        for _ in range(each // 4):
            other = changed_under_it(rng, week, plan)
            yield other, msgspec.structs.replace(plan, cost=price(other, plan.routes), bound=None)
