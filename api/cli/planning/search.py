"""Running the engine for a person who watches: progress as it comes, and Ctrl-C as a way to say "good enough"."""

from __future__ import annotations

import os
import signal
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType
from typing import TYPE_CHECKING

import typer
from rich.console import Console
from rich.live import Live
from rich.text import Text

from api.cli.saying.voice import voice
from api.cli.saying.words import money

if TYPE_CHECKING:
    from scheduler import Progress
    from scheduler.plan import Plan
    from scheduler.week import Week

_PLAIN_EVERY_S = 5.0  # a log file does not want four lines a second


class _Wish:
    """The wish to stop: made by the first Ctrl-C (or a request to end), read by the engine; the second gives up."""

    def __init__(self) -> None:
        self.made = False

    def make(self, number: int, frame: FrameType | None) -> None:
        if self.made:
            raise KeyboardInterrupt
        self.made = True


def search(week: Week, *, seconds: float | None, seed: int) -> tuple[Plan, bool]:
    """Return the best plan found in `seconds` (None: until it is proven best) and whether it was stopped by hand.

    Exits with 130 where it is given up.
    """
    from scheduler import plan_week as solve

    wish = _Wish()
    with _listening(wish), kept_clean(), _Watch(wish) as watch:
        try:
            made = solve(
                week, seconds=seconds, seed=seed, clock=time.monotonic, report=watch.tell, stop=lambda: wish.made
            )
        except KeyboardInterrupt:
            watch.close()
            typer.echo("Given up before a plan was kept; nothing was written.", err=True)
            raise typer.Exit(130) from None
    return made, wish.made


def spread(week: Week, plan: Plan, most_extra_cents: int, *, seconds: float | None, seed: int) -> tuple[Plan, bool]:
    """Return the plan with its overtime spread among the crews, and whether that was stopped by hand.

    Exits with 130 where it is given up.
    """
    from scheduler import fair

    wish = _Wish()
    with _listening(wish), kept_clean():
        voice().note("Spreading overtime among the crews; Ctrl-C keeps the plan as it was.")
        try:
            made = fair(
                week, plan, most_extra_cents, seconds=seconds, clock=time.monotonic, seed=seed, stop=lambda: wish.made
            )
        except KeyboardInterrupt:
            typer.echo("Given up before a plan was kept; nothing was written.", err=True)
            raise typer.Exit(130) from None
    return made.plan, wish.made


@contextmanager
def _listening(wish: _Wish) -> Iterator[None]:
    before = {number: signal.signal(number, wish.make) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


@contextmanager
def kept_clean() -> Iterator[None]:
    """Send to standard error what compiled libraries print on their own: standard output is for the result alone."""
    sys.stdout.flush()
    kept = os.dup(1)
    os.dup2(2, 1)
    try:
        yield
    finally:
        sys.stdout.flush()
        os.dup2(kept, 1)
        os.close(kept)


class _Watch:
    """One line on standard error that is rewritten on a terminal; elsewhere a new line now and then."""

    def __init__(self, wish: _Wish) -> None:
        self._wish, self._voice = wish, voice()  # here: the engine may tell from a thread of its own
        self._console = Console(stderr=True)
        self._live = (
            Live(console=self._console, transient=True, refresh_per_second=4)
            if _is_terminal() and not voice().quiet
            else None
        )
        self._told_s = -_PLAIN_EVERY_S

    def __enter__(self) -> _Watch:
        if self._live:
            self._live.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Take the line away; harmless when done twice."""
        if self._live:
            self._live.stop()

    def tell(self, progress: Progress) -> None:
        """Show how far the search is."""
        line = _line(progress, stopping=self._wish.made)
        if self._live:
            self._live.update(Text(line, overflow="ellipsis", no_wrap=True))
        elif progress.seconds - self._told_s >= _PLAIN_EVERY_S:
            self._told_s = progress.seconds
            self._voice.note(line)


def _is_terminal() -> bool:
    return sys.stderr.isatty()


def _line(progress: Progress, *, stopping: bool) -> str:
    parts = [f"{progress.seconds:6.1f} s"]
    if progress.cost is not None:
        parts.append(f"cost {money(progress.cost)}")
    if progress.bound is not None:
        parts.append(f"bound {money(progress.bound)}")
    if progress.cost and progress.bound is not None:
        parts.append(f"gap {100 * (progress.cost - progress.bound) / progress.cost:.2f} %")
    parts.append("stopping; Ctrl-C again gives up" if stopping else progress.phase)
    return "   ".join(parts)
