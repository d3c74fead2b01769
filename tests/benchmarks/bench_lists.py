"""Measure long lists through the page: `python -m tests.benchmarks.bench_lists DATA [ROWS]`, 3,000 rows unless said.

DATA is a data folder with a business (`ops/start` makes one); it is copied and served over HTTP, lists in a process of
their own. A list of customers and one of sold jobs are sent by their forms, looked through, taken in and taken back,
each timed from the press of the button to the page that says what came of it. Beside it stand the processor seconds of
the list's process, which gives way to everything else (on a busy machine the seconds by the wall say little); how often
the page said how far it is; and the longest that another page of the office took meanwhile. Last a list is stopped
while it is taken in: ends with 1 where what the page says is not what is there.
"""

from __future__ import annotations

import re
import resource
import shutil
import sys
import tempfile
import time
from pathlib import Path

import httpx
from fastapi import FastAPI
from sqlalchemy import func
from sqlmodel import select

from api import tables
from api.access.accounts import Role
from api.access.guards import cookie_name
from api.database import transaction
from tests.browser.board import add_people, serving
from tests.service.cast import PAGE, session_of

_TOWN = "Marl"
_FAR = re.compile(r'<progress max="[0-9]+" value="([0-9]+)"')


def main(data: Path, rows: int) -> int:
    """Print the figures; return 1 where a stopped list says another number than there is."""
    with tempfile.TemporaryDirectory() as folder:
        copy = shutil.copytree(data, Path(folder) / "data")
        with serving(copy, preparers=1) as (app, address):
            add_people(app)
            with httpx.Client(base_url=address, headers=PAGE, timeout=600) as office:
                office.cookies.set(cookie_name(app.state.settings, "session"), session_of(app, Role.office))
                office.headers["X-CSRF-Token"] = office.get("/session").json()["csrf"]
                print(f"{'list of ' + format(rows, ','):<40}{'seconds':>8}{'busy':>8}{'said':>6}{'another page':>14}")
                _customers(office, rows)
                _jobs(office, rows)
                return _stopped(app, office, rows)


def _customers(office: httpx.Client, rows: int) -> None:
    lines = (f"Nia Orr {n},555-{n:04},nia{n}@example.org,{n} Quarry Road,{_TOWN}" for n in range(rows))
    _whole(office, "customers", "\n".join(["Name,Phone,Mail,Street,City", *lines]))


def _jobs(office: httpx.Client, rows: int) -> None:
    heads = "Customer,Phone,Street,City,Type,Due,Model,Width,Projection,Weight,Box length,Long boxes,Crate lies at"
    of_an_awning = "Fen 12,14 ft 6,10 ft,119 lb,15 ft 6,1,north"
    lines = (
        f"Ivo Ash {n},556-{n:04},{n} Weir Road,{_TOWN},{'install' if n % 3 else 'repair'},6/{1 + n % 28}/2027,"
        f"{of_an_awning if n % 3 else ',,,,,,'}"
        for n in range(rows)
    )
    _whole(office, "jobs", "\n".join([heads, *lines]))


def _whole(office: httpx.Client, kind: str, text: str) -> None:
    at, began = _send(office, kind, text)
    _say(f"{kind}: sent", time.perf_counter() - began)
    page = _until_over(office, f"{kind}: looked through", at, began)
    began = _take(office, at, page)
    page = _until_over(office, f"{kind}: taken in", at, began)
    print("   ", " ".join(re.findall(r"✓[^<]*", page))[:100])
    began = time.perf_counter()
    back = re.search(rf'action="(/set-up/{kind}/lists/[0-9]+/taken-back)"', office.get(f"/set-up/{kind}").text)
    assert back, "the list is not among those that can be taken back"
    answer = office.post(back[1], follow_redirects=True)
    assert "Taken back" in answer.text, answer.text
    _say(f"{kind}: taken back", time.perf_counter() - began)


def _stopped(app: FastAPI, office: httpx.Client, rows: int) -> int:
    lines = (f"Uma Oat {n},557-{n:04}" for n in range(rows))
    at, began = _send(office, "customers", "\n".join(["Name,Phone", *lines]))
    page = _until_over(office, "to be stopped: looked through", at, began)
    _take(office, at, page)
    while "are in" not in office.get(at).text:
        time.sleep(0.1)
    pressed = time.perf_counter()
    office.post(f"{at}/stop")
    page = _until_over(office, "stopped, to the page that says so", at, pressed)
    with transaction(app.state.database) as session:
        there = session.exec(select(func.count()).where(tables.Customer.name.startswith("Uma Oat"))).one()  # type: ignore[attr-defined]
    said = re.search(r"([0-9,]+) new", page)
    number = int(said[1].replace(",", "")) if said else -1
    print(f"stopped with {there:,} of {rows:,} rows in; the page says {number:,}")
    return 0 if 0 < there == number < rows else 1


def _send(office: httpx.Client, kind: str, text: str) -> tuple[str, float]:
    """Send a list and return the address of its page, and when the button was pressed."""
    began = time.perf_counter()
    answer = office.post(f"/set-up/{kind}/files", files={"file": ("list.csv", text.encode())})
    assert answer.status_code == 303, answer.text
    return str(answer.headers["location"]), began


def _take(office: httpx.Client, at: str, page: str) -> float:
    """Press "Take in" with the columns as they were proposed; return when."""
    form = dict(re.findall(r'name="(csrf|mark)" value="([^"]*)"', page))
    for name, options in re.findall(r'<select name="(column-[0-9]+)"[^>]*>(.*?)</select>', page, re.S):
        chosen = re.search(r'value="([^"]*)" selected', options)
        form[name] = chosen[1] if chosen else ""
    began = time.perf_counter()
    answer = office.post(at, data=form | {"do": "keep"})
    assert answer.status_code in (200, 303), answer.text
    return began


def _until_over(office: httpx.Client, what: str, at: str, began: float) -> str:
    """Return the page that says what came of a list; another page is read meanwhile as somebody else would."""
    far, longest, before = set[str](), 0.0, _busy_s()
    while True:
        page = office.get(at)
        assert page.status_code == 200, page.text
        found = _FAR.search(page.text)
        if found is None:
            break
        far.add(found[1])
        asked = time.perf_counter()
        office.get("/jobs").raise_for_status()
        longest = max(longest, time.perf_counter() - asked)
        time.sleep(0.2)
    busy = f"{_busy_s() - before:>8.1f}{len(far):>6}{longest:>12.2f} s"
    _say(what, time.perf_counter() - began, busy)
    return page.text


def _busy_s() -> float:
    """Return the processor seconds of the processes that have ended: a list's ends before its page says so."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def _say(what: str, seconds: float, beside: str = "") -> None:
    print(f"{what:<40}{seconds:>8.1f}{beside}", flush=True)


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 3000))
