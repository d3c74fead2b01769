"""Changes of somebody's sign-in reach them by mail: once, at the address written down, and at the one before it."""

from __future__ import annotations

import datetime

import sqlalchemy as sa
from fastapi import FastAPI

from api import tables
from api.access.accounts import Role
from api.database import transaction
from api.fields.addresses.mail import Server
from api.messages.notices import STALE, NoticeKeeper
from tests.service.cast import NAMES, signed_in
from tests.service.postbox import SENDER, Postbox

OWN, OTHER = "rhea@tallow.example", "somebody@else.example"


def test_what_was_changed_on_a_sign_in_goes_by_mail_once(app: FastAPI, postbox: tuple[Postbox, Server]) -> None:
    box, server = postbox
    moment = [datetime.datetime.now(datetime.UTC)]
    keeper = NoticeKeeper(app.state.database, server, SENDER, "https://eave.example", lambda: moment[0])
    manager = signed_in(app, Role.manager)
    with transaction(app.state.database) as session:
        rows = session.execute(sa.select(tables.Account.name, tables.Account.id)).all()
    reader = dict(rows)[NAMES[Role.reader]]
    assert manager.post(f"/who-may-sign-in/{reader}", data={"role": "office", "active": "yes"}).status_code == 303
    keeper.look()
    assert box.letters == []  # no address is written down
    assert manager.post(f"/who-may-sign-in/{reader}/email", data={"email": OWN}).status_code == 303
    box.refusal = "451 not now"
    keeper.look()
    assert box.letters == []
    box.refusal = ""
    keeper.look()
    keeper.look()
    (letter,) = box.letters
    assert (letter["To"], letter["Subject"]) == (f"{NAMES[Role.reader]} <{OWN}>", "Your sign-in was changed")
    body = letter.get_content()
    assert "maud changed e-mail" in body
    assert "https://eave.example" in body
    assert "role" not in body  # told before, on the page
    assert manager.post(f"/who-may-sign-in/{reader}/email", data={"email": OTHER}).status_code == 303
    keeper.look()
    assert sorted(str(one["To"]) for one in box.letters[1:]) == sorted(
        f"{NAMES[Role.reader]} <{one}>" for one in (OWN, OTHER)
    )
    assert manager.post(f"/who-may-sign-in/{reader}/reset").status_code == 200
    moment[0] += STALE + datetime.timedelta(days=1)  # nobody looked for a week: the page has told of it
    keeper.look()
    assert len(box.letters) == 3
