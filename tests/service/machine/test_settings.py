"""/settings: each part read, changed and refused, in forms and in JSON, with its history."""

from __future__ import annotations

import html
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import Session, select

from api import tables
from api.access.accounts import Role
from api.business import choices
from api.business.rules import DEFAULT_RULES
from api.database import transaction
from api.fields.rules import rules_from_data
from scheduler.times.defaults import DEFAULT_TIMES_CSV
from scheduler.times.durations import read_times
from scheduler.weather.limits import DEFAULT_LIMITS_CSV, read_limits
from tests.service.cast import JSON, PAGE, add_yard, running, settings_for, signed_in
from tests.service.office.test_set_up import keep_file, send, text_of

pytestmark = pytest.mark.slow


@pytest.fixture
def app(sqlite_folder: Path) -> Iterator[FastAPI]:
    with running(settings_for(sqlite_folder)) as app:
        add_yard(app.state.database)
        with transaction(app.state.database) as session:
            row = business(session)
            row.rules, row.limits, row.times = DEFAULT_RULES, DEFAULT_LIMITS_CSV, DEFAULT_TIMES_CSV
            session.add(tables.CrewHours(crew_id="north-1", weekday=0, start=450, end=990, overtime=75))
        yield app


@pytest.fixture
def manager(app: FastAPI) -> TestClient:
    return signed_in(app, Role.manager)


def business(session: Session) -> tables.Business:
    return session.get_one(tables.Business, 1)


def read(client: TestClient, part: str) -> tuple[dict[str, str], str]:
    answer = client.get(f"/settings/{part}", headers=JSON)
    assert answer.status_code == 200, answer.text
    return answer.json()["values"], answer.headers["etag"]


def change(client: TestClient, part: str, values: dict[str, str], etag: str | None = None) -> Any:
    etag = etag or read(client, part)[1]
    return client.put(f"/settings/{part}", json={"values": values}, headers={"If-Match": etag})


def form_of(page: str) -> dict[str, str]:
    """Return what a browser would send of the part's form as it stands."""
    page = page[page.index('<form class="part"') :]
    sent = dict(re.findall(r'<input[^>]*?name="([^"]+)" value="([^"]*)"', page))
    sent |= dict(re.findall(r'<textarea[^>]*?name="([^"]+)"[^>]*>([^<]*)<', page))
    for name, body in re.findall(r'<select[^>]*? name="([^"]+)"[^>]*>(.*?)</select>', page, re.S):
        chosen = re.search(r'value="([^"]*)" selected', body) or re.search(r'value="([^"]*)"', body)
        assert chosen
        sent[name] = chosen[1]
    return {html.unescape(name): html.unescape(value) for name, value in sent.items()}


def test_every_part_is_shown_and_taken_in_again_as_it_stands_without_a_change(
    app: FastAPI, manager: TestClient
) -> None:
    before = {part: read(manager, part) for part in choices.PARTS}
    assert set(manager.get("/settings", headers=JSON).json()["parts"]) == set(choices.PARTS)
    for part, (values, _) in before.items():
        page = manager.get(f"/settings/{part}", headers=PAGE)
        assert page.status_code == 200
        sent = form_of(page.text)
        with transaction(app.state.database) as session:
            shown = {line.name: line.shown for line in choices.PARTS[part](session).lines}
        assert {name: sent[name] for name in values} == shown, part
        answer = manager.post(f"/settings/{part}", data=sent, headers=PAGE)
        assert answer.headers["location"] == f"/settings/{part}?kept=0"
        assert "Nothing was different" in manager.get(answer.headers["location"], headers=PAGE).text
    assert {part: read(manager, part) for part in choices.PARTS} == before
    assert manager.get("/history", params={"noun": "settings"}).json()["items"] == []


