"""The week sheet on a terminal or in a pipe: ruled by crew or by day, then the waiting pile and the cost."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Iterator

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from api.cli.saying.words import count, gap_words, money, plain
from scheduler.reports.sheet import Cell, Sheet, Waiting
from scheduler.week import clock_time

_PIPE_WIDTH = 120  # columns where there is no terminal to ask


def print_sheet(sheet: Sheet, *, by_day: bool) -> None:
    """Print the whole sheet: one table a day with the crews below each other, or one a crew with its days."""
    console = _console()
    console.print(Text(f"Week {plain(sheet.week)}, {sheet.days[0]} to {sheet.days[-1]}", style="bold"))
    if not sheet.cells:
        console.print("No crew goes out.")
    for title, cells in _groups(sheet, by_day):
        console.print()
        console.print(Text(title, style="bold"))
        console.print(_day_table(sheet, cells, by_day))
    if sheet.waiting:
        console.print()
        console.print(Text(f"Waiting pile: {count(len(sheet.waiting), 'job')}", style="bold"))
        console.print(_pile_table(sheet.waiting))
    if sheet.broken:
        names = ", ".join(plain(job) for job in sheet.broken)
        console.print(Text(f"Promises not kept (tell the customer): {names}"))
    console.print()
    console.print(_cost_table(sheet))
    console.print(Text(_proven(sheet)))
    if sheet.breaches:
        words = f"This plan breaks the rules in {count(len(sheet.breaches), 'place')}; eaveboard audit names them."
        console.print(Text(words, style="bold"))


def print_sentences(sentences: Iterable[str]) -> None:
    """Print each sentence on lines of its own, no wider than the tables."""
    console = _console()
    for sentence in sentences:
        console.print(Text(sentence))


def _console() -> Console:
    return Console(width=None if sys.stdout.isatty() else _PIPE_WIDTH, highlight=False)


def _groups(sheet: Sheet, by_day: bool) -> Iterator[tuple[str, list[Cell]]]:
    if by_day:
        groups = [(name, [c for c in sheet.cells if c.day == day]) for day, name in enumerate(sheet.days)]
    else:
        groups = [(plain(crew), [c for c in sheet.cells if c.crew == crew]) for crew in sheet.crews]
    yield from ((title, cells) for title, cells in groups if cells)


def _day_table(sheet: Sheet, cells: list[Cell], by_day: bool) -> Table:
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    table.add_column("crew" if by_day else "day", no_wrap=True)
    table.add_column("from", justify="right")
    table.add_column("to", justify="right")
    table.add_column("job", overflow="fold")
    table.add_column("place", overflow="fold")
    table.add_column("drive", justify="right")
    table.add_column("notes", overflow="fold")
    for cell in cells:
        rows = list(_rows(cell))
        for n, row in enumerate(rows):
            name = (plain(cell.crew) if by_day else sheet.days[cell.day]) if n == 0 else ""
            table.add_row(*(Text(text) for text in (name, *row)), end_section=n == len(rows) - 1)
    return table


def _rows(cell: Cell) -> Iterator[tuple[str, str, str, str, str, str]]:
    """Yield (from, to, job, place, drive, notes): leaving the yard, each stop and the rest in order, and the return."""
    out = [f"{n} × {plain(item)}" for item, n in cell.from_pool.items()]
    if cell.helpers:
        out.insert(0, count(cell.helpers, "helper"))
    yield clock_time(cell.depart), "", "leaves", plain(cell.yard), "", ", ".join(out)
    rested = cell.rest is None
    for entry in cell.entries:
        if not rested and cell.rest is not None and cell.rest < entry.start:
            rested = True
            yield _rest_row(cell)
        notes = [*entry.marks, *([f"waits {entry.wait_min} min"] if entry.wait_min else [])]
        yield (
            clock_time(entry.start), clock_time(entry.end), plain(entry.job), plain(entry.place),
            f"{entry.drive_min} min", ", ".join(notes),
        )  # fmt: skip
    if not rested:
        yield _rest_row(cell)
    load = f"{cell.weight_kg} kg" + (f" and {count(cell.boxes, 'long box')}" if cell.boxes else "")
    notes = [f"{cell.metres / 1000:.0f} km", load, money(cell.cents)]
    if cell.overtime_min:
        notes.insert(0, f"{cell.overtime_min} min overtime")
    yield clock_time(cell.back), "", "back", plain(cell.yard), f"{cell.drive_home_min} min", ", ".join(notes)


def _rest_row(cell: Cell) -> tuple[str, str, str, str, str, str]:
    assert cell.rest is not None
    return clock_time(cell.rest), clock_time(cell.rest + cell.rest_min), "rest", "", "", ""


def _pile_table(pile: tuple[Waiting, ...]) -> Table:
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    table.add_column("job", overflow="fold")
    table.add_column("place", overflow="fold")
    table.add_column("booked")
    table.add_column("waiting costs", justify="right")
    table.add_column("because", overflow="fold")
    for waiting in pile:
        reasons = "\n".join(plain(reason.detail) for reason in waiting.because) or "not said"
        row = (plain(waiting.job), plain(waiting.place), waiting.hold or "", money(waiting.cents), reasons)
        table.add_row(*(Text(text) for text in row))
    return table


def _cost_table(sheet: Sheet) -> Table:
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_footer=True)
    table.add_column("cost", footer="total")
    table.add_column("", justify="right", footer=money(sheet.cost.total))
    for kind in sheet.cost.__struct_fields__[1:]:
        table.add_row(kind, money(getattr(sheet.cost, kind)))
    return table


def _proven(sheet: Sheet) -> str:
    words = gap_words(sheet.cost.total, sheet.bound, sheet.gap)
    words = words[:1].upper() + words[1:]
    if sheet.gap.hopeless:
        jobs = count(len(sheet.gap.hopeless), "job")
        words += f" {money(sheet.gap.fixed_cents)} of the total is for {jobs} that nobody could take this week."
    return words
