"""The auditor against a second judge written here in another style, and against the one that comes with the format."""

from __future__ import annotations

from itertools import pairwise

import pytest

from scheduler.audit import RULES, audit
from tests import contract
from tests.plans import Data, cases
from tests.seeds import some_now
from tests.weeks import as_data


def judge(w: Data, p: Data) -> tuple[set[str], dict[str, int]]:
    """Return (names of the broken rules, cost), worked out on plain data."""
    crew = {c["id"]: c for c in w["crews"]}
    job = {j["id"]: j for j in w["jobs"]}
    at = {x["id"]: n for n, x in enumerate(w["places"])}
    base = {y["id"]: at[y["place"]] for y in w["yards"]}
    shift = {(c["id"], s["day"]): s for c in w["crews"] for s in c["shifts"]}
    broken: set[str] = set()

    def need(rule: str, kept: bool) -> None:
        if not kept:
            broken.add(rule)

    all_stops = [s["job"] for r in p["routes"] for s in r["stops"]]
    places_of_job = all_stops + [s["job"] for s in p["skipped"]]
    need("same_week", p["week"] == w["id"])
    need("known", set(places_of_job) <= set(job) and {r["crew"] for r in p["routes"]} <= set(crew))
    need("once", all(places_of_job.count(j) == 1 for j in job))
    crew_days = [(r["crew"], r["day"]) for r in p["routes"]]
    need("one_route", len(crew_days) == len(set(crew_days)))
    need("shift", all(r["stops"] and ((r["crew"], r["day"]) in shift or r["crew"] not in crew) for r in p["routes"]))

    real = []  # routes that can go out, with the stops that are jobs
    for r in p["routes"]:
        stops = [s | {"is": job[s["job"]]} for s in r["stops"] if s["job"] in job]
        if (r["crew"], r["day"]) in shift and stops:
            real.append((r, crew[r["crew"]], shift[r["crew"], r["day"]], stops))
    cost = dict.fromkeys(("crews", "travel", "overtime", "helpers", "risk", "late", "changes", "skipped"), 0)
    hired = {(h["yard"], h["day"]): h for h in w["helpers"]}
    for r, c, sh, stops in real:
        home, day = base[c["yard"]], r["day"]
        path = [home] + [at[s["is"]["place"]] for s in stops] + [home]
        drive = [w["travel"]["minutes"][a][b] for a, b in pairwise(path)]
        out = r["return"] - r["depart"]
        need("shift", sh["start"] <= r["depart"] and r["return"] <= sh["end"] + sh["overtime"])
        leave = [r["depart"]] + [s["end"] for s in stops]
        arrive = [a + d for a, d in zip(leave, drive, strict=True)]
        need("travel", all(x <= y for x, y in zip(arrive, [s["start"] for s in stops] + [r["return"]], strict=True)))
        sees = [
            {
                x["risk_cents"]
                for x in s["is"]["windows"]
                if x["day"] == day and s["start"] >= x["start"] and s["end"] <= x["end"]
            }
            for s in stops
        ]
        need("window", all(sees))
        cost["risk"] += sum(min(x) for x in sees if x)
        need("service", all(s["end"] == s["start"] + s["is"]["minutes"] for s in stops))
        need("kit", all(s["is"]["ready_day"] is not None and s["is"]["ready_day"] <= day for s in stops))
        need("yard", all(s["is"]["yard"] is None or s["is"]["yard"] == c["yard"] for s in stops))
        need("skills", not {x for s in stops for x in s["is"]["skills"]} - set(c["skills"]))
        need("hands", max(s["is"]["hands"] for s in stops) <= c["hands"] + r["helpers"])
        need("payload", sum(s["is"]["weight_kg"] for s in stops) <= c["vehicle"]["payload_kg"])
        need("boxes", sum(s["is"]["boxes"] for s in stops) <= c["vehicle"]["boxes"])
        longest = max((s["is"]["box_mm"] for s in stops if s["is"]["boxes"] > 0), default=0)
        need("rack", longest <= c["vehicle"]["rack_mm"])
        if w["rest"] is None or out <= w["rest"]["after"]:
            need("rest", r["rest"] is None)
        else:
            # Stop by stop: the crew can stand at the place from its arrival to the service, and from then to leaving.
            dues = [s["start"] for s in stops[1:]] + [r["return"]]
            stands = [(a, s["start"]) for a, s in zip(arrive, stops, strict=False)]
            stands += [(s["end"], due - d) for s, due, d in zip(stops, dues, drive[1:], strict=True)]
            t, length = r["rest"], w["rest"]["length"]
            fits = t is not None and any(a <= t and t + length <= b for a, b in stands)
            need("rest", fits and w["rest"]["earliest"] <= t <= w["rest"]["latest"])
        metres = sum(w["travel"]["metres"][a][b] for a, b in pairwise(path))
        cost["crews"] += c["day_cents"] + c["minute_cents"] * out
        cost["overtime"] += c["overtime_minute_cents"] * max(r["return"] - sh["end"], 0)
        cost["travel"] += (c["km_cents"] * metres + 500) // 1000
        cost["helpers"] += r["helpers"] * hired.get((c["yard"], r["day"]), {"day_cents": 0})["day_cents"]

    for yard in base:
        for day in range(w["days"]):
            here = [(r, c, stops) for r, c, _, stops in real if c["yard"] == yard and r["day"] == day]
            need("helpers", sum(r["helpers"] for r, _, _ in here) <= hired.get((yard, day), {"count": 0})["count"])
            for item in {i for j in job.values() for i in j["equipment"]}:
                most = [
                    max(s["is"]["equipment"].get(item, 0) for s in x) - c["onboard"].get(item, 0) for _, c, x in here
                ]
                pool = sum(e["count"][day] for e in w["equipment"] if e["id"] == item and e["yard"] == yard)
                need("equipment", sum(n for n in most if n > 0) <= pool)
            before = [s["is"]["parts"] for r, c, _, x in real if c["yard"] == yard and r["day"] <= day for s in x]
            today = [s["is"]["parts"] for _, _, x in here for s in x]
            for part in {i for j in job.values() for i in j["parts"]}:
                shelf = [s for s in w["stock"] if s["id"] == part and s["yard"] == yard]
                got = sum(s["on_hand"] + sum(a["qty"] for a in s["arrivals"] if a["day"] <= day) for s in shelf)
                if any(parts.get(part) for parts in today):
                    need("stock", sum(parts.get(part, 0) for parts in before) <= got)

    visit = {s["job"]: (r["crew"], r["day"], s["start"], s["end"]) for r, _, _, x in real for s in x}
    due_list = set()
    for name, j in job.items():
        v, b = visit.get(name), j["booked"]
        cost["skipped"] += j["skip_cents"] if v is None else 0
        if v is not None and j["due_day"] is not None and v[1] > j["due_day"]:
            cost["late"] += j["late_cents"] * (v[1] - j["due_day"])
        if b is None:
            continue
        same_day = v is not None and v[1] == b["day"]
        exactly = same_day and v is not None and v[0] == b["crew"] and v[2] == b["start"]
        if not {"firm": exactly, "day": same_day, "soft": True}[b["hold"]]:
            due_list.add(name)
            cost["changes"] += w["broken_cents"]
        elif b["hold"] == "soft" and not same_day:
            cost["changes"] += b["move_cents"]
        elif b["hold"] != "firm" and v is not None:
            cost["changes"] += b["recrew_cents"] if v[0] != b["crew"] else 0
            cost["changes"] += b["retime_cents"] if not -30 <= v[2] - b["start"] <= 30 else 0
    need("booking", due_list == set(p["broken"]))
    for f in w["follows"]:
        a, b = visit.get(f["first"]), visit.get(f["then"])
        if b is not None:
            need("follows", a is not None)
        if a is not None and b is not None:
            need("follows", f["min_days"] <= b[1] - a[1] <= (10**9 if f["max_days"] is None else f["max_days"]))
            need("follows", a[0] == b[0] or not (f["same_crew"] or a[1] == b[1]))
            need("follows", a[1] != b[1] or a[3] <= b[2])
    cost["total"] = sum(cost.values())
    need("cost", p["cost"] == cost)
    need("bound", p["bound"] is None or p["bound"] <= cost["total"])
    return broken, cost


