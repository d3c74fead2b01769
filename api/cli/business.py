"""`eaveboard demo` and `serve`: the demo business in a folder, and the pages in a browser."""

from __future__ import annotations

import contextlib
import errno
import gc
import os
import socket
import sys
from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from api.cli.ready import compile_once
from api.cli.saying.voice import voice
from scheduler.errors import BadInput


def demo(
    out: Annotated[
        Path, typer.Option("--out", "-o", metavar="FOLDER", help="The folder to make or to bring up to date.")
    ],
) -> None:
    """Make the demo business: its orders drawn, its kits counted and its week planned, all in one folder.

    What the folder holds already, made of the same files, is used again.
    """
    from api.business.demo import build

    told = voice()
    compile_once()
    with told.status("Making the demo …") as show:
        made = build(out, lambda line: show(f"Making the demo: {line}"))
    told.give({"folder": str(out), "week": str(made.week), "plan": str(made.plan)})
    told.say(f"The demo business is in {out}: week file {made.week}, plan {made.plan}.")
    told.say(f"Read the plan with: eaveboard show {made.plan} --week {made.week}")


def serve(
    port: Annotated[
        int | None, typer.Option(min=1, max=65535, metavar="N", help="Port of the pages; left out: EAVEBOARD_PORT.")
    ] = None,
    host: Annotated[
        str | None,
        typer.Option(metavar="ADDRESS", help="Address at which the pages answer; left out: EAVEBOARD_HOST."),
    ] = None,
) -> None:
    """Serve the pages (week sheet, jobs, drawings) until Ctrl-C; EAVEBOARD_DATA names their folder.

    They answer on this machine alone, unless `--host` or EAVEBOARD_HOST says otherwise.
    """
    from api.http.logs import log_to_stderr
    from api.opened import open_data
    from api.settings import reachable_host, read_settings

    settings = read_settings(os.environ)
    host = reachable_host(host, settings.address, "--host") if host else settings.host
    settings = replace(settings, port=port or settings.port, host=host)
    log_to_stderr(settings.log)
    os.umask(0o077)  # what is written is for its owner alone
    name = "--port" if port else "EAVEBOARD_PORT"
    with _listening(host, settings.port, name) as listening:  # first: a second service must not touch the data
        opened = open_data(settings)
        compile_once()
        gc.disable()  # what imports make stays: looking through it over and over took a sixth of the start
        import uvicorn  # only now: where data or port cannot be used, that is said at once

        from api.app import create_app
        from api.http.protocol import MOST_CONNECTIONS, PatientProtocol

        app = create_app(settings, opened)
        gc.freeze()
        gc.enable()
        voice().note(f"The week sheet is at {settings.base}/ (Ctrl-C ends)")
        voice().give({"address": f"{settings.base}/"})
        sys.stdout.flush()
        config = uvicorn.Config(
            app, log_level="warning", server_header=False, timeout_graceful_shutdown=5, http=PatientProtocol, ws="none",
            limit_concurrency=MOST_CONNECTIONS, proxy_headers=bool(settings.proxies),
            forwarded_allow_ips=settings.proxies,
        )  # fmt: skip
        server = uvicorn.Server(config)
        app.state.leaving = lambda: server.should_exit  # streams that would go on for minutes end by themselves
        with contextlib.suppress(KeyboardInterrupt):
            server.run(sockets=[listening])
    if not server.started:
        raise typer.Exit(1)


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
