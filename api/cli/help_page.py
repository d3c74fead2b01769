"""The page of all commands, `docs/commands.md`, made from the command line's own help.

Write it anew after a change: `python -m api.cli.help_page > docs/commands.md`.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

from typer.main import get_command

from api.cli import app

_HEAD = """\
# The commands

Made from the commands' own help by `python -m api.cli.help_page > docs/commands.md`; do not edit this page by hand.
Every command also takes `--help` (`-h`), and `eaveboard --install-completion` lets your shell complete commands and
options. A command ends with 0 when it has done its work, with 1 when it has judged something and found it wanting, and
with 2 when the input is wrong: one sentence then names the key, the field or the option.
"""


def help_page() -> str:
    """Return the page in Markdown: for each command what it does, its arguments and its options with their defaults."""
    lines = [line for path, command in _commands("eaveboard", get_command(app)) for line in _section(path, command)]
    return "\n".join([_HEAD, *lines])


def _commands(path: str, command: Any) -> Iterator[tuple[str, Any]]:
    inner = getattr(command, "commands", None)
    if inner is None:
        yield path, command
        return
    for name, below in inner.items():
        yield from _commands(f"{path} {name}", below)


def _section(path: str, command: Any) -> Iterator[str]:
    context = command.context_class(command, info_name=path)
    pieces = [piece.strip("{}") for parameter in command.params for piece in parameter.get_usage_pieces(context)]
    yield f"## {path}\n"
    yield f"`{' '.join([path, *pieces])} [options]`\n"
    yield f"{command.help}\n"
    yield "| argument or option | meaning |"
    yield "| --- | --- |"
    for parameter in command.params:
        name, meaning = parameter.get_help_record(context)
        yield f"| `{_cell(_plain(name))}` | {_cell(meaning)} |"
    yield ""


def _plain(name: str) -> str:
    """Take off what tells a reader nothing: that a file is a path, that a number has a range (it stands beside)."""
    return re.sub(r"^(\w\S*) <\w+>$", r"\1", name).replace(" range>", ">")


def _cell(text: str) -> str:
    return " ".join(text.split()).replace("|", "\\|")


if __name__ == "__main__":
    print(help_page(), end="")
