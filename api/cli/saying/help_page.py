"""The page of all commands, `docs/commands.md`, made from the command line's own help.

Write it anew after a change: `python -m api.cli.saying.help_page > docs/commands.md`; the manual page beside it is made
by `eaveboard man-page --out docs/eaveboard.1`.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from typer.main import get_command

from api.cli import app
from api.cli.saying.manual import each_command, parameters, usage

_HEAD = """\
# The commands

Made from the commands' own help by `python -m api.cli.saying.help_page > docs/commands.md`; never edit it by hand.
Every command also takes `--help` (`-h`), and `eaveboard --install-completion` lets your shell complete commands and
options. `eaveboard man-page` writes the same as a manual page; an installed program has it in its environment:
`man -M ENVIRONMENT/share/man eaveboard`.

A command ends with 0 when it has done its work, with 1 when it has judged something and found it wanting or something
outside failed, and with 2 when the input is wrong: one sentence on standard error then names the key, the field or the
option. With `--json` the outcome is one JSON value on standard output, and what one should know besides stands on
standard error; with `--quiet` only what was asked for is printed. A file named `-` is standard input or standard
output; words for people then go to standard error. Weeks, plans, surveys, rosters and constants are read as JSON, or as
YAML where the name ends in .yaml or .yml or standard input does not begin as JSON does. Folders, road extracts and road
tiles are never `-`.
"""


def help_page() -> str:
    """Return the page in Markdown: for each command what it does, its arguments and its options with their defaults."""
    commands = each_command("eaveboard", get_command(app))
    return "\n".join([_HEAD, *(line for path, command in commands for line in _section(path, command))])


def _section(path: str, command: Any) -> Iterator[str]:
    yield f"## {path}\n"
    yield f"`{usage(path, command)} [options]`\n"
    yield f"{command.help}\n"
    yield "| argument or option | meaning |"
    yield "| --- | --- |"
    for name, meaning in parameters(path, command):
        yield f"| `{_cell(name)}` | {_cell(meaning)} |"
    yield ""


def _cell(text: str) -> str:
    return text.replace("|", "\\|")


if __name__ == "__main__":
    print(help_page(), end="")
