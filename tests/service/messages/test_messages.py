"""/messages: drafted when a week is posted, looked over, told one by one or many in one go; `test_letters.py` sends."""

from __future__ import annotations

import datetime

from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import select

from api import tables
from api.database import transaction
from api.fields import shown
from api.fields.addresses.mail import Server
from api.fields.wording import Wording, worded
from api.messages import words
from api.week.post import post
from scheduler.week import read_week
from tests.service.cast import PAGE, csrf_in
from tests.service.messages.cast import MONDAY, NOW, bookings, first, posting
from tests.service.postbox import Postbox


def test_posting_a_week_drafts_what_is_new_or_changed_and_nothing_else(app: FastAPI, office: TestClient) -> None:
    at = posting(app)
    drafts = {m["visit_id"]: m for m in office.get("/messages").json()["open"]}
    with transaction(app.state.database) as session:
        told = {b.visit_id: b for b in session.exec(select(tables.Booking)).all()}
    for visit, spot in at.items():
        known = told.get(visit)
        same = known is not None and str(known.day) == spot["date"] and abs(known.start - spot["start"]) <= 30
        assert (visit in drafts) == (not same), visit
    for visit in drafts.keys() - at.keys():
        assert drafts[visit]["spot"] is None
        assert told[visit].day >= MONDAY
        assert "has to wait" in drafts[visit]["subject"]
    with transaction(app.state.database) as session:  # posted once more, nobody has anything new to be told
        stored = session.exec(select(tables.StoredPlan)).one()
        post(session, stored, read_week(stored.week), now=NOW, by="maud")
    assert {m["id"] for m in office.get("/messages").json()["open"]} == {m["id"] for m in drafts.values()}


def test_the_words_say_who_when_and_what_to_do(app: FastAPI, office: TestClient) -> None:
    line = first(office, told_before=False)
    spot, body = line["spot"], line["body"]
    date = datetime.date.fromisoformat(spot["date"])
    assert body.startswith(f"Dear {line['customer']},")
    assert f"{date:%A}, {date:%B} {date.day}" in body
    assert words.arrival(spot) in body
    assert "please call us" in body
    assert "Call " in body
    assert "Tallow Bend Awning Works" in body
    assert line["visit_id"] not in body  # numbers of ours mean nothing to them
    assert spot["crew"] not in body


def test_hours_are_said_as_customers_say_them() -> None:
    with worded(lambda: Wording("12")):
        assert [shown.clock(m) for m in (0, 555, 720, 785, 1439)] == [
            "12:00 am", "9:15 am", "12:00 pm", "1:05 pm", "11:59 pm"
        ]  # fmt: skip
        assert words.arrival({"start": 555, "hold": "firm"}) == "at 9:15 am"
        assert words.arrival({"start": 557, "hold": "day"}) == "between 8:45 am and 9:50 am"
    assert words.arrival({"start": 785, "hold": "firm"}) == "at 13:05"


def test_what_is_not_true_any_more_is_not_told(app: FastAPI, office: TestClient) -> None:
    line = first(office)
    with transaction(app.state.database) as session:
        row = session.get_one(tables.Message, line["id"])
        row.spot = {**(row.spot or {}), "start": 481}
        row.to_email = "them@tallow.example"
    for way in ("send", "told"):
        refused = office.post(f"/messages/{line['id']}/{way}", data={"version": line["version"]})
        assert refused.status_code == 409
        assert "has changed since this was written" in refused.json()["detail"]
    assert "cannot be told any more" in office.get(f"/messages/{line['id']}", headers=PAGE).text


def test_told_by_telephone_says_by_whom_and_books(app: FastAPI, office: TestClient) -> None:
    line = first(office)
    page = office.get(f"/messages/{line['id']}", headers=PAGE).text
    form = {"csrf": csrf_in(page), "subject": line["subject"], "body": line["body"], "hold": "firm", "then": "told",
            "version": line["version"]}  # fmt: skip
    done = office.post(f"/messages/{line['id']}", data=form, headers=PAGE)
    assert (done.status_code, done.headers["location"]) == (303, "/messages")
    told = office.get(f"/messages/{line['id']}").json()
    assert (told["state"], told["how"], told["told_by"]) == ("told", "telephone", "olive")
    (booking,) = bookings(app, line["visit_id"])
    assert (booking.hold, booking.told_how) == ("firm", "telephone")
    assert "by telephone, olive" in office.get("/messages", headers=PAGE).text


def test_wrong_forms_old_versions_and_unknown_messages_are_refused(app: FastAPI, office: TestClient) -> None:
    line = first(office)
    address = f"/messages/{line['id']}"
    good = {"subject": "a", "body": "b", "version": line["version"]}
    for form, where in [({"to_email": "nobody"}, "to_email"), ({"body": " "}, "body"), ({"body": "a\0b"}, "body")]:
        assert office.post(address, data={**good, **form}).json()["where"] == where
        page = office.post(address, data={**good, **form, "subject": "kept text"}, headers=PAGE)
        assert page.status_code == 422
        assert 'value="kept text"' in page.text
    assert office.post(address, data={**good, "version": 0}).status_code == 428
    assert office.post(address, data={**good, "version": 77}).status_code == 412
    assert office.post(f"{address}/drop", headers={"If-Match": f'"{line["version"]}"'}).json()["state"] == "dropped"
    for number in ("999", "0", "99999999999999"):
        assert office.get(f"/messages/{number}").status_code == 404


def marks(office: TestClient, *, special: bool) -> list[str]:
    return [f"{m['id']}.{m['version']}" for m in office.get("/messages").json()["open"] if m["special"] is special]


