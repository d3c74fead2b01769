"""Surveys: as records, drawn before they are kept, and entered by the form of a job."""

from __future__ import annotations

import html
import io
import json
import re
import shutil
import time
from collections.abc import Iterator
from typing import Any

import msgspec
import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from httpx2 import Response
from PIL import Image
from sqlmodel import select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from api.survey.form import fields_of
from scheduler.layout.documents import survey_from_data
from tests.conftest import BuiltDemo
from tests.service.cast import JSON, PAGE, by_link, running, settings_for, signed_in
from tests.service.sales import made, sale
from tests.surveys import PLAIN, second_survey

JOB, AWNING = "J-1048", "A-2106"  # an install of the demo with a survey, and its awning
SURVEY_VISIT = "J-1076"  # a site without an order


@pytest.fixture(scope="module")
def demo(built: BuiltDemo, tmp_path_factory: pytest.TempPathFactory) -> Iterator[FastAPI]:
    out = shutil.copytree(built.out, tmp_path_factory.mktemp("surveys") / "out")
    with running(settings_for(out)) as app:
        yield app


@pytest.fixture
def office(demo: FastAPI) -> TestClient:
    return signed_in(demo, Role.office)


def form_of(client: TestClient, job: str = JOB) -> dict[str, str]:
    """Return the fields of a job's survey form as a browser would send them."""
    text = client.get(f"/jobs/{job}/survey", headers=PAGE).text
    form = re.search(r'<form id="survey".*?</form>', text, re.DOTALL)
    assert form, text
    body = re.sub(r"<template>.*?</template>", "", form[0], flags=re.DOTALL)
    fields: dict[str, str] = {}
    for tag in re.findall(r"<input [^>]*>", body):
        parts = dict(re.findall(r'([a-z]+)="([^"]*)"', tag))
        if parts.get("type") != "checkbox" or " checked" in tag:
            fields[parts["name"]] = html.unescape(parts.get("value", ""))
    for name, options in re.findall(r'<select id="([^"]+)".*?>(.*?)</select>', body, re.DOTALL):
        chosen = re.search(r'value="([^"]*)" selected', options)
        fields[name] = html.unescape(chosen[1]) if chosen else ""
    for name, text in re.findall(r'<textarea id="([^"]+)"[^>]*>(.*?)</textarea>', body, re.DOTALL):
        fields[name] = html.unescape(text)
    return fields


def kept(client: TestClient, fields: dict[str, str], job: str = JOB, accept: dict[str, str] = JSON) -> Response:
    return client.post(f"/jobs/{job}/survey", data={**fields, "do": "keep"}, headers=accept)


# As records


def test_a_survey_is_made_changed_and_deleted_and_the_history_knows(app_on_either: FastAPI) -> None:
    lead = signed_in(app_on_either, Role.lead)
    sold = sale(signed_in(app_on_either, Role.office))
    record = made(lead.post("/surveys", json=sold.survey(uncertain="left corner behind the downspout")))
    address = f"/surveys/{record['id']}"
    assert record["document"] == json.loads(json.dumps({**PLAIN, "id": record["id"]}))
    assert lead.get(address).json() == record
    assert lead.get("/surveys", params={"awning": sold.awning}).json()["items"] == [record]
    moved = {**PLAIN, "place": {**PLAIN["place"], "height": 3000}}
    changed = lead.put(address, json=sold.survey(document=moved), headers={"If-Match": '"1"'})
    assert (changed.status_code, changed.json()["document"]["place"]["height"]) == (200, 3000)
    late = lead.put(address, json=sold.survey(), headers={"If-Match": '"1"'})
    assert (late.status_code, late.json()["current"]["document"]["place"]["height"]) == (412, 3000)
    assert lead.delete(address, headers={"If-Match": '"2"'}).status_code == 204
    history = signed_in(app_on_either, Role.manager).get("/history", params={"noun": "survey"}).json()["items"]
    assert [(line["did"], line["by"]) for line in history] == [
        ("deleted", "lorn"),
        ("changed", "lorn"),
        ("made", "lorn"),
    ]


@pytest.mark.parametrize(
    ("change", "where"),
    [
        ({"awning_id": "A-none"}, "awning_id"), ({"site_id": "S-none"}, "site_id"),
        ({"document": {}}, "document.format"), ({"document": {**PLAIN, "colour": 1}}, "document.colour"),
        ({"document": {**PLAIN, "awning": {**PLAIN["awning"], "width": 5000}}}, "document.awning.width"),
        ({"surveyed_by": ""}, "body.surveyed_by"),
    ],
)  # fmt: skip
def test_a_survey_that_cannot_be_is_refused_by_its_key(app: FastAPI, change: dict[str, Any], where: str) -> None:
    office = signed_in(app, Role.office)
    refused = office.post("/surveys", json=sale(office).survey(**change))
    assert (refused.status_code, refused.json()["where"]) == (422, where), refused.text


