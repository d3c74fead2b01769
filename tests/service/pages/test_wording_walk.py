"""Every page in the business's own way of writing times, lengths and money: the other way is found nowhere."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from pathlib import Path

import pypdf
import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from api import tables
from api.access.accounts import Role
from api.database import transaction
from tests.conftest import BuiltDemo
from tests.service.cast import PAGE, signed_in
from tests.service.posted import posted_demo
from tests.walk import pages

# What people read: scripts, drawings and attributes are left out, and so is what somebody has typed or may type. Hours
# that are free are a length of time, written as 8:03 by either clock.
_UNREAD = re.compile(
    r"<(script|style|svg|textarea|select|pre|code|datalist)\b.*?</\1>|<tr data-part=.left-hours.*?</tr>|<[^>]*>", re.S
)
OTHER = {
    "12": (r"\b(?:1[3-9]|2[0-3]):[0-5][0-9]\b",),
    "24": (r"[0-9] ?[ap]m\b",),
    "imperial": (r"[0-9] kg\b", "km/h", "°C"),
    "metric": (r"[0-9] lb\b", "mph", "°F", r"[0-9]' ?[0-9]", r"\b[0-9]+ ft (?:install|wide|out)"),
    "€": (r"\$[0-9]",),
    "$": (r"€[0-9]",),
}
# Pages on which both stand on purpose, each with the reason.
BOTH = {
    "/settings/weather": "reasons and sources stand as they were typed",
    "/records/": "the forms of rows have the units of their columns",
    "/new": "says how either measure is typed",
    "/survey": "says how either measure is typed",
}


@pytest.fixture
def app(built: BuiltDemo, tmp_path: Path) -> Iterator[FastAPI]:
    with posted_demo(built.out, tmp_path / "data") as app:
        yield app


def read_as(app: FastAPI, client: TestClient, clock: str, units: str, currency: str) -> Iterator[tuple[str, str]]:
    """Yield every page that the manager may see, by its address and as it is read, in one way of writing."""
    with transaction(app.state.database) as session:
        business = session.get_one(tables.Business, 1)
        business.clock, business.units, business.currency = clock, units, currency
    for walk in pages(app):
        if Role.manager not in walk.roles or any(part in walk.address for part in BOTH):
            continue
        answer = client.get(walk.address, headers=PAGE, follow_redirects=False)
        if answer.status_code == 200 and answer.headers.get("content-type", "").startswith("text/html"):
            yield walk.address, _UNREAD.sub(" ", answer.text)


@pytest.mark.slow
def test_the_other_way_of_writing_is_found_on_no_page(app: FastAPI) -> None:
    client = signed_in(app, Role.manager)
    for chosen in (("12", "metric", "€"), ("24", "imperial", "$")):
        walked, found = 0, []
        for address, text in read_as(app, client, *chosen):
            walked += 1
            for pattern in (pattern for way in chosen for pattern in OTHER[way]):
                found += [f"{address}: …{' '.join(text[max(0, at.start() - 40):at.end() + 20].split())}…"
                          for at in list(re.finditer(pattern, text))[:2]]  # fmt: skip
        assert not found, f"{len(found)} of {walked} pages as {chosen}:\n" + "\n".join(found[:60])
        assert walked >= 30


@pytest.mark.slow
def test_drawings_and_papers_keep_the_clock(app: FastAPI) -> None:
    """The shade of an awning is drawn and told by the hour: 3 pm on one business's sheets, 15:00 on another's."""
    client = signed_in(app, Role.manager)
    addresses = ("/jobs/J-1042/drawing.svg?page=2", "/jobs/J-1042/packet.pdf", "/jobs/J-1042/hand-over.pdf",
                 "/crews/north-1/days/2027-04-12/day-sheet.pdf")  # fmt: skip
    for clock, hour in (("24", "15:00"), ("12", "3 pm")):
        with transaction(app.state.database) as session:
            session.get_one(tables.Business, 1).clock = clock
        read = {}
        for address in addresses:
            answer = client.get(address)
            assert answer.status_code == 200, address
            if answer.headers["content-type"] == "application/pdf":
                sheets = pypdf.PdfReader(io.BytesIO(answer.content)).pages
                read[address] = " ".join(sheet.extract_text() for sheet in sheets)
            else:
                read[address] = re.sub(r"<[^>]*>", " ", answer.text)
        assert f"{hour} within long dashes" in read[addresses[0]]
        found = [f"{address}: {at[0]}" for address, text in read.items() for at in re.finditer(OTHER[clock][0], text)]
        assert not found, found
