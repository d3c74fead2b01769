"""What /static answers: kept for good under its version, asked after each time without, and packed small."""

from __future__ import annotations

import gzip
import re

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from starlette.middleware.gzip import GZipMiddleware
from starlette.responses import StreamingResponse
from starlette.types import ASGIApp

from api.access.accounts import Role
from api.http import assets
from tests.service.cast import PAGE, anonymous, signed_in

ASKED = "no-cache"
KEPT = "public, max-age=31536000, immutable"


def test_a_page_names_its_style_sheet_by_version_and_that_is_kept_for_good(app: FastAPI) -> None:
    client = anonymous(app)
    [address] = re.findall(r'href="(/static/paper\.css[^"]*)"', client.get("/sign-in", headers=PAGE).text)
    assert re.fullmatch(r"/static/paper\.css\?v=[0-9a-f]{10}", address)
    assert client.get(address).headers["cache-control"] == KEPT
    for other in ("/static/paper.css", "/static/paper.css?v=0123456789", "/static/paper.css?v="):
        assert client.get(other).headers["cache-control"] == ASKED  # kept, an old version would never go away
    assert client.get("/static/nothing.css?v=").status_code == 404


def test_a_changed_file_has_another_version(tmp_path_factory: pytest.TempPathFactory) -> None:
    folder = tmp_path_factory.mktemp("static")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(assets, "FOLDER", folder)
        (folder / "built").mkdir()
        (folder / "built" / "bench.js").write_text("one()")
        before = str(assets.script("bench"))
        (folder / "built" / "bench.js").write_text("two('longer')")
        after = str(assets.script("bench"))
        assert re.fullmatch(r'<script type="module" src="/static/built/bench\.js\?v=[0-9a-f]{10}"></script>', before)
        assert before != after
        assert assets.asset("built/none.js") == "/static/built/none.js"


def test_a_bundled_script_may_serve_the_whole_site_as_a_worker(app: FastAPI) -> None:
    path = assets.FOLDER / "built" / "test-of-assets.js"
    path.write_text("0")
    try:
        answer = anonymous(app).get("/static/built/test-of-assets.js")
        assert answer.headers["service-worker-allowed"] == "/"
        assert "javascript" in answer.headers["content-type"]
    finally:
        path.unlink()
    assert "service-worker-allowed" not in anonymous(app).get("/static/paper.css").headers


def test_pages_and_style_sheets_are_packed_small_for_those_who_can_unpack(app: FastAPI) -> None:
    manager = signed_in(app, Role.manager)
    for address in ("/who-may-sign-in", "/static/paper.css"):
        with manager.stream("GET", address, headers=PAGE | {"accept-encoding": "gzip"}) as answer:
            raw = b"".join(answer.iter_raw())
        plain = manager.get(address, headers=PAGE | {"accept-encoding": "identity"})
        assert answer.headers["content-encoding"] == "gzip"
        assert "accept-encoding" in answer.headers["vary"].lower()
        assert len(raw) < len(plain.content) / 2
        assert "content-encoding" not in plain.headers
        if address.startswith("/static"):
            assert gzip.decompress(raw) == plain.content


def test_an_event_stream_is_not_held_back_to_be_packed(app: FastAPI) -> None:
    async def events(scope: object, receive: object, send: object) -> None:
        answer = StreamingResponse(iter([b"data: " + b"x" * 5000 + b"\n\n"]), media_type="text/event-stream")
        await answer(scope, receive, send)  # type: ignore[arg-type]

    [options] = [m.kwargs for m in app.user_middleware if m.cls == GZipMiddleware]
    packed: ASGIApp = GZipMiddleware(events, **options)  # type: ignore[arg-type]
    answer = TestClient(packed).get("/", headers={"accept-encoding": "gzip"})
    assert "content-encoding" not in answer.headers
    assert len(answer.content) == 5008


def test_a_page_gives_its_scripts_the_token_and_a_place_to_speak(app: FastAPI) -> None:
    client = signed_in(app, Role.office)
    page = client.get("/day-links", headers=PAGE).text
    assert f'<meta name="csrf" content="{client.headers["X-CSRF-Token"]}">' in page
    assert '<p id="said" role="status" aria-live="polite"></p>' in page
