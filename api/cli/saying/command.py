"""The kind that all commands are of: with `--json` and `--quiet`, and one sentence on standard error for bad input."""

from __future__ import annotations

from typing import Annotated, Any

import typer
from typer.core import TyperCommand
from typer.main import get_command

from api.cli.files import STANDARD, refuse_standard
from api.cli.saying.voice import speaking
from scheduler.errors import BadInput

WRONG = 2  # exit code for input that is wrong
# What typer raises of options and arguments: it exports this one of its errors, whose parent they all have.
Misused: Any = typer.BadParameter.__mro__[1]
WRITTEN = ("out", "week_out", "svg", "pdf")  # options that name what is written; all else that is a file is read
NO_STREAMS = ("keep", "cache", "tiles", "extract", "region", "roads")  # folders, and files read here and there


def _every(
    as_json: Annotated[bool, typer.Option("--json", help="Print the outcome as JSON, and nothing else.")] = False,
    quiet: Annotated[
        bool, typer.Option("--quiet", "-q", help="Print only what was asked for, and what is wrong.")
    ] = False,
) -> None:
    """Has the options that every command has."""


_probe = typer.Typer(add_completion=False)
_probe.command()(_every)
_OPTIONS = get_command(_probe).params[:2]


class Command(TyperCommand):
    """A command that takes what every command takes, and ends with 2 and one sentence where its input is wrong."""

    def __init__(self, name: str | None, *, params: list[Any] | None = None, **rest: Any) -> None:
        super().__init__(name, params=[*(params or ()), *_OPTIONS], **rest)

    def invoke(self, ctx: Any) -> Any:
        """Run the command with the voice that it was asked to speak with."""
        asked = {name: ctx.params.pop(name) for name in ("as_json", "quiet")}
        with speaking(**asked):
            try:
                for name in NO_STREAMS:
                    if ctx.params.get(name) is not None:
                        refuse_standard(ctx.params[name])
                _one_is_read({name: value for name, value in ctx.params.items() if name not in WRITTEN})
                return super().invoke(ctx)
            except BadInput as fault:
                refuse(f"{fault}")
                raise typer.Exit(WRONG) from None


def _one_is_read(given: dict[str, Any]) -> None:
    """Raise `BadInput` where - stands for more than one file that is read: the second one would find nothing left."""
    if [value for value in given.values() if value in (STANDARD, str(STANDARD))][1:]:
        raise BadInput("-", "can stand for one of the files only; name the others")


def refuse(words: str) -> None:
    """Say on standard error, as one sentence, what is wrong."""
    typer.echo(" ".join(words.split()).rstrip(".") + ".", err=True)


def misuse(fault: Any) -> str:
    """Return what is wrong with the use of a command, and where its help is; its help where nothing was asked of it."""
    words, path = fault.format_message(), fault.ctx.command_path if fault.ctx else "eaveboard"
    if words.startswith("Usage: "):
        return str(words)
    words = words.rstrip(".").replace("Value error, ", "")
    return f"{path}: {words[:1].lower()}{words[1:]}; {path} --help says what there is."
