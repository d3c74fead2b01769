"""Two hundred phones read their day sheets while somebody attacks: how long the phones wait.

Run: ops/attack   (--seconds N of each part, --phones N; ends with 1 where 99 of 100 day sheets take longer than 500 ms)

The service runs as `eaveboard serve` does, on a posted day of the demo. Each phone reads its crew's day sheet and then
pauses, ten seconds in the mean; one time in ten it notes that the crew has set out or come there, so that what is kept
in memory does not stay good. First they are alone; then an attacker without a sign-in joins, from another address (of
this machine, or with --same-address the phones'): bodies of 60 MB with and without a length, sign-ins with wrong
passwords as fast as they are answered, pages and addresses that are none, bodies that come a byte a second, heads that
never end, deep JSON, connections that say nothing. Phones and attacker are processes of their own, so that neither
waits for the other's work; what each took of a processor is told, and how late the phones' own clock was: a wait that
the measurement itself made would be seen there. All runs on one machine: phones and attacker take their part of its
processors.
"""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import datetime
import json
import multiprocessing
import os
import random
import re
import shutil
import socket
import statistics
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Awaitable, Callable, Collection, Iterator
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from sqlmodel import select

from api import tables
from api.access.day_links import make_link
from api.access.guards import csrf_token
from api.business import demo
from api.database import open_database, transaction
from api.secret import read_secret
from api.settings import Settings, sqlite_address
from scheduler.plan import read_plan
from tests.one_a_day import one_a_day
from tests.service.cast import link_cookies
from tests.service.day.day_cast import DAY, MORNING

AIM_S = 0.5
PAUSE_S = 10.0
LOOK_S = 0.02
NOTES = 0.1  # of the times that a phone reads, it notes something too
ATTACKER = "127.0.0.2"


@dataclass
class Told:
    """What came back: seconds of each day sheet, and the answers by who asked.

    busy_s: what the process that asked took of a processor; late_s: how late its own clock was, looked at all the time.
    """

    waits_s: list[float] = field(default_factory=list)
    answers: Counter[str] = field(default_factory=Counter)
    late_s: list[float] = field(default_factory=list)
    busy_s: float = 0.0

    def line(self, name: str) -> str:
        waits = sorted(self.waits_s)
        if len(waits) < 2:
            return f"{name:12} no day sheet came: does the service start? {dict(self.answers)}"
        places = statistics.quantiles(waits, n=100)
        answered = ", ".join(f"{count} {what}" for what, count in sorted(self.answers.items()))
        return (
            f"{name:12} {len(waits):5} day sheets: half within {places[49] * 1000:4.0f} ms, 99 of 100 within "
            f"{places[98] * 1000:4.0f} ms, the longest {waits[-1] * 1000:4.0f} ms; {answered}"
        )


async def _answer(reader: asyncio.StreamReader) -> int:
    """Read one answer whole, and return its status."""
    head = (await reader.readuntil(b"\r\n\r\n")).decode("latin-1")
    status = int(head.split(" ", 2)[1])
    length = re.search(r"(?im)^content-length: (\d+)", head)
    if length is not None:
        await reader.readexactly(int(length[1]))
    elif "transfer-encoding: chunked" in head.lower():
        while size := int((await reader.readline()).split(b";")[0], 16):
            await reader.readexactly(size + 2)
        await reader.readline()
    return status


def _head(method: str, path: str, *lines: str) -> bytes:
    return "\r\n".join([f"{method} {path} HTTP/1.1", "Host: 127.0.0.1", *lines, "", ""]).encode()