def test_a_business_in_feet_reads_and_types_inches_and_fahrenheit_and_programs_what_is_kept(
    manager: TestClient,
) -> None:
    kept, _ = read(manager, "weather")
    assert (kept["install.rain_mm.value"], kept["install.temp_least_c.value"]) == ("0.5", "-7")
    sent = form_of(manager.get("/settings/weather", headers=PAGE).text)
    assert (sent["install.rain_mm.value"], sent["install.temp_least_c.value"]) == ("0.02", "19.4")
    typed = {"install.temp_least_c.value": "41", "install.rain_mm.value": "0.1"}
    assert manager.post("/settings/weather", data=sent | typed, headers=PAGE).status_code == 303
    after, _ = read(manager, "weather")
    changed = {name: value for name, value in after.items() if kept[name] != value}
    assert changed == {"install.temp_least_c.value": "5", "install.rain_mm.value": "2.54"}
    page = manager.get("/settings/weather", headers=PAGE).text
    assert "“0.02” → “0.1”" in page
    sent = form_of(page) | {"install.rain_mm.value": "3", "install.gust_mph.reason": "two\r\nlines"}
    refused = manager.post("/settings/weather", data=sent, headers=PAGE)
    assert refused.status_code == 422
    assert "must be a number from 0 to 2, is “3”" in refused.text.replace("&#34;", "“", 1).replace("&#34;", "”", 1)


def test_usual_reasons_are_said_in_the_language_of_the_page_and_stay_what_they_are(manager: TestClient) -> None:
    kept, _ = read(manager, "weather")
    manager.cookies.set("eave-language", "es")
    page = manager.get("/settings/weather", headers=PAGE).text
    assert "Un toldo abierto atrapa el viento" in page
    answer = manager.post("/settings/weather", data=form_of(page), headers=PAGE)
    assert answer.headers["location"] == "/settings/weather?kept=0"
    assert read(manager, "weather")[0] == kept


def test_a_changed_price_is_what_planning_reads_and_the_history_keeps_both(app: FastAPI, manager: TestClient) -> None:
    values, etag = read(manager, "prices")
    assert values["skip_cents.install"] == "1,400"
    answer = change(manager, "prices", {"skip_cents.install": "$1,550.50", "broken_cents": "5000"})
    assert answer.status_code == 200, answer.text
    assert answer.json()["values"] == {**values, "skip_cents.install": "1,550.50", "broken_cents": "5,000"}
    assert answer.headers["etag"] != etag
    with transaction(app.state.database) as session:
        prices = rules_from_data(business(session).rules).prices
        assert (prices.skip_cents.install, prices.broken_cents, prices.move_cents) == (155_050, 500_000, 12_000)
    [line] = manager.get("/history", params={"noun": "settings", "noun_id": "prices"}).json()["items"]
    assert (line["by"], line["did"]) == ("maud", "changed")
    assert line["detail"] == {"skip_cents.install": ["1,400", "1,550.50"], "broken_cents": ["4,000", "5,000"]}
    page = manager.get("/settings/prices", headers=PAGE).text
    assert "Put off to a later week, install: “1,400” → “1,550.50”" in page


# (part, what is sent, what the answer says)
REFUSED: list[tuple[str, dict[str, str], str]] = [
    ("prices", {"move_cents": "-3"}, "move_cents: must be dollars such as 1,400 or 12.50"),
    ("prices", {"nonsense": "3"}, "nonsense: is not known here"),
    ("week", {"week_days": "8"}, "week_days: must be from 1 to 7, is 8"),
    ("week", {"rest_earliest": "half past"}, "rest_earliest: must be a time such as 7:30"),
    ("week", {"rest_latest": "10:00"}, "rest_latest: must not come before the earliest"),
    ("week", {"plan_with": "p99"}, "plan_with: must be one of p50, p65, p80"),
    ("week", {"tall_ladder_from_mm": "high"}, 'tall_ladder_from_mm: "high" is no length'),
    ("business", {"timezone": "Chicago"}, "timezone: must be the name of a time zone"),
    ("business", {"name": ""}, "name: must not be empty"),
    ("weather", {"install.wind_mph.value": "35"}, "install.wind_mph.value: must be a number from 0 to 30"),
    ("weather", {"install.wind_mph.value": "35"}, "OSHA"),
    ("weather", {"install.wind_mph.source": ""}, "install.wind_mph.source: must not be empty"),
    ("weather", {"install.wind_mph.out": "out"}, 'no wind_mph for "install"; every kind of work needs one'),
    ("weather", {"survey.thunder_wait_min.value": "10"}, "30 minutes after the last thunder"),
    ("times", {"install.drill.hole in concrete.value": "x"}, "hole in concrete.value: must be a number from 0"),
    ("times", {"repair.uncertainty.p80 factor.value": "0.5"}, "p80 factor.value: must be a number from 1 to 5"),
    ("crews", {"north-1.hours": "Mon 7:30"}, "north-1.hours: must read like"),
    ("crews", {"north-1.hours": "2027-04-12 8:00-12:00"}, "north-1.hours: must name weekdays and no dates"),
    ("crews", {"north-1.overtime_min": "480"}, "north-1.overtime_min: goes past midnight"),
]


