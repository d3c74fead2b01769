"""/bench and /shorts: a crate counted by several at once, closed, found short, and made whole."""

from __future__ import annotations

import datetime
import html
import re
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from api.day import loading
from api.ledger.plans.posted_days import Act, PostedDay
from api.papers.kits import expected, kit_of, loaded, made_kit, state_of
from tests.crates import NOW, PARTS, SHELF, add_job, add_shelves, book, post_week
from tests.service.cast import PAGE, csrf_in, for_programs, signed_in

NOON = datetime.datetime(2027, 4, 11, 17, tzinfo=datetime.UTC)  # on a Sunday at the yard
TODAY = NOON.date()
SOON = TODAY + datetime.timedelta(days=3)


@pytest.fixture
def app(app: FastAPI) -> FastAPI:
    app.state.clock = lambda: NOON
    return app


@pytest.fixture
def office(app: FastAPI) -> TestClient:
    with transaction(app.state.database) as session:
        add_job(session, arrives_on=TODAY - datetime.timedelta(days=2))
    return for_programs(app, Role.office)


def begun(client: TestClient, visit: str = "J-1") -> int:
    answer = client.post(f"/bench/{visit}/counts")
    assert answer.status_code in (200, 201), answer.text
    count: int = answer.json()["count"]["id"]
    return count


def tap(client: TestClient, count: int, item: str, visit: str = "J-1", **fields: Any) -> Any:
    return client.post(f"/bench/{visit}/taps", data={"count": count, "item": item, **fields})


def count_all(client: TestClient, count: int, visit: str = "J-1", **but: int) -> None:
    for item, listed in PARTS.items():
        found = but.get(item.replace(" ", "_"), listed)
        assert tap(client, count, item, visit, to=found).status_code == 200


def close(client: TestClient, count: int, visit: str = "J-1", **fields: Any) -> Any:
    return client.post(f"/bench/{visit}/close", data={"count": count, **fields})


def test_a_crate_is_counted_and_its_kit_verified(office: TestClient, app: FastAPI) -> None:
    count = begun(office)
    assert begun(office) == count  # joined, not begun a second time
    state = tap(office, count, "bracket", pieces=3).json()
    assert (state["counted"], state["listed"], state["condition"]) == (3, 6, "uncounted")
    assert state["untouched"] == ["awning", "hand crank"]
    count_all(office, count)
    assert kit(app).condition == "uncounted"  # a count under way is none yet
    closed = close(office, count).json()
    assert (closed["condition"], closed["count"], closed["shorts"]) == ("verified", None, [])
    assert kit(app).condition == "verified"
    lines = signed_in(app, Role.office).get("/history", params={"noun": "crate", "noun_id": "J-1"}).json()["items"]
    assert [line["did"] for line in lines] == ["counted", "began to count"]
    assert (lines[0]["detail"]["by"], lines[0]["detail"]["kit"]) == ({"olive": 6}, "verified")


def kit(app: FastAPI, visit: str = "J-1") -> Any:
    with transaction(app.state.database) as session:
        return kit_of(session, session.get_one(tables.Visit, visit))


@pytest.mark.race
def test_taps_of_many_at_once_lose_no_piece(app_on_either: FastAPI) -> None:
    with transaction(app_on_either.state.database) as session:
        add_job(session, parts={"bolt": 60})
    clients = [for_programs(app_on_either, role) for role in (Role.office, Role.manager, Role.lead)]
    count = begun(clients[0])

    def taps(client: TestClient) -> list[int]:
        return [tap(client, count, "bolt", pieces=1).status_code for _ in range(8)]

    with ThreadPoolExecutor(3) as pool:
        assert [code for codes in pool.map(taps, clients) for code in codes] == [200] * 24
    with ThreadPoolExecutor(2) as pool:  # both say how many there are in all
        list(pool.map(lambda client: tap(client, count, "bolt", to=40), clients[:2]))
    state = clients[0].get("/bench/J-1").json()
    assert state["items"][0]["counted"] == 40