def test_what_is_nothing_special_is_a_first_time_that_still_holds(app: FastAPI, office: TestClient) -> None:
    with transaction(app.state.database) as session:
        told = {b.visit_id for b in session.exec(select(tables.Booking)).all()}
    lines = office.get("/messages").json()["open"]
    assert {m["special"] for m in lines} == {True, False}
    for m in lines:
        assert m["special"] == (m["visit_id"] in told or bool(m["falls"])), m["visit_id"]
    page = office.get("/messages/look-over", headers=PAGE).text
    for m in lines:
        assert (f'value="{m["id"]}.{m["version"]}"' in page) is not m["special"], m["visit_id"]


def test_many_are_sent_in_one_go_each_by_itself(
    app: FastAPI, office: TestClient, postbox: tuple[Postbox, Server]
) -> None:
    usual = marks(office, special=False)[:3]
    number = int(usual[1].partition(".")[0])
    with transaction(app.state.database) as session:
        session.get_one(tables.Message, number).to_email = ""
    answer = office.post("/messages/together", data={"tell": [*usual, usual[0], "999999.1"], "how": "send"}).json()
    assert answer["told"] == 2
    assert {line["id"]: line["why"][:27] for line in answer["left"]} == {
        number: "This message has no e-mail ", 999999: 'No message has the id "9999',
    }  # fmt: skip
    assert len(postbox[0].letters) == 2
    again = office.post("/messages/together", data={"tell": usual, "how": "send"}).json()
    assert (again["told"], len(postbox[0].letters)) == (0, 2)


def test_a_server_that_takes_nothing_is_not_asked_for_each(office: TestClient, postbox: tuple[Postbox, Server]) -> None:
    postbox[0].refusal = "451 full"
    answer = office.post("/messages/together", data={"tell": marks(office, special=False)[:4], "how": "send"}).json()
    assert (answer["told"], len(answer["left"])) == (0, 4)
    assert [line["why"].startswith("Not tried") for line in answer["left"]] == [False, False, True, True]


def test_those_called_are_noted_in_one_go_and_booked(app: FastAPI, office: TestClient) -> None:
    usual = marks(office, special=False)[:2]
    page = office.post("/messages/together", data={"tell": usual, "how": "told"}, headers=PAGE).text
    assert "✓ 2 customers told." in page
    assert not set(usual) & set(marks(office, special=False))
    with transaction(app.state.database) as session:
        for mark in usual:
            row = session.get_one(tables.Message, int(mark.partition(".")[0]))
            assert (row.state, row.how, row.told_by) == ("told", "telephone", "olive")
            assert bookings(app, row.visit_id)[0].told_how == "telephone"
    stale = usual[0].partition(".")[0] + ".1"
    assert office.post("/messages/together", data={"tell": [stale], "how": "told"}).json()["told"] == 0
    assert office.post("/messages/together", data={"tell": ["x"], "how": "told"}).status_code == 422


def test_from_the_list_one_is_written_and_one_goes_back_to_the_list(office: TestClient) -> None:
    line = first(office)
    sent = {"subject": line["subject"], "body": line["body"] + "\nP.S.", "to_email": "", "version": line["version"]}
    answer = office.post(f"/messages/{line['id']}", data={**sent, "back": "list"}, headers=PAGE, follow_redirects=False)
    assert answer.headers["location"] == f"/messages#m-{line['id']}"
    sent["version"] = office.get(f"/messages/{line['id']}").json()["version"]
    office.post(f"/messages/{line['id']}", data={**sent, "then": "written"})
    told = office.get(f"/messages/{line['id']}").json()
    assert (told["state"], told["how"]) == ("told", "a letter of one's own")


def test_the_offices_own_number_stands_in_every_message(app: FastAPI, office: TestClient) -> None:
    lines = office.get("/messages").json()["open"]
    assert lines
    assert [m["visit_id"] for m in lines if "on 555-0100." not in m["body"]] == []


def test_a_broken_promise_begins_with_being_sorry(app: FastAPI, office: TestClient) -> None:
    lines = [m for m in office.get("/messages").json()["open"] if m["special"]]
    assert lines
    for m in lines:
        assert m["body"].split("\n")[2].startswith("We are sorry"), m["body"]


def test_what_a_customer_answered_stands_with_the_message_and_on_the_jobs_page(
    app: FastAPI, office: TestClient
) -> None:
    line = first(office)
    address = f"/messages/{line['id']}"
    early = office.post(f"{address}/answered", data={"version": line["version"], "words": "yes"})
    assert early.status_code == 409
    told = office.post(f"{address}/told", data={"version": line["version"]}).json()
    assert "What did the customer answer?" in office.get(address, headers=PAGE).text
    empty = office.post(f"{address}/answered", data={"version": told["version"], "words": " "})
    assert (empty.status_code, empty.json()["where"]) == (422, "words")
    kept = office.post(f"{address}/answered", data={"version": told["version"], "words": "That suits us."})
    assert (kept.status_code, kept.json()["answer"], kept.json()["answered_by"]) == (200, "That suits us.", "olive")
    assert office.post(f"{address}/answered", data={"version": told["version"], "words": "No."}).status_code == 412
    assert "answered" in office.get(address, headers=PAGE).text
    for page in ("/messages", f"/jobs/{line['visit_id']}"):
        assert "That suits us." in office.get(page, headers=PAGE).text, page
    again = office.post(f"{address}/answered", data={"version": kept.json()["version"], "words": "Now it does not."})
    assert again.json()["answer"] == "Now it does not."
    history = office.get("/history", params={"noun": "message", "noun_id": str(line["id"])}).json()["items"]
    assert [one["did"] for one in history[:2]] == ["noted the answer to", "noted the answer to"]