def test_what_cannot_stand_is_told_by_name_and_nothing_is_kept(manager: TestClient) -> None:
    before = {part: read(manager, part) for part in choices.PARTS}
    forms = {part: form_of(manager.get(f"/settings/{part}", headers=PAGE).text) for part in choices.PARTS}
    for part, values, problem in REFUSED:
        answer = change(manager, part, values, before[part][1])
        assert answer.status_code == 422
        assert problem in answer.json()["detail"]
        page = manager.post(f"/settings/{part}", data=forms[part] | values, headers=PAGE)
        assert page.status_code == 422
        assert "Nothing was kept" in page.text
        for name, value in values.items():
            if not name.endswith(("nonsense", "plan_with", ".out")):  # typed, not chosen
                assert f'value="{html.escape(value)}"' in page.text
    assert {part: read(manager, part) for part in choices.PARTS} == before


def test_every_fault_is_told_at_once(manager: TestClient) -> None:
    answer = change(manager, "prices", {"move_cents": "x", "late_cents.repair": "", "broken_cents": "1"})
    assert [error["where"] for error in answer.json()["errors"]] == ["late_cents.repair", "move_cents"]


def test_of_two_who_change_the_same_part_the_second_is_shown_both(app: FastAPI, manager: TestClient) -> None:
    other = signed_in(app, Role.manager)
    etag = read(manager, "prices")[1]
    stale = form_of(manager.get("/settings/prices", headers=PAGE).text)
    assert change(other, "prices", {"move_cents": "150"}).status_code == 200
    refused = change(manager, "prices", {"move_cents": "90"}, etag)
    assert refused.status_code == 412
    assert refused.json()["current"]["move_cents"] == "150"
    assert refused.json()["sent"] == {"move_cents": "90"}
    page = manager.post("/settings/prices", data=stale | {"move_cents": "90"}, headers=PAGE)
    assert page.status_code == 412
    assert 'value="90"' in page.text
    assert "▲ now “150”" in page.text
    assert read(manager, "prices")[0]["move_cents"] == "150"
    # Another part of the same row is not in the way.
    week = form_of(manager.get("/settings/week", headers=PAGE).text)
    change(other, "prices", {"move_cents": "151"})
    assert manager.post("/settings/week", data=week | {"week_days": "5"}, headers=PAGE).status_code == 303
    assert read(manager, "week")[0]["week_days"] == "5"
    assert manager.put("/settings/week", json={"values": {}}).status_code == 428


def test_weather_limits_and_task_times_are_changed_added_and_taken_out(app: FastAPI, manager: TestClient) -> None:
    new = {"applies_to": "survey", "measure": "temp_least_c", "value": "-10", "reason": "Numb", "source": "assumption"}
    values = {"install.wind_mph.value": "18", "sealant.rain_mm.out": "out"}
    answer = change(manager, "weather", values | {f"new.{name}": value for name, value in new.items()})
    assert answer.status_code == 200, answer.text
    new = {
        "kind": "repair",
        "task": "oil the arms",
        "per": "visit",
        "value": "5",
        "shared": "0",
        "source": "assumption",
    }
    answer = change(manager, "times", {f"new.{name}": value for name, value in new.items()})
    assert answer.status_code == 200, answer.text
    with transaction(app.state.database) as session:
        row = business(session)
        limits = {(r.applies_to, r.measure): r.value for r in read_limits(row.limits).rows}
        before = {(r.applies_to, r.measure): r.value for r in read_limits(DEFAULT_LIMITS_CSV).rows}
        del before["sealant", "rain_mm"]
        assert limits == before | {("install", "wind_mph"): 18.0, ("survey", "temp_least_c"): -10.0}
        assert [t.value for t in read_times(row.times).rows if t.task == "oil the arms"] == [5]
    twice = change(manager, "times", {f"new.{name}": value for name, value in new.items()})
    assert "stands already further up" in twice.json()["detail"]


