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

from scheduler.errors import BadInput


def demo(
    out: Annotated[
        Path, typer.Option("--out", "-o", metavar="FOLDER", help="The folder to make or to bring up to date.")
    ],
) -> None:
    """Make the demo business: its orders drawn, its kits counted and its week planned, all in one folder.

    What the folder holds already, made of the same files, is used again.
    """
    from rich.console import Console

    from api.business.demo import build

    with Console(stderr=True).status("Making the demo …") as status:
        made = build(out, lambda line: status.update(f"Making the demo: {line}"))
    typer.echo(f"The demo business is in {out}: week file {made.week}, plan {made.plan}.")
    typer.echo(f"Read the plan with: eaveboard show {made.plan} --week {made.week}")


def serve(
    port: Annotated[
        int | None, typer.Option(min=1, max=65535, metavar="N", help="Port of the pages; left out: EAVEBOARD_PORT.")
    ] = None,
) -> None:
    """Serve the pages (week sheet, jobs, drawings) on this machine until Ctrl-C; EAVEBOARD_DATA names their folder."""
    from api.opened import open_data
    from api.settings import read_settings

    settings = read_settings(os.environ)
    settings = replace(settings, port=port or settings.port)
    os.umask(0o077)  # what is written is for its owner alone
    name = "--port" if port else "EAVEBOARD_PORT"
    with _listening(port or settings.port, name) as listening:  # first: a second service must not touch the data
        opened = open_data(settings)
        gc.disable()  # what imports make stays: looking through it over and over took a sixth of the start
        import uvicorn  # only now: where data or port cannot be used, that is said at once

        from api.app import create_app
        from api.http.protocol import MOST_CONNECTIONS, PatientProtocol

        app = create_app(settings, opened)
        gc.freeze()
        gc.enable()
        typer.echo(f"The week sheet is at http://127.0.0.1:{port or settings.port}/ (Ctrl-C ends)", err=True)
        config = uvicorn.Config(
            app, log_level="warning", timeout_graceful_shutdown=5, http=PatientProtocol, ws="none",
            limit_concurrency=MOST_CONNECTIONS, proxy_headers=bool(settings.proxies),
            forwarded_allow_ips=settings.proxies,
        )  # fmt: skip
        server = uvicorn.Server(config)
        app.state.leaving = lambda: server.should_exit  # streams that would go on for minutes end by themselves
        with contextlib.suppress(KeyboardInterrupt):
            server.run(sockets=[listening])
    if not server.started:
        raise typer.Exit(1)


def _listening(port: int, name: str) -> socket.socket:
    """Return a socket at `port` of this machine; raises `BadInput` at `name` where the port cannot be had."""
    made = socket.socket()
    try:
        if sys.platform != "win32":  # there it would let two programs have the same port
            made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        made.bind(("127.0.0.1", port))
        made.listen(128)
    except OSError as fault:
        made.close()
        taken = fault.errno == errno.EADDRINUSE
        problem = "is taken by another program" if taken else f"cannot be used: {fault.strerror}"
        raise BadInput(name, f"port {port} {problem}; choose another") from None
    return made
