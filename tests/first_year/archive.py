"""The end of the season: the whole base as one archive, taken in by an empty one that then shows the same."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tempfile
from pathlib import Path

from playwright.sync_api import expect

from api.access.accounts import Role
from tests.browser.board import Board, serving
from tests.first_year.office import SLOW_MS, Office, Stuck
from tests.service.cast import NAMES

SAME = (
    "/jobs", "/jobs?state=done", "/set-up/people", "/set-up/crews", "/stock", "/yearly", "/gates", "/places",
    "/set-up/sites", "/set-up/racks", "/maker-orders", "/messages",
)  # fmt: skip


def move(office: Office) -> None:
    """Export the base by its page, have an empty one take it in, and compare what both show."""
    page = office.open("/exchange")
    office.look("exchange")
    office.press(page.get_by_role("button", name="Make one file of the whole business"))
    saved = page.get_by_text("Save the ZIP file")
    expect(saved).to_be_visible(timeout=SLOW_MS)  # the page asks again until it is made
    with page.expect_download() as download:
        saved.click()
    before = {address: (office.open(address), office.words())[1] for address in SAME}
    with tempfile.TemporaryDirectory(prefix="eave-second-") as made:
        download.value.save_as(Path(made) / "all.zip")
        eaveboard = str(Path(sys.executable).parent / "eaveboard")
        here = {**os.environ, "EAVEBOARD_DATA": str(Path(made) / "second")}
        subprocess.run([eaveboard, "import", str(Path(made) / "all.zip")], check=True, env=here)
        reset = [eaveboard, "reset-password", NAMES[Role.manager]]  # nobody has a password in an archive
        told = subprocess.run(reset, check=True, env=here, capture_output=True, text=True).stdout
        with serving(Path(made) / "second") as (app, address):
            second = Office(Board(app, address, office.board.browser), None, office.say)
            second.clock(office.board.app.state.clock())
            one_time = re.search(r"(?:[a-z0-9]{4}-){3}[a-z0-9]{4}", told)
            second.sign_in(one_time[0] if one_time else "")
            for one, words in before.items():
                second.open(one)
                if second.words() != words:
                    raise Stuck(f"{one} of the second base shows something else")
            second.board.close_pages()
    office.say(f"  the second base shows the same on {len(SAME)} pages")