def test_a_crews_hours_and_prices_are_those_that_planning_reads(app: FastAPI, manager: TestClient) -> None:
    assert read(manager, "crews")[0]["north-1.hours"] == "Mon 7:30-16:30"
    sent = {"north-1.hours": "Mon-Thu 7:00-16:00; Sat 8:00-12:00", "north-1.minute_cents": "1.25"}
    answer = change(manager, "crews", sent)
    assert answer.status_code == 200, answer.text
    with transaction(app.state.database) as session:
        crew = session.get_one(tables.Crew, "north-1")
        assert (crew.minute_cents, crew.version) == (125, 2)
        assert session.get_one(tables.Crew, "north-2").version == 1
        spans = {
            (row.weekday, row.start, row.end, row.overtime)
            for row in session.exec(select(tables.CrewHours))
            if row.crew_id == "north-1"
        }
    assert spans == {(0, 420, 960, 75), (1, 420, 960, 75), (2, 420, 960, 75), (3, 420, 960, 75), (5, 480, 720, 75)}


def test_lengths_are_typed_in_either_measure(app: FastAPI, manager: TestClient) -> None:
    for text, mm in (("12 ft", 3658), ("12' 6\"", 3810), ("3.7 m", 3700)):
        assert change(manager, "week", {"tall_ladder_from_mm": text}).status_code == 200
        with transaction(app.state.database) as session:
            assert rules_from_data(business(session).rules).tall_ladder_from_mm == mm


def test_a_first_business_is_set_up_by_its_form(sqlite_folder: Path) -> None:
    with running(settings_for(sqlite_folder)) as app:
        manager = signed_in(app, Role.manager)
        assert set(manager.get("/settings", headers=JSON).json()["parts"]) == {"business"}
        assert manager.get("/settings/prices", headers=JSON).status_code == 404
        sent = form_of(manager.get("/settings/business", headers=PAGE).text)
        sent |= {"name": "Marl Awnings", "town": "Marl", "timezone": "America/Denver"}
        assert manager.post("/settings/business", data=sent, headers=PAGE).status_code == 303
        with transaction(app.state.database) as session:
            row = business(session)
            assert (row.name, row.timezone, row.units) == ("Marl Awnings", "America/Denver", "imperial")
        assert manager.get("/settings/prices", headers=JSON).status_code == 200


def test_what_the_service_was_started_with_is_told_but_no_secret(app: FastAPI, manager: TestClient) -> None:
    started = manager.get("/settings", headers=JSON).json()["started_with"]
    assert started["EAVEBOARD_DATA"] == str(app.state.settings.data)
    assert started["EAVEBOARD_SECRET"] == "kept in the data folder"
    page = manager.get("/settings", headers=PAGE).text
    assert app.state.secret not in page
    for name in started:
        assert f"<code>{name}</code>" in page


def test_settings_are_the_managers_alone(app: FastAPI) -> None:
    for role in (Role.office, Role.lead, Role.reader):
        assert signed_in(app, role).get("/settings/prices", headers=JSON).status_code == 403


