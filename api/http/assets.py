"""Style sheets and scripts: addresses that change with their content, which browsers may then keep for good."""

from __future__ import annotations

import functools
import hashlib
from collections.abc import MutableMapping
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs

from fastapi.staticfiles import StaticFiles
from markupsafe import Markup
from starlette.responses import Response

FOLDER = Path(__file__).parents[1] / "static"
# Workers lie in a folder, but serve the pages: a browser asks for leave.
_BUILT = "built/"


def version(name: str) -> str | None:
    """Return ten digits of the hash of the file `name` under static/; None where there is none."""
    try:
        stat = (FOLDER / name).stat()
    except OSError:
        return None
    return _digest(name, stat.st_mtime_ns, stat.st_size)


@functools.lru_cache(maxsize=256)
def _digest(name: str, _changed_ns: int, _size: int) -> str:
    return hashlib.sha256((FOLDER / name).read_bytes()).hexdigest()[:10]


def asset(name: str) -> str:
    """Return the address of the file `name` under static/, with its version: `asset("paper.css")`."""
    current = version(name)
    return f"/static/{name}" + (f"?v={current}" if current else "")


def script(name: str) -> Markup:
    """Return the element that runs the bundled script of api/web/src/pages/`name`.ts."""
    return Markup('<script type="module" src="{}"></script>').format(asset(f"{_BUILT}{name}.js"))


class Assets(StaticFiles):
    """The files under static/: asked for by their present version, kept for good; else asked after each time."""

    def __init__(self) -> None:
        # The bundle is made by ops/setup and may be made while the service runs.
        (FOLDER / _BUILT).mkdir(exist_ok=True)
        super().__init__(directory=FOLDER)

    async def get_response(self, path: str, scope: MutableMapping[str, Any]) -> Response:
        answer = await super().get_response(path, scope)
        asked = parse_qs(scope.get("query_string", b"").decode("latin-1")).get("v", [""])[-1]
        lasting = asked != "" and asked == version(path)
        answer.headers["Cache-Control"] = "public, max-age=31536000, immutable" if lasting else "no-cache"
        if path.startswith(_BUILT):
            answer.headers["Service-Worker-Allowed"] = "/"
        return answer