def test_a_survey_that_an_open_install_rests_on_is_not_deleted(office: TestClient) -> None:
    (row,) = office.get("/surveys", params={"awning": AWNING}).json()["items"]
    refused = office.delete(f"/surveys/{row['id']}", headers={"If-Match": "*"})
    assert (refused.status_code, JOB in refused.json()["detail"]) == (409, True)


# Drawn before they are kept


def test_what_is_typed_is_drawn_with_its_findings(office: TestClient) -> None:
    drawn = office.post("/surveys/draw", json={"fields": fields_of(second_survey())}).json()
    assert drawn["svg"].startswith("<svg")
    assert (drawn["brackets"], drawn["required"], drawn["wrong"], drawn["missing"]) == (4, 4, {}, {})
    assert drawn["understood"]["awning.width"] == "13' 1 1/2\" (4000 mm)"
    assert {finding["level"] for finding in drawn["findings"]} >= {"caution", "note"}
    by_document = office.post("/surveys/draw", json={"document": msgspec.to_builtins(second_survey())}).json()
    assert (by_document["findings"], by_document["state"]) == (drawn["findings"], drawn["state"])


def test_what_is_wrong_is_told_by_field_and_what_is_missing_is_drawn_as_usual(office: TestClient) -> None:
    fields = fields_of(second_survey())
    wrong = office.post("/surveys/draw", json={"fields": {**fields, "awning.width": "wide"}}).json()
    assert (wrong["svg"], list(wrong["wrong"])) == (None, ["awning.width"])
    missing = office.post("/surveys/draw", json={"fields": {**fields, "place.height": ""}}).json()
    assert missing["svg"].startswith("<svg")
    assert missing["usual"] == ["height of the upper fasteners"]
    assert list(missing["missing"]) == ["place.height"]


def test_a_wall_that_carries_nothing_stops(office: TestClient) -> None:
    fields = {**fields_of(second_survey()), "wall.kind": "brick-veneer"}
    drawn = office.post("/surveys/draw", json={"fields": fields}).json()
    assert (drawn["brackets"], "1 stop" in drawn["state"]) == (0, True)
    assert drawn["findings"][0]["level"] == "stop"


def test_text_that_is_markup_stays_text_in_the_drawing(office: TestClient) -> None:
    obstacle = {"what": "<script>alert(1)</script>", "left": "2 ft", "right": "3 ft", "bottom": "8 ft", "top": "9 ft"}
    fields = {**fields_of(second_survey()), **{f"obstacles.0.{name}": text for name, text in obstacle.items()}}
    drawn = office.post("/surveys/draw", json={"fields": fields}).json()
    assert "&lt;script" in drawn["svg"]
    assert "<script" not in drawn["svg"]


def test_a_draft_is_fields_or_a_document(office: TestClient) -> None:
    assert office.post("/surveys/draw", json={}).status_code == 422
    assert office.post("/surveys/draw", json={"fields": {}, "document": {}}).status_code == 422
    assert office.post("/surveys/draw", json={"document": {"format": "x"}}).json()["where"] == "document.format"
    assert office.post("/surveys/draw", json={"fields": {"a": "x" * 501}}).status_code == 422


# By the form


def test_the_form_of_every_surveyed_job_is_kept_unchanged(office: TestClient, demo: FastAPI) -> None:
    """A round through the page as a browser makes it, one of each kind of wall; the properties go through all."""
    with transaction(demo.state.database) as session:
        second = [r for r in session.exec(select(tables.SiteSurvey)) if r.document["format"] == "survey/2"]
        rows = {row.document["wall"]["kind"]: row for row in second}
        visits = {v.awning_id: v.id for v in session.exec(select(tables.Visit).where(tables.Visit.kind == "install"))}
    assert len(rows) > 3
    for row in rows.values():
        job = visits[row.awning_id]
        answer = kept(office, form_of(office, job), job)
        assert answer.status_code == 200, (job, answer.text)
        now = office.get(f"/surveys/{row.id}").json()
        assert survey_from_data(now["document"]) == survey_from_data(row.document)
        assert (now["surveyed_on"], now["surveyed_by"]) == (row.surveyed_on.isoformat(), row.surveyed_by)
        assert office.get("/history", params={"noun": "survey", "noun_id": row.id}).json()["items"] == []