@dataclass(frozen=True)
class Phone:
    """One phone: the cookies of its link, the address of its crew's day, the visits there, and its forms' token."""

    cookie: str
    home: str
    visits: tuple[str, ...]
    csrf: str

    def note(self, chance: random.Random) -> bytes:
        """Return a request that notes when the crew set out for a visit or came there."""
        noted = {"at": MORNING.isoformat(), "visit": chance.choice(self.visits), "what": "here", "noted": True}
        body = json.dumps(noted | {"noted": chance.random() < 0.5}).encode()
        lines = (f"Cookie: {self.cookie}", f"X-CSRF-Token: {self.csrf}", "Content-Type: application/json")
        key = f"Idempotency-Key: {chance.getrandbits(64):x}"
        return _head("POST", f"{self.home}/times", *lines, key, f"Content-Length: {len(body)}") + body


async def _phone(port: int, phone: Phone, told: Told, end: float) -> None:
    chance = random.Random(phone.cookie)
    asked = _head("GET", phone.home, f"Cookie: {phone.cookie}", "Accept: text/html", "Accept-Encoding: gzip")
    await asyncio.sleep(chance.uniform(0, PAUSE_S))
    reader = writer = None
    while time.monotonic() < end:
        begun = time.monotonic()
        try:
            if writer is None or reader is None:
                reader, writer = await asyncio.open_connection("127.0.0.1", port)
            writer.write(asked)
            status = await _answer(reader)
        except (OSError, asyncio.IncompleteReadError):  # kept open too long: phones open another one
            if writer is not None:
                writer.close()
            reader = writer = None
            told.answers["phone: connection lost"] += 1
            continue
        told.waits_s.append(time.monotonic() - begun)
        told.answers[f"phone: {status}"] += status != 200
        if phone.visits and chance.random() < NOTES:
            with contextlib.suppress(OSError, asyncio.IncompleteReadError):
                writer.write(phone.note(chance))
                told.answers[f"phone noted: {await _answer(reader)}"] += 1
        await asyncio.sleep(chance.uniform(0, 2 * PAUSE_S))
    if writer is not None:
        writer.close()


async def _over_and_over(
    port: int, at: str, told: Told, end: float, name: str, act: Callable[..., Awaitable[int]]
) -> None:
    while time.monotonic() < end:
        writer = None
        try:
            reader, writer = await asyncio.open_connection("127.0.0.1", port, local_addr=(at, 0))
            told.answers[f"{name}: {await asyncio.wait_for(act(reader, writer), 60)}"] += 1
        except (OSError, asyncio.IncompleteReadError, TimeoutError):
            told.answers[f"{name}: closed"] += 1
            await asyncio.sleep(0.05)
        finally:
            if writer is not None:
                writer.close()