@pytest.mark.race
def test_a_tap_beside_the_closing_is_in_the_count_or_refused(app_on_either: FastAPI) -> None:
    """Never neither: what was answered with 200 is in the bench count."""
    with transaction(app_on_either.state.database) as session:
        add_job(session, parts={"bolt": 60})
    one, other = (for_programs(app_on_either, role) for role in (Role.office, Role.lead))
    count = begun(one)
    tap(one, count, "bolt", pieces=1)

    def taps() -> int:
        answers = [tap(other, count, "bolt", pieces=1) for _ in range(12)]
        for answer in answers:
            assert answer.status_code == 200 or "count the crate again" in answer.json()["detail"]
        return sum(answer.status_code == 200 for answer in answers)

    with ThreadPoolExecutor(2) as pool:
        kept = pool.submit(taps)
        closed = pool.submit(close, one, count)
        assert closed.result().status_code == 200
        with transaction(app_on_either.state.database) as session:
            (row,) = session.exec(select(tables.BenchCount)).all()
            assert row.counted == 1 + kept.result()


def test_a_tap_sent_twice_counts_once(office: TestClient) -> None:
    count = begun(office)
    for _ in range(2):
        sent = {"count": count, "item": "bracket", "pieces": 1}
        answer = office.post("/bench/J-1/taps", data=sent, headers={"Idempotency-Key": "tap-1"})
        assert answer.status_code == 200, answer.text
    assert answer.headers["idempotency-replayed"] == "true"
    (bracket,) = [i for i in office.get("/bench/J-1").json()["items"] if i["item"] == "bracket"]
    assert bracket["counted"] == 1


def test_minus_takes_back_openly_and_never_below_none(office: TestClient, app: FastAPI) -> None:
    count = begun(office)
    tap(office, count, "bracket", pieces=1)
    lead = for_programs(app, Role.lead)
    lines = tap(lead, count, "bracket", pieces=-1).json()["lines"]
    assert [(line["by"], line["pieces"]) for line in lines] == [("lorn", -1), ("olive", 1)]
    refused = tap(lead, count, "bracket", pieces=-1)
    assert (refused.status_code, refused.json()["detail"]) == (422, "There are 0 × bracket in this count now.")
    assert tap(office, count, "bracket", damaged=1).status_code == 422


def test_a_count_waits_for_items_that_nobody_has_looked_at(office: TestClient) -> None:
    count = begun(office)
    tap(office, count, "awning", pieces=1)
    refused = close(office, count)
    assert refused.status_code == 409
    assert refused.json()["untouched"] == ["bracket", "hand crank"]
    closed = close(office, count, rest="missing").json()
    assert closed["condition"] == "short"
    assert {s["item"]: s["missing"] for s in closed["shorts"]} == {"bracket": 4, "hand crank": 1}


def test_after_the_closing_a_recount_is_opened(office: TestClient) -> None:
    count = begun(office)
    count_all(office, count)
    close(office, count)
    late = tap(office, count, "bracket", pieces=1)
    assert late.status_code == 409
    assert late.json()["detail"] == (
        "olive has closed this count. This was not added to it: count the crate again to add it."
    )
    assert close(office, count).status_code == 409
    again = begun(office)
    assert again != count
    count_all(office, again, bracket=3)
    assert close(office, again).json()["condition"] == "short"


def test_a_damaged_piece_is_short_and_a_damaged_cloth_needs_one(office: TestClient) -> None:
    count = begun(office)
    count_all(office, count)
    address, fields = "/bench/J-1/condition", {"count": count, "cloth": "damaged", "note": "a tear at the left arm"}
    assert office.post(address, data=fields).status_code == 428
    assert office.post(address, data=fields, headers={"If-Match": '"1"'}).json()["count"]["cloth"] == "damaged"
    stale = office.post(address, data={"count": count, "cloth": "good"}, headers={"If-Match": '"1"'})
    assert stale.status_code == 412
    assert "no item is" in close(office, count).json()["detail"]
    tap(office, count, "awning", damaged=1)
    closed = close(office, count).json()
    assert [(s["item"], s["missing"]) for s in closed["shorts"]] == [("awning", 1)]