def test_a_survey_of_the_first_form_asks_for_the_zero_and_becomes_one_of_the_second(office: TestClient) -> None:
    (row,) = office.get("/surveys", params={"awning": "A-2112"}).json()["items"]
    assert row["document"]["format"] == "survey/1"
    fields = form_of(office, "J-1054")
    told = kept(office, fields, "J-1054").json()
    assert [error["where"] for error in told["errors"]][:3] == ["datum.name", "datum.control.what", "datum.control.at"]
    filled = {
        "datum.name": "left jamb of the patio door",
        "datum.control.what": "hose bib",
        "datum.control.at": "17 ft 2 in",
        "place.under": "private",
        "awning.valance": "0",
        "wall.member_depth": "5 1/2 in",
        "wall.species": "southern-pine",
        "wall.gravity": "",
        "built": "1961",
    }
    filled |= {f"awning.holes.{n}.{k}": v for n in range(4) for k, v in (("across", "0"), ("down", f"{40 * n} mm"))}
    assert kept(office, {**fields, **filled}, "J-1054").status_code == 200
    now = office.get(f"/surveys/{row['id']}").json()["document"]
    assert (now["format"], now["datum"]["name"], now["built"]) == ("survey/2", "left jamb of the patio door", 1961)
    page = html.unescape(office.get("/jobs/J-1054", headers=PAGE).text)
    assert "left jamb of the patio door" in page
    assert "hose bib" in page


def test_a_change_is_kept_the_drawing_is_new_and_the_history_says_what(office: TestClient) -> None:
    fields = form_of(office)
    sent = {**fields, "place.height": "14' 3\"", "uncertain": "behind the spout"}
    answer = kept(office, sent, accept=PAGE)
    assert (answer.status_code, answer.headers["location"]) == (303, f"/jobs/{JOB}/survey?awning={AWNING}&saved=1")
    page = office.get(f"/jobs/{JOB}", headers=PAGE).text
    assert "behind the spout" in page
    assert "Stale" not in page
    assert "14&#39; 3" in page or "14' 3" in page
    assert "Height of the upper fasteners from" in page
    papers = office.get(f"/jobs/{JOB}", headers=JSON).json()
    assert papers["survey"]["place"]["height"] == pytest.approx(4343.4)


def test_a_form_with_faults_comes_back_with_what_was_typed(office: TestClient) -> None:
    sent = {**form_of(office), "place.height": "ten foot high", "wall.cover": "", "surveyed_on": "spring"}
    answer = kept(office, sent, accept=PAGE)
    assert answer.status_code == 422
    for words in ("ten foot high", "is no length", "Not measured yet.", "Must be a date", "3 fields are not right"):
        assert words in html.unescape(answer.text)
    told = kept(office, sent).json()
    assert {error["where"] for error in told["errors"]} == {"place.height", "wall.cover", "surveyed_on"}


def test_another_width_than_ordered_is_refused(office: TestClient) -> None:
    refused = kept(
        office, {**form_of(office), "awning.width": "10 ft", "awning.arms.0": "1 ft", "awning.arms.1": "9 ft"}
    )
    assert refused.json()["where"] == "awning.width"
    assert "the awning ordered" in refused.json()["detail"]


def test_rows_are_added_and_dropped_without_a_script(office: TestClient) -> None:
    fields = form_of(office)
    more = office.post(f"/jobs/{JOB}/survey", data={**fields, "do": "add:obstacles"}, headers=PAGE).text
    assert 'name="obstacles.1.what"' in more
    less = office.post(f"/jobs/{JOB}/survey", data={**fields, "do": "drop:wall.members.0"}, headers=PAGE).text
    body = re.sub(r"<template>.*?</template>", "", less, flags=re.DOTALL)
    assert 'name="wall.members.0"' not in body
    assert 'name="wall.members.1"' in body
    drawn = office.post(f"/jobs/{JOB}/survey", data={**fields, "do": "draw", "wall.kind": "fascia"}, headers=PAGE).text
    assert re.search(r"0 of \d brackets placed, \d stops?", drawn)


