"""No single request stops the others: bodies, nesting, files that unpack to far more, slow callers, password hashes."""

from __future__ import annotations

import asyncio
import contextlib
import io
import socket
import threading
import time
import tracemalloc
import zipfile
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import openpyxl
import pytest
import uvicorn
from fastapi import FastAPI
from starlette.requests import Request

from api.access import accounts
from api.access.accounts import Passwords, Role
from api.fields.files.sheets import BadFiles, read_yaml
from api.http.admission import protocol, sizes, strangers
from api.http.problems import Problem
from api.uploads.reading import read_upload
from scheduler.errors import BadInput
from tests.service.cast import JSON, anonymous, signed_in
from tests.waiting import until


def test_a_stranger_may_send_little_and_is_refused_before_the_body_is_read(app: FastAPI) -> None:
    client = anonymous(app)
    for headers in ({}, {"cookie": "eave-session=made-up"}):
        answer = client.post("/customers", content=b"x" * (sizes.MOST_STRANGER + 1), headers=JSON | headers)
        assert answer.status_code == 413
        assert answer.headers["connection"] == "close"
        assert "content-security-policy" in answer.headers

    def without_length() -> Iterator[bytes]:
        for _ in range(1000):
            yield b"x" * 1000

    assert client.post("/customers", content=without_length(), headers=JSON).status_code == 413


def test_nobody_may_send_more_than_a_body_needs(app: FastAPI) -> None:
    client = signed_in(app, Role.manager)
    json = JSON | {"content-type": "application/json"}
    assert client.post("/customers", content=b" " * (sizes.MOST_PLAIN + 1), headers=json).status_code == 413
    form = JSON | {"content-type": "application/x-www-form-urlencoded"}
    assert client.post("/who-may-sign-in", content=b"a=" + b"x" * sizes.MOST_FORM, headers=form).status_code == 413
    large = {"file": ("large.csv", b"x" * (sizes.MOST_FILES + 1), "text/csv")}
    assert client.post("/exchange/try", files=large, headers=JSON).status_code == 413
    assert client.post("/customers", json={"name": "Odile Marrack"}, headers=JSON).status_code == 201


def test_brackets_within_brackets_are_refused_and_brackets_in_texts_are_not(app: FastAPI) -> None:
    client = signed_in(app, Role.manager)
    for body in (b"[" * 400_000, b'{"a":' * 41 + b"1" + b"}" * 41, b'{"name": ' + b"[" * 2000):
        answer = client.post("/customers", content=body, headers=JSON | {"content-type": "application/json"})
        assert answer.status_code == 422, answer.text
    assert client.post("/customers", json={"name": "[" * 100}, headers=JSON).status_code == 201


@pytest.mark.parametrize(
    ("body", "depth"),
    [(b"[[1]]" + b"[]" * 50, 2), (b'["[[[["]' + b"{}" * 50, 1), (b'["\\"[[["]' + b"[]" * 50, 1), (b"[" * 50, 50)],
)
def test_depth_is_that_of_brackets_outside_texts(body: bytes, depth: int) -> None:
    assert sizes._depth(body) == depth


def _bomb(change: Any) -> bytes:
    book, out = openpyxl.Workbook(), io.BytesIO()
    sheet = book.active
    assert sheet is not None
    sheet.title = "customers"
    sheet.append(["id", "name"])
    change(sheet)
    book.save(out)
    return out.getvalue()


def _merged(sheet: Any) -> None:
    sheet.merged_cells.ranges.add("A1:XFD1048576")


def _far(sheet: Any) -> None:
    sheet["XFD1048576"] = "far"


def _packed(inner: bytes) -> bytes:
    out = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(_bomb(lambda _: None))) as source,
        zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as target,
    ):
        for name in source.namelist():
            target.writestr(name, inner if name == "xl/worksheets/sheet1.xml" else source.read(name))
    return out.getvalue()


SHEET = b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>%s</sheetData></worksheet>'