def test_a_short_is_ordered_comes_in_parts_and_the_kit_is_verified(office: TestClient, app: FastAPI) -> None:
    count = begun(office)
    count_all(office, count, bracket=1)
    (short,) = close(office, count).json()["shorts"]
    address = f"/shorts/{short['id']}"
    order = {"supplier": "Sallow Works", "order_ref": "SW-77", "ordered_on": TODAY, "expected_on": SOON}
    assert office.post(address, data=order).status_code == 428
    changed = office.post(address, data=order, headers={"If-Match": '"1"'})
    assert (changed.json()["supplier"], changed.headers["etag"]) == ("Sallow Works", '"2"')
    assert office.get(address, headers={"If-None-Match": '"2"'}).status_code == 304
    backwards = {**order, "expected_on": TODAY - datetime.timedelta(days=9)}
    assert office.post(address, data=backwards, headers={"If-Match": '"2"'}).status_code == 422
    lead = for_programs(app, Role.lead)
    assert lead.post(address, data=order, headers={"If-Match": '"2"'}).status_code == 403
    some = lead.post(f"{address}/arrived", data={"pieces": 2}, headers={"If-Match": '"2"'}).json()
    assert (some["condition"], some["shorts"][0]["missing"]) == ("short", 1)
    twice = office.post(f"{address}/arrived", data={"pieces": 2}, headers={"If-Match": '"2"'})
    assert twice.status_code == 412  # somebody has unpacked them already
    assert office.post(f"{address}/arrived", data={"pieces": 2, "version": 3}).status_code == 422
    assert office.post(f"{address}/arrived", data={"pieces": 1, "version": 3}).json()["condition"] == "verified"
    with transaction(app.state.database) as session:
        assert sum(s.missing for s in session.exec(select(tables.Short))) == 3


def test_a_recount_keeps_what_is_on_order_and_books_in_what_was_found(office: TestClient) -> None:
    count = begun(office)
    count_all(office, count, bracket=1, hand_crank=0)
    bracket, crank = close(office, count).json()["shorts"]
    office.post(f"/shorts/{bracket['id']}", data={"supplier": "Sallow Works", "version": 1})
    again = begun(office)
    count_all(office, again, bracket=2)
    closed = close(office, again).json()
    assert [(s["item"], s["missing"], s["supplier"]) for s in closed["shorts"]] == [("bracket", 2, "Sallow Works")]
    assert office.get(f"/shorts/{crank['id']}").json()["arrived_on"] == TODAY.isoformat()
    rest = closed["shorts"][0]
    done = office.post(f"/shorts/{rest['id']}/arrived", data={"pieces": 2, "version": rest["version"]}).json()
    assert done["condition"] == "verified"


def test_a_kit_on_the_van_is_not_counted_and_comes_off_it_though_its_list_has_grown(
    office: TestClient, app: FastAPI
) -> None:
    count = begun(office)
    count_all(office, count)
    close(office, count)
    act = Act("crew", NOW, NOW, NOW)
    with transaction(app.state.database) as session:
        add_shelves(session, SHELF)
        day = PostedDay("north-1", SOON, post_week(session, {"J-1": 0}, {}), None)
        visit = session.get_one(tables.Visit, "J-1")
        items = [line.item for line in loading.lines_of(made_kit(session, "J-1"))]
        assert loading.tick(session, day, visit, items, True, act).condition == "loaded"
    assert "on the van" in office.post("/bench/J-1/counts").json()["detail"]
    with transaction(app.state.database) as session:
        session.get_one(tables.MakerPart, ("A-1", "bracket")).quantity = 5
    assert kit(app).condition == "short"  # never loaded and short at once
    with transaction(app.state.database) as session:
        visit, day = session.get_one(tables.Visit, "J-1"), PostedDay("north-1", SOON, session.merge(day.posted), None)
        loading.tick(session, day, visit, items[:1], False, act)
        assert not loaded(session, "J-1")
    assert office.post("/bench/J-1/counts").status_code == 201


