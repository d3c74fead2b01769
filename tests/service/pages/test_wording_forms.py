"""What a form shows can be sent back as it stands, however a business writes times, lengths and money."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi import FastAPI
from sqlmodel import col, select

from api import tables
from api.access.accounts import Role
from api.business import choices
from api.database import transaction
from api.office.kinds import KINDS
from tests.conftest import BuiltDemo
from tests.service.cast import PAGE, running, settings_for, signed_in
from tests.service.machine.test_settings import form_of


@pytest.fixture
def app(built: BuiltDemo, tmp_path: Path) -> Iterator[FastAPI]:
    with running(settings_for(shutil.copytree(built.out, tmp_path / "data"))) as app:
        yield app


def lines(app: FastAPI) -> list[str]:
    """The history but for sign-ins: what was changed, and how."""
    with transaction(app.state.database) as session:
        found = session.exec(select(tables.History).order_by(col(tables.History.id))).all()
        return [f"{line.did} {line.noun} {line.noun_id}: {line.detail}" for line in found]


@pytest.mark.slow
@pytest.mark.parametrize("way", [("12", "imperial", "$"), ("12", "metric", "€"), ("24", "metric", "kr")])
def test_no_form_changes_anything_when_it_is_sent_back_as_it_stands(app: FastAPI, way: tuple[str, str, str]) -> None:
    with transaction(app.state.database) as session:
        business = session.get_one(tables.Business, 1)
        business.clock, business.units, business.currency = way
    manager = signed_in(app, Role.manager)
    manager.headers.update(PAGE)
    before, forms, wrong = lines(app), 0, []
    addresses = [f"/settings/{part}" for part in choices.PARTS]
    for kind in KINDS:
        listed = manager.get(f"/set-up/{kind}").text.replace("&amp;", "&")
        addresses += sorted(set(re.findall(rf'href="(/set-up/{kind}/row\?[^"]+)"', listed)))[:2]
    for address in addresses:
        page = manager.get(address)
        if '<form class="part"' not in page.text:
            continue
        forms += 1
        answer = manager.post(address, data=form_of(page.text), follow_redirects=False)
        if answer.status_code != 303:
            faults = re.findall(r'class="flag[^>]*>([^<]+)', answer.text)
            wrong.append(f"{address}: {answer.status_code}, {faults}")
    assert not wrong, "\n".join(wrong)
    assert forms >= 20
    assert lines(app)[len(before) :] == []
