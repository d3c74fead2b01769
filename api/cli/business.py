"""`eaveboard demo`: the demo business in a folder."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from api.cli.ready import compile_once


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

    compile_once()
    with Console(stderr=True).status("Making the demo …") as status:
        made = build(out, lambda line: status.update(f"Making the demo: {line}"))
    typer.echo(f"The demo business is in {out}: week file {made.week}, plan {made.plan}.")
    typer.echo(f"Read the plan with: eaveboard show {made.plan} --week {made.week}")