def test_what_came_for_an_earlier_count_does_not_make_a_later_one_whole() -> None:
    """The bracket that came in was there when the crate was counted again; the one missing now is another."""
    count = {"counted_on": TODAY, "counted_by": "x", "visit_id": "J-1"}
    counted = {"bracket": tables.BenchCount(item="bracket", counted=3, count_id=2, **count)}
    came = tables.Short(visit_id="J-1", item="bracket", missing=1, count_id=1, arrived_on=TODAY)
    assert state_of({"bracket": 4}, counted, [came], loaded=False).missing == {"bracket": 1}
    came.count_id = 2
    assert state_of({"bracket": 4}, counted, [came], loaded=True).condition == "loaded"


def test_when_missing_pieces_come_is_said_only_where_it_is_known() -> None:
    def short(missing: int, **order: Any) -> tables.Short:
        return tables.Short(visit_id="J-1", item="bracket", missing=missing, **order)

    later = SOON + datetime.timedelta(days=1)
    past = TODAY - datetime.timedelta(days=1)
    assert expected("bracket", 2, [short(2, expected_on=SOON)], TODAY)[0] == SOON
    assert expected("bracket", 2, [short(1, expected_on=SOON), short(1, expected_on=later)], TODAY)[0] == later
    for shorts, words in (
        ([short(2)], "and not ordered"),
        ([short(1), short(1, expected_on=SOON)], "1 of them not ordered"),
        ([short(1, ordered_on=TODAY), short(1, expected_on=SOON)], "no day named yet"),
        ([short(2, expected_on=past)], "has not come"),
        ([short(2, expected_on=SOON, arrived_on=TODAY)], "and not ordered"),
    ):
        day, said = expected("bracket", 2, shorts, TODAY)
        assert day is None
        assert words in said


def test_a_code_is_asked_for_once_and_remembered(office: TestClient) -> None:
    count = begun(office)

    def scan(**fields: Any) -> Any:
        return office.post("/bench/J-1/scans", data={"count": count, "code": "88-0417", **fields})

    unknown = scan()
    assert (unknown.status_code, unknown.json()["code"]) == (404, "88-0417")
    assert scan(item="bracket").json()["scanned"] == "bracket"
    assert scan().json()["scanned"] == "bracket"
    assert scan(item="hand crank").json()["scanned"] == "hand crank"  # told otherwise: from now on that
    counted = {i["item"]: i["counted"] for i in scan().json()["items"]}
    assert (counted["bracket"], counted["hand crank"]) == (2, 2)
    assert scan(code="J-1").json() == {"moved_to": "J-1"}  # the tag of a kit


def test_counting_a_crate_that_was_not_expected_says_that_it_has_come(app: FastAPI) -> None:
    with transaction(app.state.database) as session:
        add_job(session, "J-2", arrives_on=None)
    office = for_programs(app, Role.office)
    assert [job["id"] for job in office.get("/bench").json()["unnamed"]] == ["J-2"]
    begun(office, "J-2")
    with transaction(app.state.database) as session:
        awning = session.get_one(tables.Awning, "A-2")
        assert awning.arrives_on is not None
        version = awning.version
    moved = office.post("/bench/J-2/crate", data={"arrives_on": SOON.isoformat(), "version": version})
    assert moved.status_code == 200
    assert office.post("/bench/J-2/crate", data={"arrives_on": "", "version": version}).status_code == 412


