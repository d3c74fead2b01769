"""The commands as their own help has them, one by one, and `eaveboard man-page`: all of them as a manual page (man)."""

from __future__ import annotations

import importlib.metadata
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any

import typer

from api.cli.files import write_document
from api.cli.saying.voice import voice

ENDS = {
    "0": "The command has done its work.",
    "1": "It has judged something and found it wanting, or something outside failed.",
    "2": "The input is wrong: one sentence on standard error names the key, the field or the option.",
    "130": "It was given up by Ctrl-C.",
}


def man_page(
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", "-o", metavar="FILE", help="The file to write, such as eaveboard.1; left out or -: prints it."
        ),
    ] = None,
) -> None:
    """Write the manual page of all commands, made from their help: `man ./eaveboard.1` reads it.

    The installed program has it in share/man/man1 of its environment.
    """
    from typer.main import get_command

    from api.cli import app

    told = voice()
    told.will_write(out)
    page = manual(get_command(app))
    told.give({"file": None if out is None else str(out), "text": page})
    if out is None:
        told.show(page, nl=False)
    else:
        write_document(out, page.encode())


def each_command(path: str, command: Any) -> Iterator[tuple[str, Any]]:
    """Yield every command below `command` with the words by which it is called."""
    inner = getattr(command, "commands", None)
    if inner is None:
        yield path, command
        return
    for name, below in inner.items():
        yield from each_command(f"{path} {name}", below)


def usage(path: str, command: Any) -> str:
    """Return how a command is written: its words and its arguments."""
    context = command.context_class(command, info_name=path)
    pieces = [piece.strip("{}") for parameter in command.params for piece in parameter.get_usage_pieces(context)]
    return " ".join([path, *pieces])


def parameters(path: str, command: Any) -> Iterator[tuple[str, str]]:
    """Yield each argument and option of a command with its meaning."""
    context = command.context_class(command, info_name=path)
    for parameter in command.params:
        name, meaning = parameter.get_help_record(context)
        # That a file is a path, or a number in a range, tells a reader nothing: the range stands beside.
        yield re.sub(r"^(\w\S*) <\w+>$", r"\1", name).replace(" range>", ">"), " ".join(meaning.split())


def manual(program: Any) -> str:
    """Return the manual page (troff, macros of man) of all commands of `program`."""
    lines = [
        f'.TH EAVEBOARD 1 "" "eaveboard {importlib.metadata.version("eaveboard")}" "Commands"',
        ".SH NAME",
        "eaveboard \\- plan the working week of a business that installs retractable awnings",
        ".SH SYNOPSIS",
        ".B eaveboard",
        "COMMAND [arguments] [options]",
        ".SH DESCRIPTION",
        _text(program.help or ""),
        ".PP",
        _text(program.epilog or ""),
        ".SH COMMANDS",
    ]
    for path, command in each_command("eaveboard", program):
        lines += [f".SS {_text(path)}", f".B {_text(usage(path, command))}", "[options]"]
        for paragraph in (command.help or "").split("\n\n"):
            lines += [".PP", _text(" ".join(paragraph.split()))]
        for name, meaning in parameters(path, command):
            lines += [".TP", f".B {_text(name)}", _text(meaning)]
    lines.append(".SH EXIT STATUS")
    for code, words in ENDS.items():
        lines += [".TP", f".B {code}", _text(words)]
    lines += [
        ".SH FILES",
        _text(
            "A file named - is standard input or standard output. Weeks, plans, surveys and rosters are read as JSON, "
            "or as YAML where the name ends in .yaml or .yml."
        ),
    ]
    return "\n".join(lines) + "\n"


def _text(words: str) -> str:
    """Return `words` as troff prints them: nothing in them is a request or an escape."""
    safe = words.replace("\\", "\\e").replace("-", "\\-").replace("'", "\\(aq").replace("`", "\\(ga")
    safe = "".join(letter if letter.isascii() else f"\\[u{ord(letter):04X}]" for letter in safe)
    return f"\\&{safe}" if safe.startswith(".") else safe
