"""Text messages: the gateway that a manager sets, and messages, batches and reminders that go by it."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from typing import Any
from urllib.parse import parse_qs

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import col, select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from api.messages.by_text.calling import dialed
from api.messages.by_text.gateway import gateway
from tests.service.cast import PAGE, signed_in
from tests.service.messages.cast import bookings, first
from tests.service.stand_in import Answer, Asked, StandIn

KEY = "Bearer s3cret-of-the-gateway"


class Gateway(StandIn):
    """A text gateway: keeps what it was asked to send; `status` and `words` are what it answers."""

    def __init__(self) -> None:
        self.calls: list[Asked] = []
        self.status, self.words = 202, "queued"
        super().__init__()
        self.address += "/send"

    def respond(self, asked: Asked) -> Answer:
        self.calls.append(asked)
        return Answer(self.words.encode(), self.status)

    @property
    def texts(self) -> list[dict[str, Any]]:
        return [json.loads(asked.body) for asked in self.calls]


@pytest.fixture
def sender() -> Iterator[Gateway]:
    one = Gateway()
    yield one
    one.close()


@pytest.fixture
def manager(app: FastAPI) -> TestClient:
    client = signed_in(app, Role.manager)
    client.headers["accept"] = "application/json"
    return client


@pytest.fixture
def set_up(app: FastAPI, manager: TestClient, sender: Gateway) -> Gateway:
    """A gateway that is set on its page."""
    app.state.settings = replace(app.state.settings, inner_calls="127.0.0.1")
    form = {"address": sender.address, "secret": KEY, "header": "Authorization", "more": "from=+13195550100"}
    assert manager.post("/text-gateway", data=form).status_code == 200
    return sender


def reachable(app: FastAPI, number: int, phone: str = "(319) 555-0142") -> None:
    with transaction(app.state.database) as session:
        session.get_one(tables.Message, number).to_phone = phone


def test_a_text_says_the_same_as_the_letter_and_is_sent_once(app: FastAPI, office: TestClient, set_up: Gateway) -> None:
    line = first(office)
    shown = office.get(f"/messages/{line['id']}", headers=PAGE).text
    assert "Send as a text" in shown
    assert line["text"] in shown.replace("&#39;", "'")
    assert line["text"].startswith("Tallow Bend Awning Works: ")
    assert "Call " in line["text"]
    form = {"subject": line["subject"], "body": line["body"], "to_phone": "(319) 555-0142", "then": "text",
            "text": "We come on Monday.", "hold": "day", "version": line["version"]}  # fmt: skip
    sent = office.post(f"/messages/{line['id']}", data=form).json()
    assert (sent["state"], sent["how"], sent["fault"]) == ("told", "text message", "")
    assert set_up.texts == [{"from": "+13195550100", "to": "+13195550142", "text": "We come on Monday."}]
    assert set_up.calls[0].headers["authorization"] == KEY
    (booking,) = bookings(app, line["visit_id"])
    assert (booking.hold, booking.told_how) == ("day", "text message")
    again = office.post(f"/messages/{line['id']}/send", data={"version": sent["version"], "how": "text"})
    assert (again.status_code, len(set_up.texts)) == (409, 1)
    told = office.get(f"/messages/{line['id']}", headers=PAGE).text
    assert "✓ sent by text message, olive" in told
    office.post(f"/messages/{line['id']}/answered", data={"version": sent["version"], "words": "Fine with us"})
    assert "✓ sent by text message, olive, answered" in office.get(f"/messages/{line['id']}", headers=PAGE).text
    assert "Fine with us" in office.get("/messages", headers=PAGE).text


def test_what_the_gateway_refuses_is_kept_in_words_without_the_key_and_goes_again(
    app: FastAPI, office: TestClient, set_up: Gateway
) -> None:
    line = first(office)
    reachable(app, line["id"])
    set_up.status, set_up.words = 402, f"no credit left for {KEY}"
    failed = office.post(f"/messages/{line['id']}/send", data={"version": line["version"], "how": "text"}).json()
    assert (failed["state"], failed["fault"]) == ("failed", "The text gateway answered 402: no credit left for …")
    assert not [one for one in bookings(app, line["visit_id"]) if one.told_how == "text message"]
    assert "no credit left" in office.get("/messages", headers=PAGE).text
    set_up.status = 200
    sent = office.post(f"/messages/{line['id']}/send", data={"version": failed["version"], "how": "text"}).json()
    assert (sent["state"], sent["fault"], len(set_up.texts)) == ("told", "", 2)


def test_many_go_as_texts_in_one_go_and_one_without_a_number_holds_up_no_other(
    app: FastAPI, office: TestClient, set_up: Gateway
) -> None:
    with transaction(app.state.database) as session:
        for one in session.exec(select(tables.Message)).all():
            one.to_email, one.to_phone = "", "319 555 0142"
    usual = [m for m in office.get("/messages").json()["open"] if not m["special"]][:3]
    page = office.get("/messages/look-over", headers=PAGE).text
    assert "As a text" in page
    assert "Send those ticked as texts" in page
    reachable(app, usual[1]["id"], "ask at the mill")
    marks = [f"{m['id']}.{m['version']}" for m in usual]
    answer = office.post("/messages/together", data={"tell": marks, "how": "text"}).json()
    assert answer["told"] == 2
    assert [(one["id"], "no number that a text" in one["why"]) for one in answer["left"]] == [(usual[1]["id"], True)]
    assert [text["text"] for text in set_up.texts] == [usual[0]["text"], usual[2]["text"]]


def test_a_gateway_that_takes_nothing_is_not_asked_for_each(app: FastAPI, office: TestClient, set_up: Gateway) -> None:
    with transaction(app.state.database) as session:
        for one in session.exec(select(tables.Message)).all():
            one.to_phone = "319 555 0142"
    set_up.status = 500
    usual = [m for m in office.get("/messages").json()["open"] if not m["special"]][:4]
    marks = [f"{m['id']}.{m['version']}" for m in usual]
    answer = office.post("/messages/together", data={"tell": marks, "how": "text"}).json()
    assert (answer["told"], len(answer["left"]), len(set_up.calls)) == (0, 4, 2)


def test_without_a_gateway_no_page_offers_a_text_and_none_is_sent(office: TestClient) -> None:
    line = first(office)
    for address in ("/messages", "/messages/look-over", f"/messages/{line['id']}"):
        assert "s a text" not in office.get(address, headers=PAGE).text
    refused = office.post(f"/messages/{line['id']}/send", data={"version": line["version"], "how": "text"})
    assert (refused.status_code, refused.json()["detail"]) == (409, "No text gateway is set up: tell it by telephone.")
    assert office.get("/text-gateway").status_code == 403


def test_the_page_sets_tries_changes_and_ends_the_gateway_and_never_shows_its_key(
    app: FastAPI, manager: TestClient, sender: Gateway
) -> None:
    app.state.settings = replace(app.state.settings, inner_calls="127.0.0.1")
    form = {"address": sender.address, "secret": KEY, "header": "X-Key", "form": "form"}
    assert manager.post("/text-gateway/try", data={"number": "319 555 0142"}).status_code == 409
    made = manager.post("/text-gateway", data=form).json()
    assert manager.post("/text-gateway/try", data={"number": "319 555 0142"}).json() == {"sent": True, "fault": ""}
    call = sender.calls[0]
    assert call.headers["x-key"] == KEY
    assert parse_qs(call.body.decode())["to"] == ["+13195550142"]
    assert "took the trial" in manager.post("/text-gateway/try", data={"number": "319 555 0142"}, headers=PAGE).text
    changed = {**form, "secret": "", "text_field": "words", "version": made["version"]}
    kept = manager.post("/text-gateway", data=changed).json()
    with transaction(app.state.database) as session:
        row = gateway(session)
        assert row is not None
        assert (row.secret, row.text_field) == (KEY, "words")
    elsewhere = {**changed, "address": "https://texts.example/send", "version": kept["version"]}
    refused = manager.post("/text-gateway", data=elsewhere)  # one gateway's key is not sent to another
    assert (refused.status_code, refused.json()["where"]) == (422, "secret")
    assert manager.post("/text-gateway", data=changed).status_code == 412
    shown = manager.get("/text-gateway", headers=PAGE).text + manager.get("/text-gateway").text
    shown += manager.get("/history", headers=PAGE).text
    assert KEY not in shown
    assert manager.post("/text-gateway/end").json() == {"gateway": None}
    with transaction(app.state.database) as session:
        assert gateway(session) is None


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("address", "http://texts.example/send", "must begin with https://"),
        ("address", "https://10.0.0.8/send", "inside this network"),
        ("address", "texts", "must be an address"),
        ("more", "from +1319", "must be lines such as"),
        ("more", "to=+1319", "must not name a field a second time"),
        ("to_field", "a b", "must be the name of a field"),
        ("header", "X Key", "must be the name of a header"),
        ("secret", "", "must be given"),
        ("secret", "k\r\nHost: elsewhere", "must be plain letters"),
        ("prefix", "19", "must be a country's number"),
    ],
)
def test_wrong_settings_are_named_and_what_was_typed_stays(
    manager: TestClient, field: str, value: str, words: str
) -> None:
    form = {"address": "https://texts.example/send", "secret": "k", "header": "X-Key", "more": "from=me", field: value}
    refused = manager.post("/text-gateway", data=form)
    assert (refused.status_code, refused.json()["where"]) == (422, field)
    assert words in refused.json()["detail"]
    page = manager.post("/text-gateway", data=form, headers=PAGE)
    assert (page.status_code, 'value="X-Key"' in page.text or field == "header") == (422, True)
    assert manager.get("/text-gateway").json() == {"gateway": None}


@pytest.mark.parametrize(
    ("phone", "prefix", "number"),
    [
        ("(319) 555-0142", "+1", "+13195550142"),
        ("1-319-555-0142", "+1", "+13195550142"),
        ("+44 20 7946 0018", "+1", "+442079460018"),
        ("0044 20 7946 0018", "+1", "+442079460018"),
        ("020 7946 0018", "+44", "+442079460018"),
        ("555-0142", "+1", ""),  # no area: nobody knows which one
        ("555-0142", "+1319", "+13195550142"),
        ("(212) 555-0142", "+1319", "+12125550142"),
        ("319 555 0142 ext. 12", "+1", ""),
        ("ask Jo", "+1", ""),
        ("", "+1", ""),
    ],
)
def test_numbers_are_dialed_as_the_world_does(phone: str, prefix: str, number: str) -> None:
    assert dialed(phone, prefix) == number


def test_a_reminder_goes_as_a_text(app: FastAPI, office: TestClient, set_up: Gateway) -> None:
    for line in office.get("/messages").json()["open"]:
        office.post(f"/messages/{line['id']}/told", data={"version": line["version"]})
    assert office.post("/messages/reminders").json()["drafted"] >= 1
    with transaction(app.state.database) as session:
        wanted = select(tables.Message).where(tables.Message.kind == "reminder").order_by(col(tables.Message.id))
        row = session.exec(wanted).first()
        assert row is not None
        assert ": A reminder: we are coming for your " in row.text
        number, version = row.id, row.version
        row.to_phone = "319 555 0142"
    answer = office.post("/messages/together", data={"tell": [f"{number}.{version}"], "how": "text"})
    assert answer.json()["told"] == 1
    assert "A reminder: we are coming" in set_up.texts[0]["text"]
