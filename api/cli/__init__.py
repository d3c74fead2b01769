"""The command line, `eaveboard`: thin over the core. Exit 0: done; 1: judged and found wanting; 2: bad input.

Everything heavy is imported where a command needs it, so that help and completion come at once.
"""

from __future__ import annotations

import errno
import importlib.metadata
import os
import sys
from contextlib import suppress
from functools import partial
from typing import Annotated

import typer

from api.cli import accounts, business, exchange
from api.cli.draw import calibrate, draw
from api.cli.planning import changes, crews, plans, worth
from api.cli.ready import choose_cache, ready
from api.cli.roads import app as roads
from api.cli.safekeeping import backup, doctor, new_secret, restore
from api.cli.saying.command import WRONG, Command, Misused, misuse, refuse
from api.cli.saying.manual import man_page
from api.cli.saying.standard_error import let_errors_be_lost
from api.cli.serving.serve import serve
from api.cli.weather import app as weather

_NOT_WRITTEN = (errno.ENOSPC, errno.EDQUOT, errno.EIO, errno.EPIPE, errno.EBADF)

app = typer.Typer(
    name="eaveboard",
    help="Plan the working week of a business that installs retractable awnings.",
    epilog="A week file holds what there is to do, who can do it and with what; a plan file who goes where and when.",
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)
command = partial(app.command, cls=Command)
command("plan", short_help="Plan a week at least cost.")(plans.plan)
command("audit", short_help="Judge a plan: broken rules and the real cost.")(plans.audit)
command("show", short_help="Show a plan as a week sheet.")(plans.show)
command("worth", short_help="Say what would pay: one more crew, ladder, helper or hour.")(worth.worth)
command("crews", short_help="Form the crews of a week from people on a roster.")(crews.crews)
command("replan", short_help="Plan the rest of a posted week again.")(changes.replan)
command("offer", short_help="Offer a customer other times, with their cost.")(changes.offer)
command("draw", short_help="Draw a survey's wall: layout, SVG and PDF.")(draw)
command("calibrate", short_help="Fit the times of work to finished jobs.")(calibrate)
command("export", short_help="Write the whole business into one ZIP file.")(exchange.export)
command("import", short_help="Take a table in, or a whole business.")(exchange.take_in)
command("packet", short_help="Write a job's packet as PDF.")(exchange.packet)
command("daysheet", short_help="Write a crew's day on paper as PDF.")(exchange.day_sheet)
command("demo", short_help="Make the demo business, drawn, counted and planned.")(business.demo)
command("serve", short_help="Serve the pages on this machine.")(serve)
command("backup", short_help="Write all that the service keeps into one file.")(backup)
command("restore", short_help="Put a backup back.")(restore)
command("new-secret", short_help="Sign by a new secret from now on.")(new_secret)
command("doctor", short_help="Say how the service is, and what to do.")(doctor)
command("ready", short_help="Compile the planner ahead of its first use.")(ready)
command("reset-password", short_help="Print a new one-time password for somebody who signs in.")(
    accounts.reset_password
)
command("man-page", short_help="Write the manual page, for man.")(man_page)
app.add_typer(roads)
app.add_typer(weather, name="weather")


def _say_version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"eaveboard {importlib.metadata.version('eaveboard')}")
        raise typer.Exit


@app.callback()
def _program(
    _: Annotated[
        bool, typer.Option("--version", is_eager=True, callback=_say_version, help="Say which version this is.")
    ] = False,
) -> None:
    """Plan the working week of a business that installs retractable awnings."""


def main(args: list[str] | None = None) -> None:
    """Run the command in `args` (None: those of the process) and exit with its code."""
    _open_what_is_closed()
    let_errors_be_lost()
    choose_cache()
    try:
        try:
            code = app(args=args, prog_name="eaveboard", standalone_mode=False)
        finally:
            sys.stdout.flush()  # here, and not when everything is over: what cannot be written is then said
        sys.exit(code if isinstance(code, int) else 0)
    except Misused as fault:
        typer.echo(misuse(fault), err=True)
        sys.exit(WRONG)
    except SystemExit as end:
        if isinstance(end.__context__, BrokenPipeError):  # the library ends by 1 then, which says something else here
            _say_no_more()
            sys.exit(WRONG)
        raise
    except OSError as fault:
        if fault.filename is not None or fault.errno not in _NOT_WRITTEN:
            raise
        _say_no_more()
        if fault.errno != errno.EPIPE:  # whoever reads has seen enough
            refuse(f"Standard output cannot be written: {fault.strerror}")
        sys.exit(WRONG)


def _say_no_more() -> None:
    """Have standard output go nowhere from now on: what is left of it would be tried again at the end."""
    with suppress(OSError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _open_what_is_closed() -> None:
    """Have output that the shell has closed go nowhere: the next file that is opened would get its number."""
    for number in range(3):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)  # gets the lowest number that is free: this one
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115