@pytest.mark.parametrize("seed", some_now(range(8), 4))
def test_agrees_with_a_second_judge_on_every_rule_and_cent(seed: int) -> None:
    for week, plan in cases(seed, weeks=30, each=20):
        verdict = audit(week, plan)
        broken, cost = judge(as_data(week), as_data(plan))
        assert {b.rule for b in verdict.broken_rules} == broken
        assert as_data(verdict.cost) == cost
        assert verdict.ok == (not broken)


def test_agrees_with_the_judge_that_comes_with_the_format() -> None:
    other = contract.judge()
    for week, plan in cases(seed=99, weeks=80, each=24):
        week_data, plan_data = as_data(week), as_data(plan)
        faults = other.shape(week_data, plan_data)
        bad, cost = other.audit(week_data, plan_data)
        verdict = audit(week, plan)
        assert as_data(verdict.cost) == cost
        ours = {b.rule for b in verdict.broken_rules}
        assert bool(faults) == ("same_week" in ours)
        assert bool(bad) == bool(ours - {"same_week", "cost", "bound"}), (bad, ours)
        assert ("cost" in ours) == (plan_data["cost"] != cost)
        assert ("bound" in ours) == (plan.bound is not None and plan.bound > cost["total"])


@pytest.mark.slow
def test_the_damage_breaks_every_rule_and_leaves_some_plans_whole() -> None:
    """Guards the two tests above against going blind: each rule is met often, alone as well as with others."""
    first_format = [rule for rule in RULES if rule not in ("assist", "reload")]  # those: test_second_format
    alone: dict[str, int] = dict.fromkeys(first_format, 0)
    whole = 0
    for week, plan in cases(seed=5, weeks=120, each=25):
        rules = {b.rule for b in audit(week, plan).broken_rules}
        whole += not rules
        if len(rules) == 1:
            alone[rules.pop()] += 1
    assert whole > 300
    assert [rule for rule, times in alone.items() if times < 2] == []


def test_every_breach_is_a_sentence_with_its_place() -> None:
    for week, plan in cases(seed=7, weeks=40, each=10):
        for breach in audit(week, plan).broken_rules:
            assert breach.rule in RULES
            assert breach.sentence.endswith(".")
            assert breach.sentence[0].isupper() or breach.sentence[0] == '"'
            assert "\n" not in breach.sentence
            named = breach.job or breach.crew
            assert named is None or named in breach.sentence