def test_of_two_who_edit_one_survey_neither_loses(demo: FastAPI, office: TestClient) -> None:
    lead = signed_in(demo, Role.lead)
    mine, theirs = form_of(office), form_of(lead)
    first = {**theirs, "band.top": "20 ft", "place.slide": "3 in"}
    assert kept(lead, first).status_code == 200
    sent = {**mine, "wall.cover": "1 1/4 in", "place.slide": "4 in"}
    told = kept(office, sent)
    assert told.status_code == 412
    assert (told.json()["sent"]["wall.cover"], told.json()["current"]["band.top"]) == ("1 1/4 in", "20'")
    both = kept(office, sent, accept=PAGE)
    assert both.status_code == 412
    text = html.unescape(both.text)
    for words in ("lorn", '1 1/4" (31.8 mm)', "20' (6096 mm)", '3" (76.2 mm)', '4" (101.6 mm)', "▲ both changed"):
        assert words in text.replace("\u00a0", " "), words
    hidden = {name: html.unescape(value) for name, value in re.findall(r'name="(\w+)" value="([^"]*)"', both.text)}
    picked = dict(re.findall(r'name="(pick:[^"]+)" value="(\w+)"[^>]* checked', both.text))
    assert picked == {"pick:wall.cover": "mine", "pick:band.top": "theirs"}
    answer = office.post(
        f"/jobs/{JOB}/survey", data={**hidden, **picked, "pick:place.slide": "mine", "do": "pick"}, headers=PAGE
    )
    assert answer.status_code == 303, html.unescape(answer.text)[:3000]
    now = form_of(office)
    assert (now["wall.cover"], now["band.top"], now["place.slide"]) == ('1 1/4"', "20'", '4"')


def test_leaving_it_as_the_other_kept_it_changes_nothing(office: TestClient) -> None:
    old = form_of(office)
    assert kept(office, {**old, "place.slide": "5 in"}).status_code == 200
    both = kept(office, {**old, "place.slide": "6 in"}, accept=PAGE)
    hidden = {name: html.unescape(value) for name, value in re.findall(r'name="(\w+)" value="([^"]*)"', both.text)}
    assert kept(office, {**form_of(office)}).status_code == 200  # kept once more meanwhile
    again = office.post(f"/jobs/{JOB}/survey", data={**hidden, "do": "pick:mine"}, headers=PAGE)
    assert again.status_code == 412
    hidden["version"] = re.findall(r'name="version" value="(\d+)"', again.text)[0]
    left = office.post(f"/jobs/{JOB}/survey", data={**hidden, "do": "pick:theirs"}, headers=PAGE)
    assert left.status_code == 303
    assert form_of(office)["place.slide"] == '5"'


def test_a_request_that_is_sent_twice_keeps_once(office: TestClient) -> None:
    fields = {**form_of(office), "place.slide": "7 in", "do": "keep"}
    key = {"Idempotency-Key": "survey-once", **JSON}
    first, second = (office.post(f"/jobs/{JOB}/survey", data=fields, headers=key) for _ in range(2))
    assert first.json() == second.json()
    assert office.get("/surveys", params={"awning": AWNING}).json()["items"][0]["version"] == first.json()["version"]


def test_the_office_adds_the_awning_where_the_survey_lacks_it(demo: FastAPI, office: TestClient) -> None:
    job = "J-1079"
    form = {"model": "hood", "width": "12 ft", "projection": "10 ft", "weight": "119 lb", "box": "13 ft", "boxes": "1",
            "motor": "left", "cloth": "oat", "yard": "north", "arrives_on": ""}  # fmt: skip
    wrong = {**form, "width": "wide", "weight": "", "boxes": "0", "yard": "moon", "arrives_on": "soon"}
    told = office.post(f"/jobs/{job}/awning", data=wrong, headers=JSON).json()
    assert {error["where"] for error in told["errors"]} == {"width", "weight", "boxes", "yard", "arrives_on"}
    again = office.post(f"/jobs/{job}/awning", data=wrong, headers=PAGE)
    assert (again.status_code, 'value="wide"' in again.text) == (422, True)
    made_now = office.post(f"/jobs/{job}/awning", data=form, headers=PAGE)
    assert made_now.status_code == 303
    page = office.get(made_now.headers["location"], headers=PAGE).text
    assert "Survey of the wall for" in page
    fields = form_of(office, job)
    assert (fields["awning.width"], fields["awning.weight_kg"], fields["awning.motor"]) == ("3658 mm", "54 kg", "left")
    assert office.post(f"/jobs/{job}/awning", data=form, headers=PAGE).status_code == 409
    assert signed_in(demo, Role.lead).post(f"/jobs/{job}/awning", data=form).status_code == 403


