"""The description of every address (OpenAPI), with how callers say who they are and which scope a token needs."""

from __future__ import annotations

from typing import Any

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi

from api.access.guards import statements
from api.access.scopes import SCOPES, opened
from api.http.first_version import PREFIX

SCHEMES = {
    "session": {
        "type": "apiKey",
        "in": "cookie",
        "name": "eave-session",
        "description": "A person's session, begun at /sign-in; over https its cookie is __Host-eave-session. Writing "
        "requests carry the token of /session in X-CSRF-Token.",
    },
    "token": {
        "type": "http",
        "scheme": "bearer",
        "description": "A program's token, made on the page /tokens. Scopes: "
        + "; ".join(f"{name}: {scope.words}" for name, scope in SCOPES.items())
        + ".",
    },
}


LINK = {
    "Link": {
        "description": 'Where the list goes on, `<address>; rel="next"` (RFC 8288); absent at its end.',
        "schema": {"type": "string"},
    }
}


def describe(app: FastAPI) -> dict[str, Any]:
    """Return the OpenAPI document of `app`, made once."""
    if app.openapi_schema is None:
        made = get_openapi(title=app.title, version=app.version, openapi_version=app.openapi_version, routes=app.routes)
        made["servers"] = [{"url": PREFIX}]
        made.setdefault("components", {})["securitySchemes"] = SCHEMES
        for method, path, permission in statements(app):
            operation = made["paths"].get(path, {}).get(method.lower())
            if operation is None:
                continue
            needed = [name for name, _ in opened(method, path, permission.roles)]
            ways: list[dict[str, list[str]]] = [{"session": []}, *({"token": [name]} for name in needed)]
            operation["security"] = [] if permission.everyone else ways
            if method == "GET" and {"after", "limit"} <= {one["name"] for one in operation.get("parameters", ())}:
                operation["responses"].setdefault("200", {"description": "found"}).setdefault("headers", LINK)
        app.openapi_schema = made
    return app.openapi_schema
