"""What a phone and a page cost the service: processor milliseconds, kilobytes sent, and memory.

    .venv/bin/python -m tests.benchmarks.bench_page_costs --times 15

serves the demo's week, posted, as `eaveboard serve` does. Milliseconds are those that the service's process took of a
processor for each request, the middle one of so many handfuls of requests, so that what it does in the background now
and then is left out. A processor that others share is slower: on a busy machine they are more.

"changed" is a page after something was noted, so that what is kept of it in memory is no longer good; "again" is the
same page with nothing new. A phone's first opening is its link, its page and all that the page names. The day of a
phone is one opening, a reading every six minutes for ten hours, half of them with something new, and forty notes.
"""

from __future__ import annotations

import argparse
import datetime
import json
import re
import statistics
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import httpx

from api import tables
from api.access.accounts import Role, new_session
from api.business import demo
from api.database import open_database, transaction
from api.settings import sqlite_address
from tests.benchmarks.bench_attack import Phone, busy_s, posted_for, serving
from tests.one_a_day import one_a_day
from tests.service.day.day_cast import DAY, MORNING

PAGE = {"accept": "text/html"}
PHONES = 200
HANDFUL = 10  # requests: a processor's time is told in hundredths of a second
READS, NOTES = 100, 40  # of a phone's day


@dataclass
class Meter:
    """Measures the service whose process is `pid`."""

    pid: int

    def cost(self, act: Callable[[int], int], times: int) -> tuple[float, float]:
        """Return processor milliseconds and kilobytes sent of one `act`, by `times` handfuls of them."""
        took, size = list[float](), 0
        for n in range(times):
            before = busy_s(self.pid)
            size += sum(act(HANDFUL * n + k) for k in range(HANDFUL))
            took.append(busy_s(self.pid) - before)
        return 1000 * statistics.median(took) / HANDFUL, size / 1000 / times / HANDFUL

    def held_mb(self) -> float:
        """Return what the process holds of memory."""
        words = Path(f"/proc/{self.pid}/status").read_text()
        return int(re.findall(r"^VmRSS:\s+(\d+)", words, re.MULTILINE)[0]) / 1024


class Asking:
    """Asks the service as phones and as the manager do; each request gives the bytes that were sent."""

    def __init__(self, client: httpx.Client, phones: list[Phone], session: str) -> None:
        self._client, self._phones, self._session, self._noted = client, phones, session, 0

    def _got(self, path: str, cookie: str) -> httpx.Response:
        answer = self._client.get(path, headers={**PAGE, "cookie": cookie})
        assert answer.status_code in (200, 303), f"{path}: {answer.status_code}"
        self._client.cookies.clear()
        return answer

    def _phone(self, n: int) -> Phone:
        return self._phones[n % len(self._phones)]

    def day(self, n: int) -> int:
        """Have a phone read its day sheet."""
        phone = self._phone(n)
        return len(self._got(phone.home, phone.cookie).content)

    def opening(self, n: int) -> int:
        """Have a phone open its link for the first time: the page, and what it names of pictures, scripts and style."""
        phone = self._phone(n)
        self._got(f"/day-links/open/{phone.cookie.partition('=')[2].partition(';')[0]}", phone.cookie)
        page = self._got(phone.home, phone.cookie)
        named = dict.fromkeys(re.findall(r"/static/[^\"' )]+", page.text))
        return len(page.content) + sum(len(self._got(one, "").content) for one in named)

    def note(self, n: int) -> int:
        """Have a phone note that its crew has come to a stop."""
        phone, self._noted = self._phone(n), self._noted + 1
        stop = phone.visits[self._noted % len(phone.visits)]
        noted = {"at": MORNING.isoformat(), "visit": stop, "what": "here", "noted": self._noted % 2 == 0}
        head = {"cookie": phone.cookie, "x-csrf-token": phone.csrf, "content-type": "application/json"}
        head["idempotency-key"] = f"note-{self._noted}"
        answer = self._client.post(f"{phone.home}/times", content=json.dumps(noted), headers=head)
        assert answer.is_success, answer.text
        self._client.cookies.clear()
        return len(answer.content)

    def page(self, path: str) -> Callable[[int], int]:
        """Return the reading of a page by the manager."""
        return lambda _: len(self._got(path, f"eave-session={self._session}").content)

    def after_note(self, read: Callable[[int], int]) -> Callable[[int], int]:
        """Return a note and then that reading."""

        def both(n: int) -> int:
            self.note(n)
            return read(n)

        return both


def session_of(data: Path) -> str:
    """Return the token of a manager's session that ends long after the demo's day."""
    engine = open_database(sqlite_address(data))
    with transaction(engine) as session:
        account = tables.Account(name="bench", role=Role.manager, password="none")
        session.add(account)
        session.flush()
        token = new_session(session, account, datetime.datetime.now(datetime.UTC), hours=24 * 366)
    engine.dispose()
    return token


def measured(data: Path, times: int) -> None:
    """Print the table of a built demo."""
    phones, session = posted_for(data, PHONES), session_of(data)
    with serving(data) as (port, pid), httpx.Client(base_url=f"http://127.0.0.1:{port}", timeout=120) as client:
        asking, meter = Asking(client, phones, session), Meter(pid)
        week, day, job = f"/weeks/{DAY}", phones[0].home, f"/jobs/{phones[0].visits[0]}"
        for path in (week, job, day):  # templates are read at the first of each
            asking.page(path)(0)
        asking.day(0)
        time.sleep(5.0)  # what a start brings with it
        before, began = busy_s(pid), time.monotonic()
        time.sleep(10.0)
        idle, held = (busy_s(pid) - before) / (time.monotonic() - began), meter.held_mb()
        note, _ = meter.cost(asking.note, times)
        print("| what | ms of a processor | kB sent |\n| --- | --- | --- |")
        print(f"| a note of a phone | {note:.0f} | |")
        costs = {}
        for name, act, besides in (
            ("day sheet on a phone, first opening", asking.opening, 0.0),
            ("day sheet on a phone, changed", asking.after_note(asking.day), note),
            ("day sheet on a phone, again", lambda n: asking.day(0), 0.0),
            ("week sheet, changed", asking.after_note(asking.page(week)), note),
            ("week sheet, again", asking.page(week), 0.0),
            ("job, changed", asking.after_note(asking.page(job)), note),
            ("job, again", asking.page(job), 0.0),
        ):
            ms, size = meter.cost(act, times)
            costs[name] = ms - besides
            print(f"| {name} | {costs[name]:.0f} | {size:.0f} |", flush=True)
        for n in range(PHONES):
            asking.day(n)
        opening, changed, again = (
            costs[f"day sheet on a phone, {how}"] for how in ("first opening", "changed", "again")
        )
        whole = opening + READS * (changed + again) / 2 + NOTES * note
        print(f"\na phone's day: {whole / 1000:.1f} s of a processor ({READS} readings, {NOTES} notes)")
        print(f"service with nobody there: {held:.0f} MB, {1000 * idle:.0f} ms of a processor a second")
        print(f"and after {PHONES} phones: {meter.held_mb():.0f} MB")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--times", type=int, default=15)
    times = parser.parse_args().times
    with tempfile.TemporaryDirectory(prefix="eave-pages-") as folder:
        demo.build(Path(folder), lambda _: None, planner=one_a_day)
        measured(Path(folder), times)


if __name__ == "__main__":
    main()
