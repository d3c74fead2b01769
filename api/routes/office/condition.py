"""How the service is, for whoever watches it: /health, /ready and /metrics. None of them says anything of the work."""

from __future__ import annotations

import datetime
import hmac
import ipaddress
import shutil
from typing import Annotated, Any

import sqlalchemy as sa
from fastapi import Request
from fastapi.responses import Response
from prometheus_client import CONTENT_TYPE_LATEST

from api.access.guards import Who, everyone
from api.clock import Now
from api.condition.metrics import metrics as figures
from api.http.pages import Database
from api.http.problems import Problem, responses
from api.http.subject import Subject
from api.workers.keepers import Keepers

router = Subject(tags=("condition",))
Anyone = Annotated[Who, everyone()]
LEAST_FREE = 100_000_000  # bytes, below which nothing can be relied on to be written
_FORWARDED = ("forwarded", "x-forwarded-for", "x-forwarded-host", "x-real-ip")


@router.get("/health")
def health(request: Request, _: Anyone) -> dict[str, Any]:
    """Say that the process answers; it asks nothing else, so a database away is no reason to start it anew.

    `leads`: whether this worker does what is done in the background. `keepers`: of each such thing, here or as the
    worker that leads has told, how many seconds ago it was looked at, every how many it is, and whether that failed.
    """
    keepers: Keepers = request.app.state.keepers
    looked = [
        {"name": one.name, "looked_s": one.ago_s, "every_s": one.every_s, "failed": one.failed}
        for one in keepers.looked()
    ]
    return {"status": "up", "leads": keepers.leads, "keepers": looked}


@router.get("/ready", responses=responses(503))
def ready(request: Request, session: Database, _: Anyone) -> dict[str, Any]:
    """Say that requests can be served: the database answers, and there is room to write. 503 says what is not so."""
    session.execute(sa.select(1))
    free = shutil.disk_usage(request.app.state.settings.data).free
    if free < LEAST_FREE:
        raise Problem(503, f"The disk of the data folder has {free // 1_000_000} MB left.", kind="no-room")
    return {"status": "ready"}


@router.get(
    "/metrics",
    response_class=Response,
    responses={200: {"description": "figures for Prometheus", "content": {"text/plain": {}}}},
)
def metrics(request: Request, session: Database, now: Now, who: Anyone) -> Response:
    """Give the figures of the service in the form that Prometheus reads.

    By the token of EAVEBOARD_METRICS_TOKEN as bearer; where none is set, to this machine alone and not through a proxy.
    """
    token = request.app.state.settings.metrics_token
    if token:
        kind, _, sent = request.headers.get("authorization", "").partition(" ")
        if kind.lower() != "bearer" or not hmac.compare_digest(sent.strip().encode(), token.encode()):
            raise Problem(401, "Send the token of EAVEBOARD_METRICS_TOKEN.", headers={"WWW-Authenticate": "Bearer"})
    elif not _from_here(request):
        raise Problem(404, "Figures are for this machine alone; EAVEBOARD_METRICS_TOKEN lets others read them.")
    state, machine = request.app.state, datetime.datetime.now(datetime.UTC)
    data = figures(session, state.settings.data, state.backups, state.chain, state.keepers, work=now, machine=machine)
    return Response(data, media_type=CONTENT_TYPE_LATEST)


def _from_here(request: Request) -> bool:
    if request.client is None or any(name in request.headers for name in _FORWARDED):
        return False
    try:
        return ipaddress.ip_address(request.client.host).is_loopback
    except ValueError:
        return False