def test_task_times_and_limits_come_from_a_messy_file_of_the_managers(app: FastAPI, manager: TestClient) -> None:
    manager.headers.update(PAGE)
    messy = (
        "Our times, by Lea\n\nJob type;Step;Counted;Minutes;Remarks\nInstalls;prime the wall;visit;12.5 min;clocked\n"
    )
    messy += "install;drill;hole in wood-studs;4.5;\njuggle;x;visit;3;\n"
    where = send(manager, "times", messy.encode("cp1252"))
    page = manager.get(where).text
    assert "<b>1</b> new, <b>1</b> changed, 0 as they are, <b>1</b> refused" in page, text_of(page)
    assert "For: must be one of" in text_of(page)
    assert "Taken in" in text_of(keep_file(manager, where))
    with transaction(app.state.database) as session:
        times = {(row.kind, row.task): row for row in read_times(business(session).times).rows}
        assert (times["install", "prime the wall"].value, times["install", "prime the wall"].source) == (
            12.5,
            "clocked",
        )
        before = len(read_limits(business(session).limits).rows)
    assert "As you read the last file of this make" in manager.get(send(manager, "times", messy.encode())).text
    wind = b"For\tWhat is limited\tLimit\nInstalls\twind_mph\t18 mph\n"
    assert "1 changed" in text_of(keep_file(manager, send(manager, "weather", wind)))
    with transaction(app.state.database) as session:
        limits = read_limits(business(session).limits).rows
        assert len(limits) == before
        assert next(one.value for one in limits if (one.applies_to, one.measure) == ("install", "wind_mph")) == 18
    office = signed_in(app, Role.office)
    assert office.post("/set-up/times/files", files={"file": ("t.csv", b"x,y\n1,2\n")}).status_code == 403


def test_prices_and_the_rules_of_a_week_go_out_as_a_table_and_come_in_from_a_messy_one(manager: TestClient) -> None:
    manager.headers.update(PAGE)
    for part in ("prices", "week", "times", "weather"):  # what goes out comes in and changes nothing
        out = manager.get(f"/settings/{part}/table.csv")
        assert out.status_code == 200
        page = text_of(manager.get(send(manager, part, out.content)).text)
        assert re.search(r" 0 new, 0 changed, [1-9]\d* as they are, 0 refused", page), page[:600]
    messy = "Our prices for 2027\n\nPrice of;Amount\nA day late, install;$85.50\nanother day than told;150\nTea;3\n"
    where = send(manager, "prices", messy.encode("cp1252"))
    page = text_of(manager.get(where).text)
    assert "0 new, 2 changed, 0 as they are, 1 refused" in page
    assert "What: must be one of A day late, install" in page
    assert read(manager, "prices")[0]["late_cents.install"] == "70"  # nothing yet
    keep_file(manager, where)
    values = read(manager, "prices")[0]
    assert (values["late_cents.install"], values["move_cents"]) == ("85.50", "150")
    assert manager.get("/settings/business/table.csv").status_code == 404


def test_a_change_of_settings_is_undone_where_nothing_has_changed_since(manager: TestClient) -> None:
    def lines(part: str) -> list[Any]:
        items = manager.get("/history", params={"noun": "settings", "noun_id": part}, headers=JSON).json()["items"]
        return sorted(items, key=lambda one: one["id"])

    assert change(manager, "prices", {"late_cents.install": "90", "move_cents": "1"}).status_code == 200
    assert change(manager, "prices", {"move_cents": "2"}).status_code == 200
    first, second = lines("prices")
    refused = manager.post(f"/settings/prices/undo/{first['id']}", headers=JSON)
    assert (refused.status_code, "changed again since" in refused.json()["detail"]) == (409, True)
    page = manager.get("/settings/prices", headers=PAGE).text
    assert f"/settings/prices/undo/{second['id']}" in page
    assert f"/settings/prices/undo/{first['id']}" not in page
    for line in (second, first):
        assert manager.post(f"/settings/prices/undo/{line['id']}", headers=PAGE).status_code == 303
    assert (read(manager, "prices")[0]["late_cents.install"], read(manager, "prices")[0]["move_cents"]) == ("70", "120")
    before = read(manager, "times")[0]
    sent = send(manager, "times", b"Job type,Step,Counted,Minutes\ninstall,wash hands,visit,3\n")
    keep_file(manager, sent)
    assert "install.wash hands.visit.value" in read(manager, "times")[0]
    (line,) = lines("times")
    assert manager.post(f"/settings/times/undo/{line['id']}", headers=PAGE).status_code == 303  # the row goes again
    assert read(manager, "times")[0] == before
    assert manager.post(f"/settings/week/undo/{line['id']}", headers=JSON).status_code == 404