LINKED = (SHEET % b"<row><c><v>1</v></c></row>").replace(
    b"</worksheet>", b'<hyperlinks><hyperlink ref="A1:XFD1048576" location="x"/></hyperlinks></worksheet>'
)


@pytest.mark.parametrize(
    "make",
    [
        pytest.param(lambda: _bomb(_merged), id="merged cells"),
        pytest.param(lambda: _bomb(_far), id="a cell far away"),
        pytest.param(lambda: _packed(LINKED), id="a link over all cells"),
        pytest.param(lambda: _packed(b" " * 70_000_000), id="blanks"),
        pytest.param(lambda: _packed(SHEET % (b"<row>" + b"<c/>" * 400_000 + b"</row>")), id="cells"),
        pytest.param(
            lambda: _packed(b'<!DOCTYPE a [<!ENTITY b "bbbbbbbbbb">]>' + SHEET % b"<row><c><v>&b;</v></c></row>"),
            id="entities",
        ),
    ],
)
def test_a_small_spreadsheet_that_would_fill_the_memory_is_refused(make: Callable[[], bytes]) -> None:
    data = make()
    tracemalloc.start()
    try:
        with pytest.raises(BadFiles):
            read_upload(data, "customers.xlsx", ["customers"])
        assert tracemalloc.get_traced_memory()[1] < 60_000_000
    finally:
        tracemalloc.stop()


def _aliases() -> str:
    lines = ["a0: &a0 [x, x, x, x, x, x, x, x, x, x]"]
    lines += [f"a{n}: &a{n} [{', '.join([f'*a{n - 1}'] * 10)}]" for n in range(1, 10)]
    return "\n".join(lines)


@pytest.mark.parametrize(
    ("text", "words"),
    [(_aliases(), "uses an alias"), ("a: " + "[" * 60, "levels"), ("a: " + "x" * 500_000, "more than 400 kB")],
)
def test_a_small_settings_file_that_would_fill_the_memory_is_refused(tmp_path: Path, text: str, words: str) -> None:
    (tmp_path / "business.yaml").write_text(text)
    faults: list[BadInput] = []
    assert read_yaml(tmp_path, "business.yaml", faults) is None
    assert words in str(faults[0])


@pytest.mark.race
def test_few_passwords_are_hashed_at_once_and_the_rest_come_again(monkeypatch: pytest.MonkeyPatch) -> None:
    passwords, at_once, most = Passwords(quick=True), 0, 0
    lock, go = threading.Lock(), threading.Event()

    def slow(password: str, _: str) -> bool:
        nonlocal at_once, most
        with lock:
            at_once += 1
            most = max(most, at_once)
        go.wait(30)
        with lock:
            at_once -= 1
        return False

    monkeypatch.setattr(passwords._hash, "verify", slow)

    def guess(_: int) -> bool | int:
        try:
            return passwords.fits("x", None)
        except Problem as problem:
            refused.release()
            return problem.status

    refused = threading.Semaphore(0)
    with ThreadPoolExecutor(40) as pool:
        found = [pool.submit(guess, n) for n in range(40)]
        for _ in range(40 - accounts.HASHED_AT_ONCE - accounts.HASHES_WAITING):
            assert refused.acquire(timeout=30)
        go.set()
        answers = [future.result() for future in found]
    assert most <= accounts.HASHED_AT_ONCE
    assert answers.count(429) == 40 - accounts.HASHED_AT_ONCE - accounts.HASHES_WAITING


def test_a_slow_body_and_a_silent_connection_are_given_up(app: FastAPI, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sizes, "GAP_S", 0.3)
    monkeypatch.setattr(protocol, "HEAD_S", 0.3)
    with _served(app) as listening:
        assert _sent(listening, b"") == b""
        assert _sent(listening, b"GET / HT") == b""
        slow = b"POST /sign-in HTTP/1.1\r\nHost: x\r\nContent-Length: 900\r\n\r\nname="
        assert _sent(listening, slow).startswith(b"HTTP/1.1 408 ")
        whole = b"GET /sign-in HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n"
        assert _sent(listening, whole).startswith(b"HTTP/1.1 200 ")


