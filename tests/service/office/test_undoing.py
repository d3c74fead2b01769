"""Every kind of row that the office enters: made, changed, deleted, and each of these taken back."""

from __future__ import annotations

import html
import re
import shutil
from collections.abc import Iterator

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from api.access.accounts import Role
from api.office.kinds import KINDS
from tests.conftest import BuiltDemo
from tests.service.cast import PAGE, running, settings_for, signed_in
from tests.service.office.test_entry import form_of
from tests.service.office.test_set_up import text_of

# By kind: a row that can be made in the demo business, and what is changed of it.
ROWS: dict[str, tuple[dict[str, str], dict[str, str]]] = {
    "yards": ({"name": "Weir yard", "pin": "41.43, -98.30"}, {"name": "The weir"}),
    "people": ({"name": "Lea Quill", "yard_id": "north", "role": "lead"}, {"phone": "555-0111"}),
    "days-off": ({"person_id": "", "first": "2027-06-07", "why": "a wedding"}, {"part": "afternoon"}),
    "vans": ({"id": "van-90", "yard_id": "north", "payload_kg": "900 kg", "rack_mm": "20 ft", "boxes": "3"},
             {"boxes": "2"}),
    "van-days": ({"van_id": "", "first": "2027-06-07", "why": "the shop"}, {"why": "tires"}),
    "crews": ({"id": "weir-1", "name": "Lea and Bo", "yard_id": "north", "lead_id": "bo-reed", "van_id": "van-91",
               "day_cents": "90", "minute_cents": "0.6", "overtime_minute_cents": "0.9", "km_cents": "0.5"},
              {"name": "Lea and Cy"}),
    "tools": ({"id": "L-90", "kind": "ladder-24", "yard_id": "north", "name": "24 ft, red"},
              {"checked_on": "2027-03-01"}),
    "out-of-order": ({"equipment_id": "", "first": "2027-06-07", "why": "a rung"}, {"why": "two rungs"}),
    "shelf": ({"item": "wall cap", "yard_id": "north", "name": "wall cap", "on_hand": "12", "counted_on": "2027-04-01"},
              {"name": "cap for walls"}),
    "models": ({"id": "Fen 12", "maker": "Marl Awnings"}, {"boxes": "2"}),
    "model-sizes": ({"model_id": "Tern", "width_mm": "12 ft", "projection_mm": "10 ft", "weight_kg": "119 lb"},
                    {"arms": "3"}),
    "model-parts": ({"model_id": "Tern", "item": "remote"}, {"quantity": "2"}),
    "work-kinds": ({"id": "clean", "name": "clean the cloth", "told": "cleaning of your awning", "counts_as": "repair",
                    "minutes": "45"}, {"hands": "2"}),
    "callbacks": ({"visit_id": "J-1102", "of_id": "J-1050", "why": "slips again"}, {"at_cost": "maker"}),
    "follow-ons": ({"first_id": "J-1048", "then_id": "J-1102"}, {"max_days": "4", "same_crew": "yes"}),
    "racks": ({"awning_id": "A-2100", "yard_id": "north", "rack": "B-4"}, {"rack": "B-5"}),
    "yearly": ({"awning_id": "A-2100", "work_id": "take-down"}, {"month": "November"}),
    "gates": ({"visit_id": "J-1048", "what": "building permit"}, {"owner": "office"}),
    "usual-gates": ({"what": "building permit", "town": "Tallow Bend"}, {"days_before": "14"}),
    "maker-orders": ({"awning_id": "A-2100", "maker": "Marl Awnings"}, {"ref": "F-7"}),
    "packed": ({"awning_id": "A-2100", "item": "remote"}, {"quantity": "2"}),
}  # fmt: skip


@pytest.fixture(scope="module")
def office(built: BuiltDemo, tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    with running(settings_for(shutil.copytree(built.out, tmp_path_factory.mktemp("undoing") / "data"))) as app:
        yield _office(app)


def _office(app: FastAPI) -> TestClient:
    client = signed_in(app, Role.office)
    client.headers.update(PAGE)
    press(client, "/set-up/models/new", {"id": "Tern"})
    press(client, "/set-up/people/new", {"name": "Bo Reed", "yard_id": "north", "role": "lead"})  # rides with no crew
    van = {"id": "van-91", "yard_id": "north", "payload_kg": "900 kg", "rack_mm": "20 ft", "boxes": "3"}
    press(client, "/set-up/vans/new", van)  # goes with none
    return client


def test_every_kind_that_has_a_form_is_tried() -> None:
    assert set(ROWS) == {kind.id for kind in KINDS.values() if not kind.by_lines}


def press(client: TestClient, address: str, cells: dict[str, str]) -> None:
    """Send the form of an address with `cells`, and once more where what hangs on it is shown first."""
    page = client.get(address).text
    form = form_of(page) | cells
    for name, text in cells.items():  # any of the rows that can be chosen
        if not text and (choice := re.search(rf'<select[^>]* name="{name}".*?<option value="([^"]+)"', page, re.S)):
            form[name] = choice[1]
    answer = client.post(address, data=form, follow_redirects=False)
    if answer.status_code == 200 and 'class="hangs"' in answer.text:
        answer = client.post(address, data=form_of(answer.text) | form | {"sure": "yes"}, follow_redirects=False)
    assert answer.status_code == 303, text_of(answer.text)[:2000]


def addresses(client: TestClient, kind: str) -> set[str]:
    """Return where the rows of a kind are changed."""
    found = re.findall(rf'href="(/set-up/{kind}/row\?key=[^"]*)"', client.get(f"/set-up/{kind}").text)
    return {html.unescape(address) for address in found}


def undo_newest(client: TestClient, kind: str) -> None:
    page = client.get(f"/set-up/{kind}").text
    action = re.search(r'action="(/set-up/[^"]*/undo/[0-9]+)"', page)
    assert action, text_of(page)[-1500:]
    answer = client.post(action[1], follow_redirects=False)
    if answer.status_code == 200:
        answer = client.post(action[1], data={"sure": "yes"}, follow_redirects=False)
    assert answer.status_code == 303, text_of(answer.text)[:2000]


@pytest.mark.parametrize("kind", sorted(ROWS))
def test_a_row_is_made_changed_and_deleted_and_each_is_taken_back(office: TestClient, kind: str) -> None:
    def table() -> str:
        return office.get(f"/set-up/{kind}/table.csv").text

    cells, change = ROWS[kind]
    before, there = table(), addresses(office, kind)
    press(office, f"/set-up/{kind}/new", cells)
    made = table()
    (row,) = addresses(office, kind) - there
    press(office, row, change)
    changed = table()
    assert changed != made
    undo_newest(office, kind)
    assert table() == made
    if kind == "shelf":  # what was counted belongs to it: it stays
        return
    press(office, row, {"do": "delete"})
    assert table() == before
    undo_newest(office, kind)
    assert sorted(table().splitlines()) == sorted(made.splitlines())
