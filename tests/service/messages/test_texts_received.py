"""Texts that customers send: taken; answers stand on messages, STOP is kept, strangers learn nothing."""

from __future__ import annotations

import datetime
import math
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from typing import Any

import pytest
import sqlalchemy as sa
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from api.messages.by_text import received
from api.routes.rebooking import messages
from tests.service.cast import PAGE, anonymous, signed_in
from tests.service.messages.cast import first

PHONE, NUMBER = "(319) 555-0142", "+13195550142"


@pytest.fixture
def manager(app: FastAPI) -> TestClient:
    client = signed_in(app, Role.manager)
    client.headers["accept"] = "application/json"
    return client


def set_gateway(app: FastAPI, manager: TestClient, **more: str) -> dict[str, Any]:
    app.state.settings = replace(app.state.settings, inner_calls="127.0.0.1")
    form = {"address": "http://127.0.0.1:9/send", "header": "X-Key", "secret": "k", **more}
    gateway: dict[str, Any] = manager.post("/text-gateway", data=form).json()
    return gateway


@pytest.fixture
def door(app: FastAPI, manager: TestClient) -> str:
    """The path of the address for texts, as the manager's page gives it."""
    made = set_gateway(app, manager)
    assert made["texts"] == ""
    made = manager.post("/text-gateway/replies", data={"version": made["version"]}).json()["gateway"]
    address: str = made["texts"]
    assert address in manager.get("/text-gateway", headers=PAGE).text
    return address.removeprefix(app.state.settings.base)


def told(app: FastAPI, office: TestClient, phone: str = PHONE) -> dict[str, Any]:
    """A message that olive of the office has told a customer of that number, by telephone."""
    line = first(office)
    with transaction(app.state.database) as session:
        message = session.get_one(tables.Message, line["id"])
        visit = session.get_one(tables.Visit, message.visit_id)
        customer = session.get_one(tables.Customer, session.get_one(tables.Site, visit.site_id).customer_id)
        message.to_phone = customer.phone = phone
    done: dict[str, Any] = office.post(f"/messages/{line['id']}/told", data={"version": line["version"]}).json()
    assert done["state"] == "told"
    return done


def send(app: FastAPI, door: str, words: str, number: str = NUMBER) -> int:
    return anonymous(app).post(door, json={"from": number, "text": words}).status_code


def kept(app: FastAPI) -> list[tables.TextReceived]:
    with transaction(app.state.database) as session:
        return list(session.exec(select(tables.TextReceived).order_by(tables.TextReceived.id)).all())  # type: ignore[arg-type]


def test_an_answer_stands_on_its_message_its_job_and_the_pages_of_who_told_it_until_it_is_read(
    app: FastAPI, office: TestClient, manager: TestClient, door: str
) -> None:
    line = told(app, office)
    assert send(app, door, "Fine, <b>but</b> after ten") == 204
    answered = office.get(f"/messages/{line['id']}").json()
    assert (answered["answer"], answered["answered_by"]) == ("Fine, <b>but</b> after ten", "text message")
    words = "Fine, &lt;b&gt;but&lt;/b&gt; after ten"
    assert words in office.get("/messages", headers=PAGE).text
    assert words in office.get(f"/jobs/{line['visit_id']}", headers=PAGE).text
    assert "answered your message" in office.get("/rebooking", headers=PAGE).text
    assert "answered your message" not in manager.get("/rebooking", headers=PAGE).text
    with transaction(app.state.database) as session:
        standing = app.state.pulse.standing(datetime.date(2027, 4, 12), object())
        assert [(one.words, one.to) for one in standing.answers] == [("Fine, <b>but</b> after ten", "olive")]
        line_of_history = session.exec(select(tables.History).where(tables.History.did == "noted the answer to")).one()
        assert line_of_history.by == "text message"
    assert send(app, door, "And mind the dog") == 204
    more = office.get(f"/messages/{line['id']}").json()["answer"]
    assert more == "Fine, <b>but</b> after ten / And mind the dog"
    for text in office.get("/messages").json()["texts"]:
        assert office.post(f"/messages/texts/{text['id']}/seen").json()["seen_by"] == "olive"
    assert office.get("/messages").json()["texts"] == []
    assert "answered your message" not in office.get("/rebooking", headers=PAGE).text
    assert "text message asked" not in manager.get("/history", headers=PAGE).text


def test_a_gateway_that_tries_again_brings_no_second_answer(app: FastAPI, office: TestClient, door: str) -> None:
    line = told(app, office)
    assert [send(app, door, "Yes"), send(app, door, "Yes")] == [204, 204]
    assert office.get(f"/messages/{line['id']}").json()["answer"] == "Yes"
    assert len(kept(app)) == 1


