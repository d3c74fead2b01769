"""Make the README's pictures from the running product: `ops/pictures`, after `ops/start` has planned the demo week."""

from __future__ import annotations

import secrets
import shutil
import sys
import tempfile
import threading
import time
from pathlib import Path

import uvicorn
from playwright.sync_api import Browser, Page, sync_playwright

from api import tables
from api.accounts import Role
from api.app import create_app
from api.database import transaction
from api.settings import Settings, sqlite_address

CHROMIUM = "/usr/bin/chromium"
ARGS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
]  # fmt: skip
JOB = "J-1042"


def main(demo: Path, out: Path, port: int = 8499) -> None:
    """Photograph the pages of the demo business kept in `demo` into `out`; its database is copied, not touched."""
    out.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        data = Path(folder) / "data"
        shutil.copytree(demo, data)
        app = create_app(Settings(data=data, database=sqlite_address(data), port=port, quick_passwords=True))
        server = uvicorn.Server(uvicorn.Config(app, host="127.0.0.1", port=port, log_level="error"))
        thread = threading.Thread(target=server.run, daemon=True)
        thread.start()
        while not server.started:
            time.sleep(0.1)
        password = secrets.token_urlsafe(12)
        with transaction(app.state.database) as session:
            session.add(tables.Account(name="painter", role=Role.manager, password=app.state.passwords.hash(password)))
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGS)
            photograph(browser, f"http://127.0.0.1:{port}", password, out)
            browser.close()
        server.should_exit = True
        thread.join(5)


def photograph(browser: Browser, address: str, password: str, out: Path) -> None:
    """Take the week sheet at desk and phone width, and one wall drawing."""
    for width, height, mark in ((1280, 900, ""), (360, 740, "-phone")):
        page = browser.new_page(viewport={"width": width, "height": height})
        sign_in(page, address, password)
        page.goto(address)
        page.screenshot(path=out / f"week-sheet{mark}.png", full_page=True)
        page.close()
    page = browser.new_page(viewport={"width": 1056, "height": 816})
    sign_in(page, address, password)
    page.goto(f"{address}/jobs/{JOB}/drawing.svg")
    page.screenshot(path=out / "wall-drawing.png")


def sign_in(page: Page, address: str, password: str) -> None:
    page.goto(f"{address}/sign-in")
    page.fill("input[name=name]", "painter")
    page.fill("input[name=password]", password)
    page.click("form.lines button")
    page.wait_for_load_state()


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
