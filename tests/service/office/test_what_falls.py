"""Which posted visits fall by a change of a row, a job or a setting: named before it is kept."""

from __future__ import annotations

import re

import pytest
from fastapi import FastAPI
from sqlmodel import select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from tests.service.cast import PAGE, signed_in
from tests.service.office.test_entry import form_of
from tests.service.office.test_set_up import text_of, undo_first


def test_a_day_off_says_which_visits_fall_before_it_is_kept(posted: FastAPI) -> None:
    office = signed_in(posted, Role.office)
    office.headers.update(PAGE)
    with transaction(posted.state.database) as session:
        crew = session.exec(select(tables.Crew).order_by(tables.Crew.id)).first()
        assert crew is not None
        name, lead = crew.name, crew.lead_id
    day = next(
        row.split("T")[0] for row in [f"2027-04-{n}T" for n in range(12, 17)]
        if office.get(f"/crews/{crew.id}/visits", params={"start_date": row[:10]},
                      headers={"accept": "application/json"}).json()["visits"]
    )  # fmt: skip
    visits = office.get(
        f"/crews/{crew.id}/visits", params={"start_date": day}, headers={"accept": "application/json"}
    ).json()["visits"]
    one = visits[0]
    form = {"person_id": lead, "first": one["date"], "last": one["date"], "part": "day", "why": "ill"}
    shown = office.post("/set-up/days-off/new", data=form)
    words = text_of(shown.text)
    assert shown.status_code == 409, words
    assert f"{name} loses" in words
    assert one["id"] in words
    assert "is away (ill)" in words
    with transaction(posted.state.database) as session:
        assert not session.exec(select(tables.DayOff).where(tables.DayOff.why == "ill")).all()
    kept = office.post("/set-up/days-off/new", data=form | {"anyway": "yes"}, follow_redirects=False)
    assert kept.status_code == 303
    with transaction(posted.state.database) as session:
        assert len(session.exec(select(tables.DayOff).where(tables.DayOff.why == "ill")).all()) == 1
    status, page = undo_first(office, "days-off")
    assert status == 303, text_of(page)  # what only frees visits is done at once


@pytest.mark.parametrize(
    ("table", "cells"),
    [
        ("visits", {"visits.hours": "Sun 7:00-7:30"}), ("visits", {"visits.hands": "19"}),
        ("awnings", {"awnings.box_mm": "60 ft"}), ("visits", {"from_on": "2027-06-01"}),
    ],
)  # fmt: skip
def test_what_falls_by_a_change_of_a_job_or_its_awning_is_named_before_it_is_kept(
    posted: FastAPI, table: str, cells: dict[str, str]
) -> None:
    office = signed_in(posted, Role.office)
    office.headers.update(PAGE)
    with transaction(posted.state.database) as session:
        plan = session.exec(select(tables.StoredPlan)).one().plan
        planned = [session.get_one(tables.Visit, one) for one in re.findall(r'"job": ?"(J-[0-9]+)"', plan)]
        job = next(one for one in planned if one.kind == "install" and one.awning_id)
    key = job.id if table == "visits" else job.awning_id
    address = f"/records/{table}/{key}"
    before = form_of(office.get(address).text)
    asked = office.post(address, data=before | cells, follow_redirects=False)
    assert asked.status_code == 409, text_of(asked.text)[:1500]
    assert "can’t go as posted:" in text_of(asked.text)
    assert f'href="/jobs/{job.id}"' in asked.text
    assert form_of(office.get(address).text) == before
    again = form_of(asked.text)
    assert {name: again[name] for name in cells} == cells
    assert office.post(address, data=again, follow_redirects=False).status_code == 303
    assert form_of(office.get(address).text) != before


@pytest.mark.parametrize(("part", "field"), [("crews", "hours"), ("weather", "wind")])
def test_what_falls_by_a_change_of_the_settings_or_by_its_undo_is_named_before_it_is_kept(
    posted: FastAPI, part: str, field: str
) -> None:
    manager = signed_in(posted, Role.manager)
    manager.headers.update(PAGE)
    address = f"/settings/{part}"
    before = form_of(manager.get(address).text)
    fields = [name for name in before if field in name.lower()]
    assert fields, list(before)
    narrow = before | dict.fromkeys(fields, "Mon-Fri 7:00-8:00" if part == "crews" else "1")
    asked = manager.post(address, data=narrow, follow_redirects=False)
    assert asked.status_code == 409, text_of(asked.text)[:1500]
    assert "can’t go as posted:" in text_of(asked.text)
    assert form_of(manager.get(address).text) == before
    assert manager.post(address, data=form_of(asked.text), follow_redirects=False).status_code == 303
    assert form_of(manager.get(address).text) != before
    undone = re.search(rf'action="({address}/undo/[0-9]+)"', manager.get(address).text)
    assert undone
    answer = manager.post(undone[1], follow_redirects=False)
    if part == "crews":  # one that began at seven for a moment loses that hour
        assert answer.status_code == 409
        assert "works 8:00–17:00 only" in text_of(answer.text)
        answer = manager.post(undone[1], data={"anyway": "yes"}, follow_redirects=False)
    assert answer.status_code == 303
    after = form_of(manager.get(address).text)
    assert {name: after[name] for name in fields} == {name: before[name] for name in fields}


def test_a_job_that_is_called_off_is_not_asked_after_for_itself(posted: FastAPI) -> None:
    office = signed_in(posted, Role.office)
    office.headers.update(PAGE)
    with transaction(posted.state.database) as session:
        plan = session.exec(select(tables.StoredPlan)).one().plan
        first = {one.first_id for one in session.exec(select(tables.VisitFollows))}
        job = next(one for one in re.findall(r'"job": ?"(J-[0-9]+)"', plan) if one not in first)
    form = form_of(office.get(f"/records/visits/{job}").text) | {"state": "cancelled"}
    assert office.post(f"/records/visits/{job}", data=form, follow_redirects=False).status_code == 303