def test_the_list_is_sorted_by_how_soon_the_visit_is_and_says_what_falls(app: FastAPI) -> None:
    before, monday = TODAY - datetime.timedelta(days=1), TODAY + datetime.timedelta(days=1)
    with transaction(app.state.database) as session:
        for visit in ("J-1", "J-2", "J-3"):
            add_job(session, visit, arrives_on=before)
        add_job(session, "J-4", arrives_on=TODAY)
        book(session, "J-1", SOON + datetime.timedelta(days=5))
        post_week(session, {"J-2": 2, "J-4": 3}, {}, monday)
    office = for_programs(app, Role.office)
    bench = office.get("/bench").json()
    assert [job["id"] for job in bench["to_count"]] == ["J-2", "J-1", "J-3"]
    assert [job["id"] for job in bench["arriving"]] == ["J-4"]
    count = begun(office, "J-2")
    count_all(office, count, "J-2", bracket=0)
    falls = close(office, count, "J-2").json()["falls"]
    assert falls == "4 × bracket missing and not ordered: order it."
    shown = office.get("/bench/J-2", headers=PAGE).text
    assert "/rebooking/new?visit=J-2&amp;cause=short" in shown
    assert [one["job"]["id"] for one in office.get("/bench").json()["missing"]] == ["J-2"]
    (short,) = office.get("/bench/J-2").json()["shorts"]
    comes = {"expected_on": monday.isoformat(), "version": 1}
    assert office.post(f"/shorts/{short['id']}", data=comes).status_code == 200
    # It comes before the visit; what else keeps that back is said here as on every page.
    assert office.get("/bench/J-2").json()["falls"] == "The wall has not been surveyed: book a survey first."
    # What is on the posted week and what was only promised are told apart, in the words of the page for other times.
    count = begun(office, "J-1")
    count_all(office, count, "J-1", bracket=0)
    close(office, count, "J-1")
    text = office.get("/bench", headers=PAGE).text
    assert re.findall(r"▲ 1 visit can't go as (\w+)", html.unescape(text)) == ["posted", "promised"]
    assert re.findall(r'class="flag">can\'t go as (\w+)', html.unescape(text)) == ["posted", "promised"]
    assert "/jobs/J-1/times" in text  # what is on no posted week gets its times from the weeks ahead
    assert "/rebooking/new?visit=J-1&" not in text


def test_pages_work_by_forms_alone(office: TestClient, app: FastAPI) -> None:
    person = signed_in(app, Role.office)
    person.headers.update(PAGE)
    shown = person.get("/bench").text
    assert "J-1" in shown
    begun_at = person.post("/bench/J-1/counts", data={"csrf": csrf_in(shown)})
    assert (begun_at.status_code, begun_at.headers["location"]) == (303, "/bench/J-1")
    count = office.get("/bench/J-1").json()["count"]["id"]
    tapped = person.post("/bench/J-1/taps", data={"count": count, "item": "hand crank", "pieces": 1})
    assert tapped.headers["location"] == "/bench/J-1#item-hand-crank"
    asked = person.post("/bench/J-1/scans", data={"count": count, "code": "<b>"})
    assert asked.status_code == 404
    assert "Which item is “&lt;b&gt;”?" in asked.text
    closed = person.post("/bench/J-1/close", data={"count": count, "rest": "missing"})
    assert closed.headers["location"] == "/bench/J-1#result"
    assert "▲ short" in person.get("/bench/J-1").text
    assert person.get("/bench", params={"find": "J-1"}).headers["location"] == "/bench/J-1"
    assert person.get("/bench", params={"find": "J-9"}).status_code == 404


def test_the_tag_carries_the_number_as_a_code(office: TestClient) -> None:
    tag = office.get("/bench/J-1/tag", headers=PAGE).text
    for words in ("J-1", "Customer 1", "12\u00a0ft", "<svg", "110\u00a0lb"):
        assert words in tag


def test_leads_count_and_readers_look(office: TestClient, app: FastAPI) -> None:
    reader, lead = for_programs(app, Role.reader), for_programs(app, Role.lead)
    assert reader.get("/bench/J-1").status_code == 200
    assert reader.post("/bench/J-1/counts").status_code == 403
    count = begun(lead)
    assert tap(lead, count, "bracket", pieces=1).status_code == 200
    for visit in ("J-9", "%00"):
        assert office.get(f"/bench/{visit}").status_code == 404
    assert tap(office, 999, "bracket", pieces=1).status_code == 404
