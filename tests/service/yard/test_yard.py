"""Yards, people, vans, crews and equipment as JSON records, on SQLite and on PostgreSQL."""

from __future__ import annotations

from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from api.access.accounts import Role
from tests.service.cast import signed_in

OFF = {"first": "2027-04-12", "last": "2027-04-13", "why": "wedding"}
WHOLE = {**OFF, "part": "day"}
MONDAY = {"weekday": 0, "start": 420, "end": 1020, "overtime": 60}
YARD = {"id": "river", "name": "River", "lat": 41, "lon": -98.5}
LEAD = {
    "id": "ada",
    "name": "Ada Quillon",
    "yard_id": "river",
    "role": "lead",
    "skills": ["masonry"],
    "days_off": [WHOLE],
}
HELPER = {"id": "ben", "name": "Ben Tarrow", "yard_id": "river", "role": "helper"}
VAN = {"id": "van-9", "yard_id": "river", "payload_kg": 900, "rack_mm": 6100, "boxes": 2, "onboard": {"ladder-24": 2},
       "days_out": [OFF]}  # fmt: skip
CREW = {
    "id": "river-9", "name": "River nine", "yard_id": "river", "lead_id": "ada", "helper_id": "ben", "van_id": "van-9",
    "day_cents": 9000, "minute_cents": 60, "overtime_minute_cents": 90, "km_cents": 55, "hours": [MONDAY],
}  # fmt: skip
LADDER = {
    "id": "L-1", "kind": "ladder-28", "yard_id": "river", "name": "28 ft, blue", "checked_on": "2027-03-01",
    "out_of_service": [OFF],
}  # fmt: skip
ALL = (
    ("/yards", YARD),
    ("/people", LEAD),
    ("/people", HELPER),
    ("/vans", VAN),
    ("/crews", CREW),
    ("/equipment", LADDER),
)


@pytest.fixture
def office(app_on_either: FastAPI) -> TestClient:
    return signed_in(app_on_either, Role.office)


def make_all(client: TestClient) -> None:
    for path, values in ALL:
        answer = client.post(path, json=values)
        assert answer.status_code == 201, answer.text
        assert answer.headers["location"] == f"{path}/{values['id']}"


def test_a_yard_is_set_up_from_nothing_read_changed_and_cleared(office: TestClient) -> None:
    make_all(office)
    for path, values in ALL:
        read = office.get(f"{path}/{values['id']}")
        record = read.json()
        assert {**record, **values} == record
        assert record in office.get(path).json()["items"]
        sent = {name: value for name, value in record.items() if name not in ("id", "version")}
        same = office.put(f"{path}/{values['id']}", json=sent, headers={"If-Match": read.headers["etag"]})
        assert same.json() == {**record, "version": 2}, path
    for path, values in reversed(ALL):
        if path == "/people" and values is LEAD:
            assert office.get("/people/ada").json()["days_off"] == [WHOLE]
        gone = office.delete(f"{path}/{values['id']}", headers={"If-Match": '"2"'})
        assert gone.status_code == 204, gone.text
        assert office.get(f"{path}/{values['id']}").status_code == 404


def test_lists_inside_a_record_are_changed_with_it_and_stand_in_the_history(office: TestClient) -> None:
    make_all(office)
    later = {"first": "2027-05-03", "last": "2027-05-03", "why": "dentist", "part": "morning"}
    sent = {key: value for key, value in LEAD.items() if key != "id"} | {"days_off": [later]}
    assert office.put("/people/ada", json=sent, headers={"If-Match": '"1"'}).json()["days_off"] == [later]
    assert office.get("/people/ada").json()["days_off"] == [later]
    line = office.get("/history", params={"noun": "person", "noun_id": "ada"}).json()["items"][0]
    assert line["detail"] == {"days_off": [[WHOLE], [later]]}
    old = office.put("/people/ada", json=sent, headers={"If-Match": '"1"'})
    assert old.status_code == 412
    assert old.json()["current"]["days_off"] == [later]


@pytest.mark.parametrize(
    ("path", "values", "words"),
    [
        ("/people", {**HELPER, "id": "cy", "yard_id": "nowhere"}, 'yard_id: no yard has the id "nowhere"'),
        ("/crews", {**CREW, "id": "x", "lead_id": "ben"}, "helper_id: must be another person than the lead"),
        ("/crews", {**CREW, "id": "x", "lead_id": "ben", "helper_id": None}, "lead_id: Ben Tarrow is no lead"),
        ("/crews", {**CREW, "id": "x", "yard_id": "north"}, "lead_id: ada is at the yard river, the crew at north"),
        ("/crews", {**CREW, "id": "x"}, "lead_id: ada goes with the crew river-9 on one of these weekdays already"),
        ("/crews", {**CREW, "id": "x", "hours": [MONDAY, MONDAY]}, "hours must give each weekday once"),
        ("/crews", {**CREW, "id": "x", "hours": [{**MONDAY, "end": 420}]}, "end must come after start"),
        ("/equipment", {**LADDER, "id": "y", "out_of_service": [{**OFF, "last": "2027-04-01"}]}, "last must not come"),
        ("/vans", {**VAN, "id": "a b"}, "id"),
        ("/yards", {**YARD, "id": "z", "lat": 91}, "lat"),
        ("/people", {**HELPER, "id": "cy", "weekdays": "10"}, "weekdays"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_in_one_sentence(
    office: TestClient, path: str, values: dict[str, Any], words: str
) -> None:
    make_all(office)
    answer = office.post(path, json=values)
    assert answer.status_code == 422
    assert words in answer.json()["detail"] + str(answer.json().get("errors", "")), answer.text
    assert office.get(f"{path}/{values['id']}").status_code == 404


def test_what_is_used_stays_and_an_id_is_taken_once(office: TestClient) -> None:
    make_all(office)
    for path, one_id, words in (
        ("/yards", "river", "people"),
        ("/people", "ada", "crews that they lead"),
        ("/vans", "van-9", "crews"),
    ):
        answer = office.delete(f"{path}/{one_id}", headers={"If-Match": '"1"'})
        assert answer.status_code == 409
        assert words in answer.json()["detail"]
        assert office.get(f"{path}/{one_id}").status_code == 200
    assert office.get("/people/ada").json()["days_off"] == [WHOLE]
    again = office.post("/vans", json=VAN)
    assert again.status_code == 409
    assert "already" in again.json()["detail"]


def test_the_same_lead_may_go_with_another_crew_on_other_weekdays(office: TestClient) -> None:
    make_all(office)
    tuesday = {**CREW, "id": "river-10", "hours": [{**MONDAY, "weekday": 1}]}
    assert office.post("/crews", json=tuesday).status_code == 201
    put = {key: value for key, value in tuesday.items() if key != "id"} | {"hours": [MONDAY]}
    assert office.put("/crews/river-10", json=put, headers={"If-Match": '"1"'}).status_code == 422
    assert office.get("/crews/river-10").json()["hours"] == [{**MONDAY, "weekday": 1}]
