"""The voice of a command: what it says to people, what it gives to programs, and what neither asked for.

| | without | `--quiet` | `--json` |
| --- | --- | --- | --- |
| `say`: what was done | standard output | | |
| `show`: what was asked for | standard output | standard output | |
| `give`: the outcome, for programs | | | standard output |
| `note`: what one should know besides | standard error | | standard error |

Where a file goes to standard output (`-`), `say` and `show` go to standard error.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import typer

from api.cli.files import STANDARD, check_writable
from scheduler.errors import BadInput


@dataclass
class Voice:
    """How the command that runs now was asked to speak."""

    as_json: bool = False
    quiet: bool = False
    aside: bool = False

    def say(self, words: str) -> None:
        """Tell people what was done."""
        if not self.quiet:
            self.show(words)

    def show(self, words: str, *, nl: bool = True) -> None:
        """Tell people what they asked for."""
        if not self.as_json:
            typer.echo(words, nl=nl, err=self.aside)

    def note(self, words: str) -> None:
        """Tell people what they should know besides."""
        if not self.quiet:
            typer.echo(words, err=True)

    def give(self, value: object) -> None:
        """Print the outcome as JSON, where that was asked for."""
        if self.as_json:
            import msgspec

            sys.stdout.write(msgspec.json.format(msgspec.json.encode(value), indent=1).decode() + "\n")

    def will_write(self, *files: Path | None) -> None:
        """Check that the files can be written, before the work; raises `BadInput`. None stands for no file."""
        named = [file for file in files if file is not None]
        for file in named:
            check_writable(file)
        if named.count(STANDARD) > 1:
            raise BadInput("-", "can stand for one file only; name the others")
        self.aside = STANDARD in named
        if self.aside and self.as_json:
            raise BadInput("--json", "and - would both go to standard output; give the file a name")

    @contextmanager
    def status(self, words: str) -> Iterator[Callable[[str], None]]:
        """Show on a terminal what is being done; what is given takes the words' place."""
        if self.quiet:
            yield lambda _: None
            return
        from rich.console import Console

        with Console(stderr=True).status(words) as shown:
            yield lambda newer: shown.update(newer)


_spoken: ContextVar[Voice] = ContextVar("voice")


def voice() -> Voice:
    """Return the voice of the command that runs now; that of one called as a function says everything to people."""
    return _spoken.get(Voice())


@contextmanager
def speaking(**asked: Any) -> Iterator[None]:
    """Have the command within speak as it was `asked` to (the fields of `Voice`)."""
    before = _spoken.set(Voice(**asked))
    try:
        yield
    finally:
        _spoken.reset(before)
