"""`eaveboard draw` and `eaveboard calibrate`: a survey's layout and wall drawing, and task times from finished jobs."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from api.cli.files import STANDARD, read_document, read_structured, text_of, write_document
from api.cli.saying.voice import voice
from scheduler.errors import BadInput


class UnitsName(StrEnum):
    imperial = "imperial"
    metric = "metric"


class PaperName(StrEnum):
    letter = "letter"
    a4 = "a4"


def draw(
    survey: Annotated[
        Path,
        typer.Argument(
            metavar="SURVEY.json", help="The survey (survey/1 or survey/2), JSON or YAML; - reads standard input."
        ),
    ],
    out: Annotated[Path, typer.Option("--out", "-o", help="File to write the layout to (JSON); - prints it.")],
    svg: Annotated[
        Path | None,
        typer.Option(help="File to write the wall drawing to, as SVG; page 2 goes beside it, as -2."),
    ] = None,
    pdf: Annotated[Path | None, typer.Option(help="File to write the wall drawing to, as a PDF of all pages.")] = None,
    units: Annotated[UnitsName, typer.Option(help="The unit that comes first on the drawing.")] = UnitsName.imperial,
    paper: Annotated[PaperName, typer.Option(help="Paper of the drawing.")] = PaperName.letter,
    at_least: Annotated[
        int, typer.Option(min=0, help="Brackets that the manufacturer's list asks for, where it asks for more.")
    ] = 0,
) -> None:
    """Lay out a survey's brackets and draw the wall.

    Ends with 0, with 1 where the layout says stop (all files are written nevertheless), with 2 for input that is wrong.
    A file named - is standard input or output.
    """
    from api.cli.saying.words import plain
    from scheduler.documents import encode
    from scheduler.layout.compute import lay_out
    from scheduler.layout.documents import read_survey
    from scheduler.layout.drawing import describe, draw_sheets

    named = [path for path in (out, svg, pdf) if path is not None]
    if len(set(named)) < len(named):
        raise BadInput("--out, --svg and --pdf", "must name different files")
    told = voice()
    told.will_write(*named)
    read = read_structured(survey, read_survey)
    layout = lay_out(read, at_least)
    files = {out: encode(layout)}
    if svg is not None or pdf is not None:
        sheets = draw_sheets(read, layout, units=units.value, paper=paper.value)
        if svg is not None:
            files[svg] = sheets[0].encode()
            for number, sheet in enumerate(sheets[1:], start=2):
                if svg != STANDARD and (svg.is_file() or not svg.exists()):
                    files[_numbered(svg, number)] = sheet.encode()
        if pdf is not None:
            from api.papers.shown.drawing_pdf import drawing_pdf

            files[pdf] = drawing_pdf(sheets)
    for path, data in files.items():
        write_document(path, data)
    words = describe(read, layout, units=units.value)
    told.give({"layout": layout, "description": words, "files": [str(path) for path in files]})
    for line in words:
        told.say(plain(line))
    if any(finding.level == "stop" for finding in layout.findings):
        raise typer.Exit(1)


def _numbered(path: Path, number: int) -> Path:
    """Return the name of a later sheet's file: `wall-2.svg` beside `wall.svg`."""
    return path.with_name(f"{path.stem}-{number}{path.suffix}")


def calibrate(
    history: Annotated[
        Path,
        typer.Argument(
            metavar="HISTORY.csv",
            help="Finished jobs: what each visit was, and its minutes on site; - reads standard input.",
        ),
    ],
    times: Annotated[
        Path | None, typer.Option(help="Task times to start from (CSV); left out: the usual ones.")
    ] = None,
    out: Annotated[
        Path | None, typer.Option("--out", "-o", help="File to write the fitted task times to (CSV); - prints them.")
    ] = None,
) -> None:
    """Fit the task times to finished jobs, and say how well that does on jobs it has not seen."""
    from scheduler.times.calibrate import calibrate as fitted
    from scheduler.times.calibrate import describe, read_history
    from scheduler.times.defaults import DEFAULT_TIMES_CSV
    from scheduler.times.durations import read_times, times_to_csv

    told = voice()
    told.will_write(out)
    jobs = read_document(history, lambda raw: read_history(text_of(raw)))
    start = read_times(DEFAULT_TIMES_CSV)
    if times is not None:
        start = read_document(times, lambda raw: read_times(text_of(raw)))
    result = fitted(jobs, start)
    table = times_to_csv(result.times)
    if out is not None:
        write_document(out, table.encode())
    told.give({"fits": result.fits, "times": result.times})
    for fit in result.fits:
        (told.note if out is None and not told.as_json else told.say)(describe(fit))
    if out is None:
        told.show(table, nl=False)
