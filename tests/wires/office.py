"""An office whose policy is to take the cheapest offer: of what falls, of a crew that is late, of a customer's call."""

from __future__ import annotations

import datetime
from collections import Counter
from dataclasses import dataclass, field
from typing import Any

from tests.wires.doors import Doors

ROUNDS = 12  # what falls because of what was taken is dealt with in the next round


@dataclass
class Dealt:
    """What an office did: visits rebooked and let wait, ways taken for running days by kind, messages told.

    `rain_dates` were kept, `rained` of them gone to. `left` are the visits that nothing could be done about.
    """

    moved: int = 0
    rain_dates: int = 0
    rained: int = 0
    waiting: int = 0
    ways: Counter[str] = field(default_factory=Counter)
    messages: int = 0
    left: set[str] = field(default_factory=set)


class Office:
    """Deals with what the pages say, through their own forms; `did` counts it."""

    def __init__(self, doors: Doors) -> None:
        self.doors, self.did = doors, Dealt()

    def react(self) -> None:
        """Give every visit that cannot go another time, and tell the customers."""
        for _ in range(ROUNDS):
            for case in self.doors.get("/rebooking")["cases"]:
                self.deal(case)
            lines = [line for line in self.doors.get("/rebooking")["look_at"] if line["visit"] not in self.did.left]
            if not lines:
                break
            first = lines[0]
            away = first["cause"] == "crew away"
            about = {"crew": first["crew"], "day": first["date"]} if away else {"visit": first["visit"]}
            if first["rain_date"] and self.doors.form(f"/jobs/{first['visit']}/rain-date/go", 409, 412) is not None:
                self.did.rained += 1
            elif self.doors.form("/rebooking", 409, 422, cause=first["cause"], **about) is None:
                self.did.left.add(first["visit"])
        self.keep_rain_dates()
        self.tell()

    def keep_rain_dates(self) -> None:
        """Keep the best second day for each visit that is proposed one."""
        for one in self.doors.get("/rebooking")["doubtful"]:
            days = self.doors.get(f"/jobs/{one['visit']}/rain-date")["days"]
            if days and self.doors.form(f"/jobs/{one['visit']}/rain-date", 409, day=days[0]["key"]) is not None:
                self.did.rain_dates += 1

    def hand_on(self, crew: str) -> None:
        """For a crew that cannot go on, hand over or put off what it cannot do any more, the cheapest first."""
        for _ in range(ROUNDS):
            falls = self.doors.get("/today")["falls"]
            found = self.doors.get(f"/today/crews/{crew}/ways")
            if not self._take_way(crew, found, [way for way in found["ways"] if way["key"].split(":")[1] in falls]):
                return

    def call(self, visit: str, not_before: datetime.date) -> None:
        """Give a customer who calls the cheapest day from `not_before` on."""
        fields = {"cause": "customer", "visit": visit, "not_before": not_before.isoformat()}
        case = self.doors.form("/rebooking", 409, 422, **fields)
        if case is not None:
            self.deal(case)
        self.tell()

    def deal(self, case: dict[str, Any]) -> None:
        """Take the cheapest offer for each visit of a case."""
        for visit in [row["visit"] for row in case["visits"] if row["state"] == "open"]:
            for _ in range(3):
                row = self.doors.searched(case["id"], visit)
                offers = [one for one in row["offers"] if one["kind"] in ("stays", "later", "wait")]
                if row["state"] != "open" or not offers:
                    break
                best = min(offers, key=lambda one: (one["extra_cents"], one["key"]))
                address = f"/rebooking/{case['id']}/visits/{visit}"
                fields = {"choice": best["key"], "version": row["version"], "hold": "soft"}
                if self.doors.form(f"{address}/take", 409, 412, **fields) is not None:
                    self.did.moved += best["kind"] != "wait"
                    self.did.waiting += best["kind"] == "wait"
                    break
            else:
                self.did.left.add(visit)
            row = next(r for r in self.doors.get(f"/rebooking/{case['id']}")["visits"] if r["visit"] == visit)
            if row["state"] == "open":  # nothing can be offered: it stays as it is posted
                fields = {"version": row["version"]}
                self.doors.form(f"/rebooking/{case['id']}/visits/{visit}/keep", 409, 412, **fields)
                self.did.left.add(visit)

    def look_at_today(self) -> None:
        """For each crew heard of with a promise at risk take the cheapest way; tell the customers of all others."""
        for line in self.doors.get("/today")["crews"]:
            if line["quiet"] or not any(risk["message"] is None for risk in line["risks"]):
                continue
            self._better_way(line["crew"])
        for line in self.doors.get("/today")["crews"]:
            for risk in line["risks"]:
                if risk["message"] is None:  # of a crew that is still silent too: it should have left
                    self.doors.form("/today/late", 409, visit=risk["visit"])
        self.tell()

    def _better_way(self, crew: str) -> bool:
        """Take the cheapest way for the rest of a crew's day where it is cheaper than to go on; say whether it was."""
        found = self.doors.get(f"/today/crews/{crew}/ways")
        most = found["stay"]["total_cents"] if found["stay"] else 0
        cheaper = [way for way in found["ways"] if (way["total_cents"] or 0) < most]
        return self._take_way(crew, found, cheaper)

    def _take_way(self, crew: str, found: dict[str, Any], ways: list[dict[str, Any]]) -> bool:
        """Take the cheapest of some ways that have a price; say whether one was taken."""
        priced = [way for way in ways if way["total_cents"] is not None]
        best = min(priced, key=lambda way: (way["total_cents"], way["key"]), default=None)
        if best is None:
            return False
        fields = {"way": best["key"], "seen": found["seen"], "weighs": best["weighs"]}
        taken = self.doors.form(f"/today/crews/{crew}/ways", 409, **fields) is not None
        self.did.ways[best["kind"]] += taken
        return taken

    def tell(self) -> None:
        """Telephone everything that is still to be told."""
        for one in self.doors.get("/messages")["open"]:
            done = self.doors.form(f"/messages/{one['id']}/told", 409, 412, version=one["version"])
            if done is None:  # it is true no more: whoever wrote it anew has a newer one
                self.doors.form(f"/messages/{one['id']}/drop", 409, 412, version=one["version"])
            else:
                self.did.messages += 1
