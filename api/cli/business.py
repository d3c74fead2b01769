"""`eaveboard demo`: the demo business in a folder."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from api.cli.files import make_folder
from api.cli.ready import compile_once
from api.cli.saying.voice import voice


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
    make_folder(out)
    compile_once()
    with told.status("Making the demo …") as show:
        made = build(out, lambda line: show(f"Making the demo: {line}"))
    told.give({"folder": str(out), "week": str(made.week), "plan": str(made.plan)})
    told.say(f"The demo business is in {out}: week file {made.week}, plan {made.plan}.")
    told.say(f"Read the plan with: eaveboard show {made.plan} --week {made.week}")
