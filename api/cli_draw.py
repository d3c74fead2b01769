"""`eaveboard draw` and `eaveboard calibrate`: a survey's layout and wall drawing, and task times from finished jobs."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from enum import StrEnum
from pathlib import Path
from typing import Annotated, TypeVar

import typer

from scheduler.errors import BadInput

T = TypeVar("T")


class UnitsName(StrEnum):
    imperial = "imperial"
    metric = "metric"


class PaperName(StrEnum):
    letter = "letter"
    a4 = "a4"


def draw(
    survey: Annotated[Path, typer.Argument(help="Survey file (survey/1, JSON).")],
    out: Annotated[Path, typer.Option(help="File to write the layout to (layout/1, JSON).")],
    svg: Annotated[Path | None, typer.Option(help="File to write the wall drawing to, as SVG.")] = None,
    pdf: Annotated[Path | None, typer.Option(help="File to write the wall drawing to, as a PDF of one page.")] = None,
    units: Annotated[UnitsName, typer.Option(help="The unit that comes first on the drawing.")] = UnitsName.imperial,
    paper: Annotated[PaperName, typer.Option(help="Paper of the drawing.")] = PaperName.letter,
    at_least: Annotated[
        int, typer.Option(min=0, help="Brackets that the manufacturer's list asks for, where it asks for more.")
    ] = 0,
    as_json: Annotated[bool, typer.Option("--json", help="Print layout, description and files as JSON.")] = False,
) -> None:
    """Lay out a survey's brackets and draw the wall.

    Ends with 0, with 1 where the layout says stop (all files are written nevertheless), with 2 for input that is wrong.
    """
    with _outcome():
        from scheduler.documents import encode
        from scheduler.layout.compute import lay_out
        from scheduler.layout.documents import read_survey
        from scheduler.layout.drawing import describe, draw_svg

        read = _in_file(survey, read_survey)
        layout = lay_out(read, at_least)
        files: dict[Path, bytes] = {out: encode(layout)}
        if svg is not None or pdf is not None:
            drawing = draw_svg(read, layout, units=units.value, paper=paper.value)
            if svg is not None:
                files[svg] = drawing.encode()
            if pdf is not None:
                from api.drawing_pdf import drawing_pdf

                files[pdf] = drawing_pdf(drawing)
        if len(files) < 1 + (svg is not None) + (pdf is not None):
            raise BadInput("--out, --svg and --pdf", "must be different files")
        _write_all(files)
        words = describe(read, layout, units=units.value)
        if as_json:
            _print_json({
                "layout": layout, "description": words, "files": [str(path) for path in files],
            })  # fmt: skip
        else:
            for line in words:
                typer.echo(line)
            for path in files:
                typer.echo(f"Wrote {path}.", err=True)
    if any(finding.level == "stop" for finding in layout.findings):
        raise typer.Exit(1)


def calibrate(
    history: Annotated[Path, typer.Argument(help="Finished jobs (CSV): what each visit was, and its minutes on site.")],
    times: Annotated[
        Path | None, typer.Option(help="Task times to start from (CSV); left out: the usual ones.")
    ] = None,
    out: Annotated[Path | None, typer.Option(help="File to write the fitted task times to (CSV).")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the fit and the fitted times as JSON.")] = False,
) -> None:
    """Fit the task times to finished jobs, and say how well that does on jobs it has not seen."""
    with _outcome():
        from scheduler.calibrate import calibrate as fitted
        from scheduler.calibrate import describe, read_history
        from scheduler.default_times import DEFAULT_TIMES_CSV
        from scheduler.durations import read_times, times_to_csv

        jobs = _in_file(history, read_history)
        start = read_times(DEFAULT_TIMES_CSV) if times is None else _in_file(times, read_times)
        result = fitted(jobs, start)
        if out is not None:
            _write_all({out: times_to_csv(result.times).encode()})
        if as_json:
            _print_json({"fits": result.fits, "times": result.times})
            return
        for fit in result.fits:
            typer.echo(describe(fit))
        if out is None:
            typer.echo(times_to_csv(result.times), nl=False)
        else:
            typer.echo(f"Wrote {out}.", err=True)


def _read(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as fault:
        raise BadInput(str(path), f"cannot be read ({fault.strerror})") from None


def _in_file(path: Path, read: Callable[[str], T]) -> T:
    """Return what `read` makes of a file's text; what it refuses is told with the file's name."""
    try:
        return read(_read(path).decode())
    except UnicodeDecodeError:
        raise BadInput(str(path), "is not a text file in UTF-8") from None
    except BadInput as fault:
        if fault.where == str(path):
            raise
        raise BadInput(f"{path}, {fault.where}" if fault.where else str(path), fault.problem) from None


def _write_all(files: Mapping[Path, bytes]) -> None:
    """Write the files so that each appears whole or not at all, and none before all could be written."""
    parts = {path: path.with_name(f"{path.name}.part-{os.getpid()}") for path in files}
    path = next(iter(files))
    try:
        for path, data in files.items():
            parts[path].write_bytes(data)
        for path in files:
            parts[path].replace(path)
    except OSError as fault:
        raise BadInput(str(path), f"cannot be written ({fault.strerror})") from None
    finally:
        for part in parts.values():
            part.unlink(missing_ok=True)


def _print_json(value: object) -> None:
    import msgspec

    typer.echo(msgspec.json.format(msgspec.json.encode(value), indent=1).decode())


@contextmanager
def _outcome() -> Iterator[None]:
    """End with one sentence on stderr and exit code 2 where the input is wrong."""
    try:
        yield
    except BadInput as fault:
        typer.echo(f"{fault}.".replace("..", "."), err=True)
        raise typer.Exit(2) from None
