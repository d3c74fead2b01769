"""Two hundred phones read their day sheets while somebody attacks: how long the phones wait.

Run: ops/attack   (--seconds N of each part, --phones N; ends with 1 where 99 of 100 day sheets take longer than 500 ms)

The service runs as `eaveboard serve` does, on a posted day of the demo. Each phone reads its day sheet and then pauses,
ten seconds in the mean. First they are alone; then an attacker without a sign-in joins: bodies of 60 MB with and
without a length, sign-ins with wrong passwords as fast as they are answered, bodies that come a byte a second, heads
that never end, deep JSON. All runs on one machine: phones and attacker take their part of its processors.
"""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import datetime
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
from pathlib import Path

from api import tables
from api.access.day_links import make_link
from api.business import demo
from api.database import open_database, transaction
from api.secret import read_secret
from api.settings import Settings, sqlite_address
from tests.one_a_day import one_a_day
from tests.service.day.day_cast import CREW, DAY, HOME, MORNING, post_day

AIM_S = 0.5
PAUSE_S = 10.0


@dataclass
class Told:
    """What came back: seconds of each day sheet, and the answers by who asked."""

    waits_s: list[float] = field(default_factory=list)
    answers: Counter[str] = field(default_factory=Counter)

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


async def _phone(port: int, cookie: str, told: Told, end: float) -> None:
    chance = random.Random(cookie)
    asked = _head("GET", HOME, f"Cookie: eave-day={cookie}", "Accept: text/html", "Accept-Encoding: gzip")
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
        await asyncio.sleep(chance.uniform(0, 2 * PAUSE_S))
    if writer is not None:
        writer.close()


async def _over_and_over(port: int, told: Told, end: float, name: str, act: Callable[..., Awaitable[int]]) -> None:
    while time.monotonic() < end:
        writer = None
        try:
            reader, writer = await asyncio.open_connection("127.0.0.1", port)
            told.answers[f"{name}: {await asyncio.wait_for(act(reader, writer), 60)}"] += 1
        except (OSError, asyncio.IncompleteReadError, TimeoutError):
            told.answers[f"{name}: closed"] += 1
            await asyncio.sleep(0.05)
        finally:
            if writer is not None:
                writer.close()


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
ATTACKS = {"sign-in": (_sign_in, 20), "large": (_large, 6), "slow": (_slow, 60), "endless": (_endless, 30)}


async def _part(port: int, cookies: list[str], seconds: float, kinds: Collection[str]) -> Told:
    told, end = Told(), time.monotonic() + seconds
    going = [_phone(port, cookie, told, end) for cookie in cookies]
    going += [
        _over_and_over(port, told, end, name, act)
        for name, (act, many) in ATTACKS.items()
        if name in kinds
        for _ in range(many)
    ]
    await asyncio.gather(*going)
    return told


@contextlib.contextmanager
def _serving(data: Path) -> Iterator[tuple[int, int]]:
    """Serve a data folder as a user would; give the port and the number of the process."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = int(free.getsockname()[1])
    own = {k: v for k, v in os.environ.items() if not k.startswith("EAVEBOARD_")}
    own |= {"EAVEBOARD_DATA": str(data), "EAVEBOARD_PORT": str(port), "EAVEBOARD_CLOCK": MORNING.isoformat()}
    code = "from api.cli import main; main(['serve'])"
    service = subprocess.Popen([sys.executable, "-c", code], env=own, stderr=subprocess.DEVNULL)
    try:
        for _ in range(600):
            with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), 1):
                break
            time.sleep(0.1)
        yield port, service.pid
    finally:
        service.terminate()
        service.wait(30)


def _busy_s(process: int) -> float:
    """Return the processor seconds that a process has taken; unlike waits they do not depend on what else runs."""
    fields = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def _cookies(data: Path, phones: int) -> list[str]:
    settings = Settings(data=data, database=sqlite_address(data), port=1)
    secret, database = read_secret(settings, lambda: "s" * 43), open_database(settings.database)
    made = []
    with transaction(database) as session:
        for _ in range(phones):
            link = make_link(session, secret, CREW, DAY, by="attack", now=MORNING)
            link.link.expires_at = datetime.datetime(9000, 1, 1, tzinfo=datetime.UTC)
            made.append(link.token)
        session.add(tables.History(at=MORNING, by="attack", did="made", noun="day link", noun_id="all", detail={}))
    database.dispose()
    return made


def run(built: Path, phones: int, seconds: float, kinds: Collection[str]) -> bool:
    """Measure both parts on a copy of a built demo; say whether the aim was kept under attack."""
    attacked = Told()
    with tempfile.TemporaryDirectory(prefix="eave-attack-") as folder:
        data = Path(folder) / "data"
        post_day(built, data)
        cookies = _cookies(data, phones)
        with _serving(data) as (port, service):
            asyncio.run(_part(port, cookies[:5], 5, ()))  # what is made at the first request
            for name, ways in (("alone", ()), ("attacked", kinds)):
                before, begun = _busy_s(service), time.monotonic()
                attacked = asyncio.run(_part(port, cookies, seconds, ways))
                busy, took = _busy_s(service) - before, time.monotonic() - begun
                print(
                    f"{attacked.line(name)}; the service took {busy:.1f} s of a processor in {took:.0f} s", flush=True
                )
    return len(attacked.waits_s) > 1 and statistics.quantiles(attacked.waits_s, n=100)[98] <= AIM_S


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description="Day sheets beside an attacker.")
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--phones", type=int, default=200)
    parser.add_argument("--only", nargs="*", choices=list(ATTACKS), help="these ways of attacking alone")
    parser.add_argument("--data", type=Path, help="a built demo; left out: one is made")
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="eave-attack-demo-") as made_in:
        where = Path(made_in) / "demo"
        if chosen.data is None:
            where.mkdir()
            demo.build(where, lambda _: None, planner=one_a_day)
        else:
            shutil.copytree(chosen.data, where)
        sys.exit(0 if run(where, chosen.phones, chosen.seconds, chosen.only or ATTACKS) else 1)