@pytest.mark.race
def test_of_the_same_text_sent_several_times_at_once_one_is_kept(app_on_either: FastAPI) -> None:
    """A gateway that is answered slowly tries again while its first call is still being worked at."""
    app = app_on_either
    manager = signed_in(app, Role.manager)
    manager.headers["accept"] = "application/json"
    made = set_gateway(app, manager)
    made = manager.post("/text-gateway/replies", data={"version": made["version"]}).json()["gateway"]
    door = made["texts"].removeprefix(app.state.settings.base)
    with ThreadPoolExecutor(8) as pool:
        codes = list(pool.map(lambda words: send(app, door, words), ["Yes", "No"] * 8))
    assert codes == [204] * 16
    assert sorted(one.words for one in kept(app)) == ["No", "Yes"]


def test_long_talk_fits_the_message_and_its_end_is_what_stays(app: FastAPI, office: TestClient, door: str) -> None:
    line = told(app, office)
    for letter in "abc":
        assert send(app, door, letter * 300) == 204
    answer = office.get(f"/messages/{line['id']}").json()["answer"]
    assert len(answer) == 400
    assert answer.endswith("b / " + "c" * 300)
    assert [len(one.words) for one in kept(app)] == [300] * 3


@pytest.mark.slow
@pytest.mark.parametrize("word", ["STOP", " stop. ", "Unsubscribe", "opt-out", "ALTO"])
def test_stop_ends_texts_to_that_number_says_so_and_start_takes_it_back(
    app: FastAPI, office: TestClient, door: str, word: str
) -> None:
    line = told(app, office)
    assert send(app, door, word) == 204
    assert office.get(f"/messages/{line['id']}").json()["answer"] == ""
    page = office.get("/messages", headers=PAGE).text
    assert "wants no more texts" in page
    other = first(office)
    with transaction(app.state.database) as session:
        session.get_one(tables.Message, other["id"]).to_phone = "319.555.0142"
        visit = session.get_one(tables.Visit, line["visit_id"])
        customer = session.get_one(tables.Site, visit.site_id).customer_id
    refused = office.post(f"/messages/{other['id']}/send", data={"version": other["version"], "how": "text"})
    assert (refused.status_code, "wants no texts" in refused.json()["detail"]) == (422, True)
    assert "This number wants no texts" in office.get("/messages", headers=PAGE).text
    assert "wants no texts since" in office.get(f"/messages/{other['id']}", headers=PAGE).text
    assert "Wants no texts since" in office.get(f"/customers/{customer}", headers=PAGE).text
    assert send(app, door, "Start") == 204
    assert "Wants no texts since" not in office.get(f"/customers/{customer}", headers=PAGE).text
    failed = office.post(f"/messages/{other['id']}/send", data={"version": other["version"], "how": "text"}).json()
    assert "could not be called" in failed["fault"]  # tried: nothing listens there


def test_a_trial_goes_to_no_number_that_wants_no_texts(
    app: FastAPI, office: TestClient, manager: TestClient, door: str
) -> None:
    assert send(app, door, "stop") == 204
    refused = manager.post("/text-gateway/try", data={"number": PHONE})
    assert (refused.status_code, "wants no texts" in refused.json()["detail"]) == (422, True)


def test_a_number_that_nobody_has_and_what_answers_nothing_stand_apart(
    app: FastAPI, office: TestClient, door: str
) -> None:
    line = told(app, office)
    assert send(app, door, "Who is this?", "+12125550199") == 204
    assert send(app, door, "") == 204  # a picture
    with transaction(app.state.database) as session:
        message = session.get_one(tables.Message, line["id"])
        assert message.told_at is not None
        message.told_at -= received.ANSWERED + datetime.timedelta(minutes=1)
    assert send(app, door, "Can you mend my old awning?") == 204
    assert office.get(f"/messages/{line['id']}").json()["answer"] == ""
    unknown, picture, late = kept(app)
    assert (unknown.kind, unknown.customer_id, unknown.number) == ("other", None, "+12125550199")
    assert [one.kind for one in (picture, late)] == ["other", "other"]
    assert late.customer_id is not None
    page = office.get("/messages", headers=PAGE).text
    assert "+12125550199" in page
    assert "nobody has this number" in page
    assert "no words: a picture, perhaps" in page


