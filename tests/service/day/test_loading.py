"""/crews/…/days/…/ticks, out and back: the last tick loads a kit, and no route leaves without one unnoticed."""

from __future__ import annotations

import datetime
import re

from fastapi import FastAPI
from sqlmodel import select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from tests.service.cast import JSON, PAGE, signed_in
from tests.service.day.day_cast import (
    AT,
    CREW,
    CREW_NAME,
    DAY,
    HOME,
    MORNING,
    OTHER,
    Jobs,
    history,
    kit_items,
    phone,
    post,
    tick,
)


def shelf(app: FastAPI, visit_id: str) -> dict[str, int]:
    """Return what a visit has taken from the shelf."""
    with transaction(app.state.database) as session:
        moves = session.exec(select(tables.StockMove).where(tables.StockMove.visit_id == visit_id)).all()
        sums: dict[str, int] = {}
        for move in moves:
            sums[move.item] = sums.get(move.item, 0) - move.pieces
        return {item: pieces for item, pieces in sums.items() if pieces}


def test_the_last_tick_loads_the_kit_and_takes_its_parts_from_the_shelf(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    crew, items = phone(app), kit_items(app, jobs.install)
    for n, item in enumerate(items[:-1], 1):
        answer = tick(crew, jobs.install, [item])
        assert answer.status_code == 200, answer.text
        assert (answer.json()["condition"], len(answer.json()["ticked"])) == ("verified", n)
    assert shelf(app, jobs.install) == {}
    assert tick(crew, jobs.install, items[-1:]).json()["condition"] == "loaded"
    wanted = {item.removeprefix("shelf: ") for item in items if item.startswith("shelf: ")}
    assert set(shelf(app, jobs.install)) == wanted
    with transaction(app.state.database) as session:
        state = session.get_one(tables.KitState, jobs.install)
        assert (state.loaded_on, state.loaded_by) == (DAY, f"{CREW_NAME} by day link")
        ticked = session.exec(select(tables.LoadTick).where(tables.LoadTick.visit_id == jobs.install)).all()
        assert {row.ticked_at for row in ticked} == {datetime.datetime(2027, 4, 12, 11, 30, tzinfo=datetime.UTC)}
    assert [did for did, *_ in history(app, "kit")] == ["ticked"] * len(items) + ["loaded"]
    again = tick(crew, jobs.install, items)  # a second tick of the same is no second loading
    assert again.json()["condition"] == "loaded"
    assert [did for did, *_ in history(app, "kit")] == ["ticked"] * len(items) + ["loaded"]


def test_an_item_taken_off_unloads_the_kit_and_puts_its_parts_back(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    crew, items = phone(app), kit_items(app, jobs.install)
    tick(crew, jobs.install, items)
    off = tick(crew, jobs.install, items[:1], on=False)
    assert (off.json()["condition"], len(off.json()["ticked"])) == ("verified", len(items) - 1)
    assert shelf(app, jobs.install) == {}
    assert [did for did, *_ in history(app, "kit")] == ["ticked", "loaded", "took off", "unloaded"]


def test_a_short_kit_is_ticked_but_not_loaded(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    with transaction(app.state.database) as session:
        rows = select(tables.BenchCount).where(tables.BenchCount.visit_id == jobs.install)
        row = next(row for row in session.exec(rows) if row.item == "bracket")
        row.counted -= 1
        session.add(row)
    crew = phone(app)
    answer = tick(crew, jobs.install, kit_items(app, jobs.install))
    assert answer.json()["condition"] == "short"
    refused = crew.post(f"{HOME}/out", json={"at": AT})
    assert (refused.status_code, refused.json()["type"]) == (409, "/problems/not-loaded")
    assert refused.json()["not_loaded"] == {jobs.install: "its kit is short, 0 items not ticked"}


def test_a_route_leaves_with_all_its_kits_and_is_noted_once(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    crew = phone(app)
    refused = crew.post(f"{HOME}/out", json={"at": AT})
    assert refused.status_code == 409
    assert jobs.install in refused.json()["detail"]
    items = kit_items(app, jobs.install)
    tick(crew, jobs.install, items)
    out = crew.post(f"{HOME}/out", json={"at": AT, "overruled_by": "", "overruled_why": ""})
    assert out.status_code == 200, out.text
    assert (out.json()["not_loaded"], out.json()["overruled_by"]) == ([], "")
    second = signed_in(app, Role.lead).post(f"{HOME}/out", json={"at": AT})
    assert (second.status_code, second.json()["type"]) == (409, "/problems/changed-meanwhile")
    assert second.json()["current"]["out_by"] == f"{CREW_NAME} by day link"
    assert second.json()["sent"]["out_by"] == "lorn"
    off = tick(crew, jobs.install, items[:1], on=False)
    assert (off.status_code, off.json()["type"]) == (409, "/problems/not-now")
    assert "could not finish" in off.json()["detail"]


def test_somebody_overrules_by_name_and_with_a_reason_which_the_office_sees(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    crew, office = phone(app), signed_in(app, Role.office)
    for half, where in (({"overruled_by": "Pella"}, "overruled_why"), ({"overruled_why": "x"}, "overruled_by")):
        refused = crew.post(f"{HOME}/out", json={"at": AT, **half})
        assert (refused.status_code, refused.json()["where"]) == (422, where)
    shelf_items = [item for item in kit_items(app, jobs.install) if item.startswith("shelf: ")]
    tick(crew, jobs.install, shelf_items)
    why = "the crate follows with the second van"
    out = crew.post(f"{HOME}/out", json={"at": AT, "overruled_by": "Pella", "overruled_why": why})
    assert out.status_code == 200, out.text
    assert out.json()["not_loaded"] == [jobs.install]
    assert set(shelf(app, jobs.install)) == {item.removeprefix("shelf: ") for item in shelf_items}
    page = office.get(f"/days/{DAY}", headers=PAGE)
    assert page.status_code == 200
    assert f"without {jobs.install}" in page.text
    assert why in page.text
    (mine,) = [crew for crew in office.get(f"/days/{DAY}", headers=JSON).json() if crew["crew"] == CREW]
    assert (mine["out"], mine["overruled_by"], mine["overruled_why"]) == ("6:30", "Pella", why)
    assert why in crew.get(HOME, headers=PAGE).text
    (line,) = office.get("/history", params={"noun": "route"}).json()["items"]
    assert line["detail"]["because"] == why
    assert line["detail"]["done_at"].startswith("2027-04-12T11:30:00")


def test_back_in_the_yard_is_noted_after_out_and_takes_off_what_was_not_done(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    crew = phone(app)
    early = crew.post(f"{HOME}/back", json={"at": AT})
    assert (early.status_code, early.json()["type"]) == (409, "/problems/not-now")
    tick(crew, jobs.install, kit_items(app, jobs.install))
    crew.post(f"{HOME}/out", json={"at": AT})
    back = crew.post(f"{HOME}/back", json={"at": MORNING.isoformat()})
    assert back.status_code == 200, back.text
    assert crew.post(f"{HOME}/back", json={"at": AT}).json()["type"] == "/problems/changed-meanwhile"
    with transaction(app.state.database) as session:
        assert session.get_one(tables.KitState, jobs.install).loaded_on is None
    assert shelf(app, jobs.install) == {}
    assert [did for did, *_ in history(app, "kit", "route")][-3:] == ["went out", "came back", "unloaded"]


def test_parts_of_a_visit_partly_done_do_not_return_to_the_shelf_by_themselves(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    crew = phone(app)
    tick(crew, jobs.install, kit_items(app, jobs.install))
    crew.post(f"{HOME}/out", json={"at": AT})
    told = {"at": AT, "visit": jobs.install, "outcome": "partly", "start": 540, "end": 600, "why": "rain"}
    assert crew.post(f"{HOME}/results", json=told).status_code == 201
    crew.post(f"{HOME}/back", json={"at": MORNING.isoformat()})
    assert shelf(app, jobs.install) != {}
    with transaction(app.state.database) as session:
        assert session.get_one(tables.KitState, jobs.install).loaded_on is None


def test_what_is_no_item_of_the_list_and_what_is_no_visit_of_the_day_are_refused(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    crew = phone(app)
    wrong = tick(crew, jobs.install, ["crate: harpoon"])
    assert (wrong.status_code, wrong.json()["where"]) == (422, "items[0]")
    assert tick(crew, jobs.others, kit_items(app, jobs.others)).status_code == 404
    assert tick(crew, "nothing", ["x"]).status_code == 404
    assert tick(crew, jobs.install, []).status_code == 422
    assert tick(crew, jobs.install, ["x"], at="yesterday").status_code == 422
    assert tick(crew, jobs.install, ["x"], at="2027-04-12T07:00:00").status_code == 422  # of no time zone


def test_a_repair_takes_its_ladder_along_without_a_kit(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    crew = phone(app)
    answer = tick(crew, jobs.repair, ["back: stepladder-8"])
    assert (answer.status_code, answer.json()["condition"]) == (200, None)
    assert jobs.repair not in crew.post(f"{HOME}/out", json={"at": AT}).json()["not_loaded"]


def test_the_parts_of_a_kind_of_work_leave_the_shelf_with_their_ticks_or_when_the_work_is_done(
    day: tuple[FastAPI, Jobs],
) -> None:
    app, jobs = day
    with transaction(app.state.database) as session:
        session.get_one(tables.Visit, jobs.repair).work.parts = {"shim": 2}
        posted = session.exec(select(tables.PostedWeek)).all()[-1]
        held = {"posted_id": posted.id, "visit_id": jobs.repair, "yard_id": "north", "day": DAY, "changed_at": MORNING}
        session.add(tables.Reservation(item="shim", pieces=2, **held))
    crew = phone(app)
    assert "2 × shim" in crew.get(HOME, headers=PAGE).text
    tick(crew, jobs.repair, ["shelf: shim"])
    assert shelf(app, jobs.repair) == {"shim": 2}
    tick(crew, jobs.repair, ["shelf: shim"], on=False)
    assert shelf(app, jobs.repair) == {}
    with transaction(app.state.database) as session:  # set aside again, never ticked, and used all the same
        steps = list(session.get_one(tables.Visit, jobs.repair).work.steps)
    for step in steps:
        crew.post(f"{HOME}/steps", json={"at": AT, "visit": jobs.repair, "step": step, "note": ""})
    result = {"at": AT, "visit": jobs.repair, "outcome": "done", "start": 840, "end": 930}
    assert crew.post(f"{HOME}/results", json=result).status_code == 201
    assert shelf(app, jobs.repair) == {"shim": 2}


def test_what_was_moved_away_meanwhile_is_told_first_and_then_taken(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    crew, items = phone(app), kit_items(app, jobs.install)
    with transaction(app.state.database) as session:
        post(session, {CREW: [(jobs.repair, 840, 930)], OTHER: [(jobs.install, 540, 780)]})
    moved = tick(crew, jobs.install, items)
    assert (moved.status_code, moved.json()["type"]) == (409, "/problems/moved")
    assert "no longer a job of Bramwith" in moved.json()["detail"]
    assert tick(crew, jobs.install, items, although_moved=True).status_code == 200
    assert tick(crew, jobs.others, items, although_moved=True).status_code == 404  # never was this crew's


def test_a_withdrawn_week_takes_nothing_any_more(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    crew = phone(app)
    with transaction(app.state.database) as session:
        for row in session.exec(select(tables.PostedWeek)):
            row.withdrawn_at = MORNING
            session.add(row)
    refused = tick(crew, jobs.install, ["x"])
    assert (refused.status_code, refused.json()["type"]) == (409, "/problems/moved")
    assert crew.get(f"{HOME}/state").json() is None
    assert "Nothing is posted" in crew.get(HOME, headers=PAGE).text


def test_the_offices_day_says_width_and_work_in_the_readers_order(day: tuple[FastAPI, Jobs]) -> None:
    app, _ = day
    office = signed_in(app, Role.office)
    assert re.search(r"\d+\sft\sinstall, ", office.get(f"/days/{DAY}", headers=PAGE).text)
    office.cookies.set("eave-language", "es")
    assert re.search(r"instalación\s\d+\spies, ", office.get(f"/days/{DAY}", headers=PAGE).text)
