"""`eaveboard serve`: the port and the data are had before anything else, and what cannot be used is said at once."""

from __future__ import annotations

import contextlib
import errno
import gc
import os
import socket
import sys
from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Annotated

import typer

from api.cli.ready import compile_once
from api.cli.saying.voice import voice
from scheduler.errors import BadInput

if TYPE_CHECKING:
    from api.settings import Settings


def serve(
    port: Annotated[
        int | None, typer.Option(min=1, max=65535, metavar="N", help="Port of the pages; left out: EAVEBOARD_PORT.")
    ] = None,
    host: Annotated[
        str | None,
        typer.Option(metavar="ADDRESS", help="Address at which the pages answer; left out: EAVEBOARD_HOST."),
    ] = None,
    workers: Annotated[
        int,
        typer.Option(
            min=1, max=64, metavar="N", help="Processes that answer at the port; more than one on PostgreSQL alone."
        ),
    ] = 1,
) -> None:
    """Serve the pages (week sheet, jobs, drawings) until Ctrl-C; EAVEBOARD_DATA names their folder.

    They answer on this machine alone, unless `--host` or EAVEBOARD_HOST says otherwise.
    """
    from api.http.logs import log_to_stderr
    from api.settings import reachable_host, read_settings

    settings = read_settings(os.environ)
    host = reachable_host(host, settings.address, "--host") if host else settings.host
    settings = replace(settings, port=port or settings.port, host=host)
    if workers > 1 and not settings.database.startswith("postgresql"):
        problem = "SQLite takes one process; leave it out, or name a PostgreSQL database by EAVEBOARD_DATABASE"
        raise BadInput("--workers", problem)
    log_to_stderr(settings.log)
    os.umask(0o077)  # what is written is for its owner alone
    name = "--port" if port else "EAVEBOARD_PORT"
    with _listening(host, settings.port, name) as listening:  # first: a second service must not touch the data
        if workers > 1:
            from api.cli.serving.several import serve_several

            started = serve_several(settings, listening, workers)
        else:
            started = serve_one(settings, listening, lambda: say_where(settings, 1))
    if not started:
        raise typer.Exit(1)


def say_where(settings: Settings, workers: int) -> None:
    """Say where the pages are."""
    how_many = f"{workers} workers; " if workers > 1 else ""
    voice().note(f"The week sheet is at {settings.base}/ ({how_many}Ctrl-C ends)")
    voice().give({"address": f"{settings.base}/", "workers": workers})
    sys.stdout.flush()


def serve_one(
    settings: Settings,
    listening: socket.socket,
    begun: Callable[[], None],
    until: Callable[[Callable[[], None]], None] | None = None,
) -> bool:
    """Serve in this process until it is told to end; return whether it could start.

    begun: called before it begins to answer. until: given what ends the service, for whoever has another reason to.
    Raises `BadInput` where the data cannot be used.
    """
    from api.opened import open_data

    opened = open_data(settings)
    compile_once()
    gc.disable()  # what imports make stays: looking through it over and over took a sixth of the start
    import uvicorn  # only now: where data or port cannot be used, that is said at once

    from api.app import create_app
    from api.http.admission.protocol import MOST_CONNECTIONS, MOST_HEAD, PatientProtocol

    app = create_app(settings, opened)
    gc.freeze()
    gc.enable()
    begun()
    config = uvicorn.Config(
        app, log_level="warning", server_header=False, timeout_graceful_shutdown=5, http=PatientProtocol, ws="none",
        h11_max_incomplete_event_size=MOST_HEAD, limit_concurrency=MOST_CONNECTIONS,
        proxy_headers=bool(settings.proxies), forwarded_allow_ips=settings.proxies,
    )  # fmt: skip
    server = uvicorn.Server(config)
    app.state.leaving = lambda: server.should_exit  # streams that would go on for minutes end by themselves
    if until is not None:
        until(lambda: setattr(server, "should_exit", True))
    with contextlib.suppress(KeyboardInterrupt):
        server.run(sockets=[listening])
    return server.started


def _listening(host: str, port: int, name: str) -> socket.socket:
    """Return a socket at `port` of `host`; raises `BadInput`, for the port at `name`, where it cannot be had."""
    try:
        family, *_, place = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE)[0]
    except OSError:
        raise BadInput("EAVEBOARD_HOST", f'must be an address of this machine, is "{host}"') from None
    made = socket.socket(family)
    try:
        if sys.platform != "win32":  # there it would let two programs have the same port
            made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        made.bind(place)
        made.listen(128)
    except OSError as fault:
        made.close()
        if fault.errno == errno.EADDRNOTAVAIL:
            raise BadInput("EAVEBOARD_HOST", f'must be an address of this machine, is "{host}"') from None
        taken = fault.errno == errno.EADDRINUSE
        problem = "is taken by another program" if taken else f"cannot be used: {fault.strerror}"
        raise BadInput(name, f"port {port} {problem}; choose another") from None
    return made