@contextlib.contextmanager
def _served(app: FastAPI) -> Iterator[socket.socket]:
    """Serve over a port of this machine as `eaveboard serve` does."""
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        config = uvicorn.Config(
            app,
            log_level="critical",
            ws="none",
            lifespan="off",
            http=protocol.PatientProtocol,
            proxy_headers=False,
            h11_max_incomplete_event_size=protocol.MOST_HEAD,
        )
        server = uvicorn.Server(config)
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
        thread.start()
        while not server.started:
            time.sleep(0.01)
        try:
            yield listening
        finally:
            server.should_exit = True
            thread.join(10)


def _sent(listening: socket.socket, data: bytes, at: str = "127.0.0.1") -> bytes:
    """Return all that comes back until the other side closes the connection."""
    with socket.create_connection(listening.getsockname(), 20, (at, 0)) as client:
        if data:
            client.sendall(data)
        found = b""
        while piece := client.recv(65536):
            found += piece
        return found


def test_a_body_that_is_too_large_has_an_answer_where_the_caller_sends_it_whole_first(app: FastAPI) -> None:
    body = b"a=" + b"x" * 5_000_000
    head = b"POST /jobs HTTP/1.1\r\nHost: x\r\nContent-Type: application/x-www-form-urlencoded\r\n"
    signed = signed_in(app, Role.office)
    cookie = "; ".join(f"{name}={value}" for name, value in signed.cookies.items()).encode()
    with _served(app) as listening:
        head += b"Cookie: " + cookie + b"\r\nContent-Length: " + str(len(body)).encode() + b"\r\n\r\n"
        answer = _sent(listening, head + body)
    assert answer.startswith(b"HTTP/1.1 413")
    assert b"shorten it" in answer


def test_an_address_that_is_too_long_has_an_answer_where_the_caller_sends_it_whole_first(app: FastAPI) -> None:
    head = b"GET /promise?town=" + b"x" * 2_000_000 + b" HTTP/1.1\r\nHost: x\r\n\r\n"
    with _served(app) as listening:
        answer = _sent(listening, head)
    assert answer.startswith(b"HTTP/1.1 431")
    assert b"too long for an address" in answer
    assert b"content-type: text/plain" in answer


@pytest.mark.parametrize(
    ("cookie", "words"), [("", "too long for an address"), ("eave-language=es", "demasiado larga")]
)
def test_a_browser_is_told_on_a_page_in_its_readers_language_what_is_too_long(
    app: FastAPI, cookie: str, words: str
) -> None:
    asks = f"Host: x\r\nAccept: text/html,*/*\r\nCookie: a=b; {cookie}\r\n".encode()
    with _served(app) as listening:
        long = [
            _sent(listening, b"GET /promise?town=" + b"x" * size + b" HTTP/1.1\r\n" + asks + b"\r\n").decode()
            for size in (300_000, 1_000_000)
        ]
        much = b"x" * (sizes.MOST_STRANGER + 1)
        length = f"Content-Length: {len(much)}\r\n\r\n".encode()
        large = _sent(listening, b"POST /customers HTTP/1.1\r\n" + asks + length + much).decode()
    for answer in long:
        assert answer.startswith("HTTP/1.1 431")
        assert words in answer
        assert "content-type: text/html" in answer
        assert "Content-Security-Policy" in answer
    assert large.startswith("HTTP/1.1 413")
    assert ("Lo enviado pasa de" if cookie else "What was sent has more than") in large
    assert "<!doctype html>" in large


