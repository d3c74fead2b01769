"""`eaveboard demo` and `serve`: the demo business in a folder, and the pages in a browser."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path
from typing import Annotated

import typer


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
    import uvicorn

    from api.app import create_app
    from api.settings import read_settings

    settings = read_settings(os.environ)
    typer.echo(f"The week sheet is at http://127.0.0.1:{port or settings.port}/ (Ctrl-C ends)", err=True)
    app = create_app(settings)
    server = uvicorn.Server(
        uvicorn.Config(app, "127.0.0.1", port or settings.port, log_level="warning", timeout_graceful_shutdown=5)
    )
    app.state.leaving = lambda: server.should_exit  # streams that would go on for minutes end by themselves
    with contextlib.suppress(KeyboardInterrupt):
        server.run()
    if not server.started:
        raise typer.Exit(1)
