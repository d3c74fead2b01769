"""A change of a customer, site, awning or job is taken back on its page, which shows it as it was first."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator

import pytest
from fastapi.testclient import TestClient

from api.access.accounts import Role
from tests.conftest import BuiltDemo
from tests.service.cast import PAGE, running, settings_for, signed_in
from tests.service.office.test_entry import form_of
from tests.service.office.test_set_up import text_of


@pytest.fixture
def office(built: BuiltDemo, tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    with running(settings_for(shutil.copytree(built.out, tmp_path_factory.mktemp("back") / "data"))) as app:
        client = signed_in(app, Role.office)
        client.headers.update(PAGE)
        yield client


@pytest.mark.parametrize(
    ("row", "cells"),
    [
        ("customers/C-060", {"customers.phone": "555-0999", "customers.note": "rings twice"}),
        ("sites/S-009", {"sites.access": "by the lane", "sites.storeys": "3"}),
        ("awnings/A-2108", {"awnings.cloth": "oat", "awnings.weight_kg": "200 lb", "awnings.width_mm": "20 ft"}),
        ("visits/J-1050", {"visits.hours": "Thu 12:00-13:00", "visits.skills": "masonry stucco", "visits.due_on": "",
                           "visits.minutes": "400"}),
        ("visits/J-1050", {"state": "cancelled", "from_on": "2027-06-01"}),
    ],
)  # fmt: skip
def test_a_change_is_taken_back(office: TestClient, row: str, cells: dict[str, str]) -> None:
    address = f"/records/{row}"
    before = form_of(office.get(address).text)
    assert office.post(address, data=before | cells, follow_redirects=False).status_code == 303
    page = office.get(address).text
    changed = form_of(page)
    links = re.findall(rf'href="({address}\?before=[0-9]+)"', page)
    assert links, text_of(page)
    shown = office.get(links[0]).text
    assert "Nothing is taken back until you keep it." in text_of(shown)
    assert form_of(office.get(address).text) == changed
    assert office.post(address, data=form_of(shown), follow_redirects=False).status_code == 303
    after = form_of(office.get(address).text)
    assert {name: after[name] for name in before if name != "csrf"} == {
        name: text for name, text in before.items() if name != "csrf"
    }