def _flooded(method: str, check: Any) -> None:
    """Have 40 strangers of one address ask at once, and `check` what others meet meanwhile, given how to ask."""
    passed: list[str] = []

    async def app(scope: Any, receive: Any, send: Any) -> None:
        passed.append(scope["client"][0])

    async def receive() -> dict[str, Any]:
        return {"type": "http.request", "body": b"{}", "more_body": False}

    async def ask(address: str, cookie: str) -> None:
        headers = [(b"cookie", cookie.encode())] + [(b"content-length", b"2")] * (method == "POST")
        scope = {"type": "http", "method": method, "path": "/x", "headers": headers, "query_string": b""}
        await bounds(scope | {"client": (address, 1), "server": ("x", 1), "scheme": "http"}, receive, None)  # type: ignore[arg-type]

    async def flooded() -> None:
        nonlocal bounds
        bounds = sizes.RequestBounds(app, known=lambda request: request.headers["cookie"] == "known")
        flood = [asyncio.create_task(ask("192.0.2.1", "stranger")) for _ in range(40)]
        while len(passed) < strangers.OF_ADDRESS:
            await asyncio.sleep(0)
        await check(ask)
        for one in flood:
            one.cancel()
        await asyncio.gather(*flood, return_exceptions=True)
        assert passed.count("192.0.2.1") <= 3 * strangers.OF_ADDRESS, passed

    bounds: Any = None
    asyncio.run(flooded())


@pytest.mark.parametrize("method", ["GET", "POST"])
def test_a_flood_of_strangers_keeps_nobody_waiting_who_is_known(method: str) -> None:
    """Strangers pass a few at a time, with a pause; whoever is known passes at once, though many strangers wait."""

    async def check(ask: Any) -> None:
        await ask("192.0.2.1", "known")

    _flooded(method, check)


def test_a_flood_from_one_address_keeps_strangers_elsewhere_waiting_no_longer_than_their_own_turn() -> None:
    async def check(ask: Any) -> None:
        for address in ("192.0.2.2", "2001:db8::1"):
            await ask(address, "")

    _flooded("GET", check)


def test_networks_of_one_subscriber_stand_in_one_line_and_too_many_are_sent_away(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(strangers, "MOST_WAITING", 3)
    monkeypatch.setattr(strangers, "SENT_AWAY_S", 0.0)
    monkeypatch.setattr(strangers, "OF_ADDRESS", 1)

    async def check() -> None:
        queue = strangers.Strangers(known=lambda _: False)

        async def come(n: int) -> int:
            scope = {"type": "http", "method": "GET", "path": "/", "headers": [], "query_string": b""}
            try:
                await queue.let_in(Request(scope | {"client": (f"2001:db8::{n:x}", 1)}))
            except Problem as problem:
                return problem.status
            return 200

        answers = await asyncio.gather(*(come(n + 1) for n in range(6)))
        assert sorted(answers) == [200, 200, 200, 429, 429, 429]
        await asyncio.sleep(2 * strangers.EVERY_S)
        assert not queue._lines  # nothing is kept of whom nobody waits for

    asyncio.run(check())


def test_one_address_cannot_take_all_connections(app: FastAPI, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(protocol, "MOST_OF_ADDRESS", 3)
    whole = b"GET /sign-in HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n"
    with _served(app) as listening:
        held = [socket.create_connection(listening.getsockname(), 20, ("127.0.0.2", 0)) for _ in range(3)]
        with contextlib.suppress(ConnectionResetError):
            assert _sent(listening, whole, "127.0.0.2") == b""
        assert _sent(listening, whole).startswith(b"HTTP/1.1 200 ")  # from another address
        for one in held:
            one.close()
        until(lambda: not protocol.PatientProtocol._open)
        assert _sent(listening, whole, "127.0.0.2").startswith(b"HTTP/1.1 200 ")


def test_heavy_requests_wait_for_their_turn(app: FastAPI) -> None:
    """Of many exports at once two are made at the same time."""

    async def check() -> None:
        now, most = 0, 0

        async def heavy(scope: Any, receive: Any, send: Any) -> None:
            nonlocal now, most
            now += 1
            most = max(most, now)
            await asyncio.sleep(0.01)
            now -= 1

        bounds = sizes.RequestBounds(heavy, known=lambda _: True)
        scope = {"type": "http", "method": "GET", "path": "/exchange/all.zip", "headers": [], "query_string": b""}
        await asyncio.gather(*(bounds(scope, None, None) for _ in range(12)))  # type: ignore[arg-type]
        assert most == sizes.TURNS

    asyncio.run(check())