def test_the_newest_text_is_what_is_answered_not_a_call_after_it(app: FastAPI, office: TestClient, door: str) -> None:
    line = told(app, office)
    other = first(office)
    with transaction(app.state.database) as session:
        text, call = (session.get_one(tables.Message, one["id"]) for one in (line, other))
        text.how = "text message"
        assert text.told_at is not None
        call.state, call.how, call.visit_id = "told", "telephone", text.visit_id
        call.told_at = text.told_at + datetime.timedelta(seconds=1)
    assert send(app, door, "Fine") == 204
    assert office.get(f"/messages/{line['id']}").json()["answer"] == "Fine"
    assert office.get(f"/messages/{other['id']}").json()["answer"] == ""


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({}, {"json": {"from": "13195550142", "text": "Yes"}}),
        ({}, {"data": {"from": PHONE, "text": "Yes", "more": "x"}}),
        ({}, {"files": {"from": (None, NUMBER), "text": (None, "Yes")}}),
        ({"from_field": "data.sender.0.number", "words_field": "data.body"},
         {"json": {"data": {"sender": [{"number": NUMBER}], "body": "Yes"}}}),
        ({"from_field": "From", "words_field": "Body"}, {"data": {"From": NUMBER, "Body": "Yes"}}),
    ],
)  # fmt: skip
def test_fields_are_called_as_the_provider_calls_them(
    app: FastAPI, office: TestClient, manager: TestClient, fields: dict[str, str], said: dict[str, Any]
) -> None:
    made = set_gateway(app, manager, **fields)
    made = manager.post("/text-gateway/replies", data={"version": made["version"]}).json()["gateway"]
    line = told(app, office)
    assert anonymous(app).post(made["texts"].removeprefix(app.state.settings.base), **said).status_code == 204
    assert office.get(f"/messages/{line['id']}").json()["answer"] == "Yes"


@pytest.mark.parametrize(
    "sent",
    [
        {"content": b"{", "headers": {"content-type": "application/json"}},
        {"json": {"text": "Yes"}},
        {"json": {"from": "somebody", "text": "Yes"}},
        {"json": {"from": {"number": NUMBER}, "text": "Yes"}},
        {"json": [NUMBER]},
        {},
    ],
)
def test_what_names_no_number_is_refused_naming_the_field(app: FastAPI, door: str, sent: dict[str, Any]) -> None:
    answer = anonymous(app).post(door, **sent)
    assert (answer.status_code, answer.json()["where"]) == (422, "from")
    assert kept(app) == []


def test_strangers_learn_nothing_and_an_address_ends_when_another_is_made(
    app: FastAPI, office: TestClient, manager: TestClient, door: str
) -> None:
    told(app, office)
    known, unknown = (anonymous(app).post(door, json={"from": n, "text": "Hm"}) for n in (NUMBER, "+12125550199"))
    assert (known.status_code, known.content, set(known.headers)) == (204, b"", set(unknown.headers))
    for token in ("x", door.rpartition("/")[2][:-1], door.rpartition("/")[2] + "a"):
        answers = [anonymous(app).post(f"/texts/{token}", json=said) for said in ({"from": NUMBER, "text": "Hm"}, {})]
        assert [one.status_code for one in answers] == [404, 404]
        assert answers[0].text == answers[1].text
    assert anonymous(app).get(door).status_code == 405
    version = manager.get("/text-gateway").json()["gateway"]["version"]
    made = manager.post("/text-gateway/replies", data={"version": version}).json()["gateway"]
    assert manager.post("/text-gateway/replies", data={"version": version}).status_code == 412
    assert send(app, door, "Once more") == 404
    new = made["texts"].removeprefix(app.state.settings.base)
    assert send(app, new, "Once more") == 204
    ended = manager.post("/text-gateway/replies", data={"version": made["version"], "do": "end"}).json()["gateway"]
    assert ended["texts"] == ""
    assert send(app, new, "Still there?") == 404
    with transaction(app.state.database) as session:
        shown = " ".join(str(line.model_dump()) for line in session.exec(select(tables.History)).all())
        shown += str(session.get_one(tables.TextGateway, 1).model_dump())
    assert new.rpartition("/")[2] not in shown


def test_more_texts_than_any_business_gets_are_not_taken(
    app: FastAPI, door: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(received, "MOST_HOUR", 2)
    assert [send(app, door, word) for word in ("a", "b", "c")] == [204, 204, 429]
    assert len(kept(app)) == 2


def test_nothing_but_a_gateway_makes_an_address(app: FastAPI, manager: TestClient) -> None:
    assert manager.post("/text-gateway/replies").status_code == 409


def test_a_page_that_says_the_database_is_away_asks_it_for_no_answers(
    app: FastAPI, office: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    def away(*_: object, **__: object) -> None:
        app.state.database = sa.create_engine("sqlite:////nowhere/x.sqlite")
        raise sa.exc.OperationalError("select", {}, Exception("gone"))

    assert office.get("/messages", headers=PAGE).status_code == 200  # from now on it is known that there is a yard
    app.state.answers = -math.inf, ()
    real = app.state.database
    monkeypatch.setattr(messages, "to_tell", away)
    try:
        answer = office.get("/messages/look-over", headers=PAGE)
    finally:
        app.state.database.dispose()
        app.state.database = real
    assert (answer.status_code, "does not answer" in answer.text) == (503, True)