async def _pages(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> int:
    path = random.choice(("/sign-in", "/", "/crews/north-1/days/2027-04-12", f"/{random.random()}", "/health"))
    writer.write(_head("GET", path, "Accept: text/html", "Cookie: eave-day=made-up"))
    return await _answer(reader)


async def _silent(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> int:
    return await _answer(reader)


async def _sign_in(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> int:
    body = b"name=manager&password=guess&csrf=x"
    kind = "Content-Type: application/x-www-form-urlencoded"
    writer.write(_head("GET", "/sign-in", "Accept: application/json"))
    head = (await reader.readuntil(b"\r\n\r\n")).decode("latin-1")
    length, seed = re.search(r"(?im)^content-length: (\d+)", head), re.search(r"eave-form=([^;]+)", head)
    assert length is not None
    assert seed is not None
    csrf = re.search(rb'"csrf":"([0-9a-f]+)"', await reader.readexactly(int(length[1])))
    assert csrf is not None
    body = body.replace(b"csrf=x", b"csrf=" + csrf[1])
    lines = (kind, f"Content-Length: {len(body)}", f"Cookie: eave-form={seed[1]}", "Accept: application/json")
    writer.write(_head("POST", "/sign-in", *lines) + body)
    return await _answer(reader)


async def _large(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> int:
    if random.random() < 0.5:
        writer.write(_head("POST", "/customers", "Content-Type: application/json", "Content-Length: 60000000"))
        return await _answer(reader)
    writer.write(_head("POST", "/customers", "Content-Type: application/json", "Transfer-Encoding: chunked"))
    piece = b"%x\r\n" % 65536 + b"[" * 65536 + b"\r\n"
    with contextlib.suppress(OSError):  # the other side stops reading
        for _ in range(1000):
            writer.write(piece)
            await writer.drain()
            if reader._buffer:  # type: ignore[attr-defined]  # an answer is there
                break
    return await _answer(reader)


async def _slow(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> int:
    writer.write(_head("POST", "/sign-in", "Content-Type: application/json", "Content-Length: 60000"))
    answer = asyncio.ensure_future(_answer(reader))
    while not answer.done():
        writer.write(b"x")
        await asyncio.sleep(1)
    return await answer


async def _endless(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> int:
    writer.write(b"GET /sign-in HTTP/1.1\r\n")
    answer = asyncio.ensure_future(_answer(reader))
    while not answer.done():
        writer.write(b"X-More: x\r\n")
        await asyncio.sleep(1)
    return await answer


# The ways of attacking, with how many connections do each at the same time.
ATTACKS = {
    "sign-in": (_sign_in, 20), "pages": (_pages, 20), "large": (_large, 6), "slow": (_slow, 60),
    "endless": (_endless, 30), "silent": (_silent, 20),
}  # fmt: skip


async def _late(told: Told, end: float) -> None:
    """Note how much later than asked this process goes on: a wait that is its own, not the service's."""
    while time.monotonic() < end:
        before = time.monotonic()
        await asyncio.sleep(LOOK_S)
        told.late_s.append(time.monotonic() - before - LOOK_S)


async def _phones(port: int, phones: Collection[Phone], told: Told, end: float) -> None:
    await asyncio.gather(_late(told, end), *(_phone(port, phone, told, end) for phone in phones))


async def _attack(port: int, given: tuple[str, Collection[str]], told: Told, end: float) -> None:
    at, kinds = given
    ways = ((name, *ATTACKS[name]) for name in kinds)
    await asyncio.gather(
        *(_over_and_over(port, at, told, end, name, act) for name, act, many in ways for _ in range(many))
    )


def _acting(act: Callable[..., Awaitable[None]], port: int, given: Any, seconds: float, back: Connection) -> None:
    """Do `act` for so long in this process, and send `back` what came of it."""
    told = Told()
    asyncio.run(act(port, given, told, time.monotonic() + seconds))
    told.busy_s = time.process_time()
    back.send(told)


def _part(port: int, phones: Collection[Phone], seconds: float, at: str, kinds: Collection[str]) -> tuple[Told, Told]:
    """Let phones, and attackers of `kinds` at an address, ask for so long, each from a process of their own.

    Return what the phones were told, and what the attackers.
    """
    context, got = multiprocessing.get_context("spawn"), []
    for act, given in ((_phones, phones), (_attack, (at, kinds))):
        here, there = context.Pipe(duplex=False)
        context.Process(target=_acting, args=(act, port, given, seconds, there)).start()
        there.close()
        got.append(here)
    asked, attacked = (one.recv() for one in got)
    return asked, attacked


@contextlib.contextmanager
def serving(data: Path) -> Iterator[tuple[int, int]]:
    """Serve a data folder as a user would; give the port and the number of the process."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = int(free.getsockname()[1])
    own = {k: v for k, v in os.environ.items() if not k.startswith("EAVEBOARD_")}
    own |= {"EAVEBOARD_DATA": str(data), "EAVEBOARD_PORT": str(port), "EAVEBOARD_CLOCK": MORNING.isoformat()}
    code = "from api.cli import main; main(['serve'])"
    service = subprocess.Popen([sys.executable, "-c", code], env=own, stderr=subprocess.DEVNULL)
    try:
        for _ in range(3000):  # five minutes: its first start beside other work takes long
            with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), 1):
                break
            if service.poll() is not None:
                raise SystemExit(f"The service ended before it could be asked, with {service.returncode}.")
            time.sleep(0.1)
        yield port, service.pid
    finally:
        service.terminate()
        service.wait(30)


def busy_s(process: int) -> float:
    """Return the processor seconds that a process has taken; unlike waits they do not depend on what else runs."""
    fields = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def posted_for(data: Path, phones: int) -> list[Phone]:
    """Post the week of the demo, and give so many phones, spread over the crews that go out on its first day."""
    settings = Settings(data=data, database=sqlite_address(data), port=1)
    secret, database = read_secret(settings, lambda: "s" * 43), open_database(settings.database)
    made = []
    with transaction(database) as session:
        stored = session.exec(select(tables.StoredPlan).where(tables.StoredPlan.start_date == DAY)).first()
        assert stored is not None
        session.add(tables.PostedWeek(start_date=DAY, plan_id=stored.id or 0, posted_at=MORNING, posted_by="attack"))
        routes = [route for route in read_plan(stored.plan).routes if route.day == 0 and route.stops]
        for n in range(phones):
            route = routes[n % len(routes)]
            link = make_link(session, secret, route.crew, DAY, by="attack", now=MORNING)
            link.link.expires_at = datetime.datetime(9000, 1, 1, tzinfo=datetime.UTC)
            visits = tuple(stop.job for stop in route.stops)
            csrf = csrf_token(secret, link.token)
            made.append(
                Phone(link_cookies(session, link, f"phone-{n}"), f"/crews/{route.crew}/days/{DAY}", visits, csrf)
            )
        session.add(tables.History(at=MORNING, by="attack", did="made", noun="day link", noun_id="all", detail={}))
    database.dispose()
    return made


def run(built: Path, number: int, seconds: float, at: str, kinds: Collection[str]) -> bool:
    """Measure both parts on a copy of a built demo; say whether the aim was kept under attack."""
    attacked = Told()
    with tempfile.TemporaryDirectory(prefix="eave-attack-") as folder:
        data = Path(folder) / "data"
        shutil.copytree(built, data)
        phones = posted_for(data, number)
        with serving(data) as (port, service):
            _part(port, phones[:20], 5, at, ())  # what is made at the first request
            for name, ways in (("alone", ()), ("attacked", kinds)):
                before, begun = busy_s(service), time.monotonic()
                attacked, attackers = _part(port, phones, seconds, at, ways)
                busy, took = busy_s(service) - before, time.monotonic() - begun
                attacked.answers += attackers.answers
                late = max(attacked.late_s, default=0.0)
                print(
                    f"{attacked.line(name)}\n{'':12} of a processor in {took:.0f} s: service {busy:.1f} s, phones "
                    f"{attacked.busy_s:.1f} s, attacker {attackers.busy_s:.1f} s; the phones' own clock was "
                    f"{late * 1000:.0f} ms late at worst",
                    flush=True,
                )
    return len(attacked.waits_s) > 1 and statistics.quantiles(attacked.waits_s, n=100)[98] <= AIM_S


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description="Day sheets beside an attacker.")
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--phones", type=int, default=200)
    parser.add_argument("--only", nargs="*", choices=list(ATTACKS), help="these ways of attacking alone")
    parser.add_argument("--same-address", action="store_true", help="the attacker comes from the phones' address")
    parser.add_argument("--data", type=Path, help="a built demo; left out: one is made")
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="eave-attack-demo-") as made_in:
        where = Path(made_in) / "demo"
        if chosen.data is None:
            where.mkdir()
            demo.build(where, lambda _: None, planner=one_a_day)
        else:
            shutil.copytree(chosen.data, where)
        at = "127.0.0.1" if chosen.same_address else ATTACKER
        sys.exit(0 if run(where, chosen.phones, chosen.seconds, at, chosen.only or ATTACKS) else 1)
