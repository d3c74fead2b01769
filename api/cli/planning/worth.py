"""`eaveboard worth`: what one more crew-day, ladder, helper or hour would save, and what each promise costs."""

from __future__ import annotations

import sys
import time
from pathlib import Path
from typing import Annotated

import typer

from api.cli.files import read_structured
from api.cli.ready import compile_once
from api.cli.saying.voice import voice

UNTRIED = 10  # changes not tried that are still shown


def worth(
    week_file: Annotated[
        Path, typer.Argument(metavar="WEEK.json", help="The week, JSON or YAML; - reads standard input.")
    ],
    seconds: Annotated[float, typer.Option(min=0, metavar="N", help="Stop after about N seconds.")] = 120.0,
    least: Annotated[int, typer.Option(min=0, metavar="CENTS", help="Leave out what surely saves less.")] = 100,
    seed: Annotated[int, typer.Option(min=0, metavar="N", help="Seed of the search's random numbers.")] = 0,
) -> None:
    """Say what would pay: one more crew-day, helper, ladder, part or hour of overtime, and each promise's price.

    Every figure is the cost of the best plan before less that after, both planned; where a plan is not proven best, or
    time ran out, the limits within which the figure lies are given instead.
    """
    from scheduler import worth as find
    from scheduler.week import read_week

    week = read_structured(week_file, read_week)
    told = voice()
    tell = told.note if sys.stderr.isatty() else None
    compile_once()
    found = find(week, seconds=seconds, clock=time.monotonic, seed=seed, least_cents=least, report=tell)
    told.give(found)
    from api.cli.saying.words import count, money, plain

    tried = [w for w in found if w.confirmed]
    untried = [w for w in found if not w.confirmed]
    for w in tried + untried[:UNTRIED]:
        told.show(plain(w.sentence))
    if more := untried[UNTRIED:]:
        most = money(max(w.at_most_cents for w in more))
        told.show(f"{count(len(more), 'change')} more not tried for want of time, worth at most {most} each.")
    if not found:
        told.show("No single change would save anything worth telling.")