def test_a_survey_visit_leads_to_the_awning_of_its_site(office: TestClient) -> None:
    with_site = office.get(f"/visits/{SURVEY_VISIT}").json()
    customer = office.get(f"/sites/{with_site['site_id']}").json()["customer_id"]
    order = made(
        office.post(
            "/orders", json={"customer_id": customer, "site_id": with_site["site_id"], "ordered_on": "2027-04-01"}
        )
    )
    like = office.get("/awnings/A-2100").json()
    body = {name: value for name, value in like.items() if name not in ("id", "version")} | {"order_id": order["id"]}
    ids = sorted(made(office.post("/awnings", json=body))["id"] for _ in range(2))
    text = office.get(f"/jobs/{SURVEY_VISIT}/survey", headers=PAGE).text
    assert f"?awning={ids[1]}" in text
    fields = form_of(office, SURVEY_VISIT)
    assert fields["awning.arms.0"] == "330 mm"  # the model's sizes, as surveyed for the same model before
    assert fields["place.height"] == fields["band.left"] == ""
    assert "Not measured yet." in kept(office, fields, SURVEY_VISIT).json()["detail"]
    old = fields_of(survey_from_data(office.get("/surveys/V-2100").json()["document"]))
    sent = {**{name: fields[name] for name in ("awning", "version", "surveyed_on", "surveyed_by")}, **old}
    refused = kept(office, sent, SURVEY_VISIT)
    assert refused.status_code == 422
    assert "No photo shows the zero: keep one, or say here why there is none." in refused.json()["detail"]
    page = kept(office, sent, SURVEY_VISIT, accept=PAGE).text
    assert '<a href="#no_zero">Photo of the zero</a>' in page
    answer = kept(office, {**sent, "no_zero": "measured from the roof"}, SURVEY_VISIT)
    assert answer.status_code == 200, answer.text
    (row,) = office.get("/surveys", params={"awning": ids[0]}).json()["items"]
    assert (row["version"], row["site_id"], row["document"]["id"]) == (1, with_site["site_id"], row["id"])
    assert row["uncertain"] == "No photo of the zero: measured from the roof"
    assert kept(office, sent, SURVEY_VISIT).status_code == 412  # a first survey again, where there is one now
    assert office.get(f"/jobs/{SURVEY_VISIT}/survey?awning=A-2100", headers=PAGE).status_code == 404


def test_a_lead_keeps_the_photo_of_a_wall_that_no_crew_has_been_given_yet_and_is_back_at_the_survey(
    demo: FastAPI,
) -> None:
    lead = signed_in(demo, Role.lead)
    assert lead.get(f"/jobs/{JOB}", headers=PAGE).status_code == 404
    text = lead.get(f"/jobs/{JOB}/survey", headers=PAGE).text
    assert "No photo shows the zero yet." in text
    assert f'action="/jobs/{JOB}/survey/photos"' in text
    picture = io.BytesIO()
    Image.new("RGB", (40, 30)).save(picture, "JPEG")
    sent = {"file": ("zero.jpg", picture.getvalue(), "image/jpeg")}
    data = {"shows": "zero", "caption": "left jamb", "awning": AWNING}
    answer = lead.post(f"/jobs/{JOB}/survey/photos", data=data, files=sent, headers=PAGE, follow_redirects=False)
    assert (answer.status_code, answer.headers["location"]) == (303, f"/jobs/{JOB}/survey?awning={AWNING}#zero")
    assert "✓ A photo shows the zero: left jamb." in lead.get(f"/jobs/{JOB}/survey", headers=PAGE).text
    crate = lead.post(f"/jobs/{JOB}/survey/photos", data={"shows": "crate"}, files=sent, headers=JSON)
    assert crate.status_code == 422


def test_a_reader_looks_and_a_link_looks_at_its_own_jobs_only(demo: FastAPI, built: BuiltDemo) -> None:
    reader = signed_in(demo, Role.reader)
    text = reader.get(f"/jobs/{JOB}/survey", headers=PAGE).text
    assert "<fieldset disabled>" in text
    assert 'value="keep"' not in text
    assert kept(reader, {}).status_code == 403
    link = by_link(demo, "north-1", built.made.start_date)
    assert link.get(f"/jobs/{JOB}/survey", headers=PAGE).status_code == 404
    assert link.post(f"/jobs/{JOB}/survey", data={}).status_code == 403


def test_fields_beyond_all_measure_are_refused(office: TestClient) -> None:
    assert kept(office, {**form_of(office), "wall.cover": "1" * 600}).status_code == 422


def test_a_drawing_takes_less_than_a_tenth_of_a_second(office: TestClient) -> None:
    """The middle of ten, of the processor's own time: what else the machine does is not the drawing's doing."""
    fields = fields_of(second_survey())
    times = []
    for n in range(10):
        started = time.process_time()
        drawn = office.post("/surveys/draw", json={"fields": {**fields, "place.slide": f"{n} mm"}})
        assert drawn.status_code == 200
        times.append(time.process_time() - started)
    assert sorted(times)[5] < 0.1
