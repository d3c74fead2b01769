"""`eaveboard draw` and `eaveboard calibrate` as a user runs them."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest
import typer
from pypdf import PdfReader

from api import cli
from api.cli.draw import calibrate, draw
from api.cli.saying.command import Command
from scheduler.documents import decode
from scheduler.layout.documents import Layout
from scheduler.times.calibrate import COLUMNS
from scheduler.times.durations import read_times
from scheduler.units import feet_inches
from tests.surveys import PLAIN


@dataclass(frozen=True)
class Ran:
    exit_code: int
    stdout: str
    stderr: str


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Callable[..., Ran]:
    """Run a command as `eaveboard` does, with its handling of bad input."""
    app = typer.Typer(pretty_exceptions_enable=False)
    app.command("draw", cls=Command)(draw)
    app.command("calibrate", cls=Command)(calibrate)
    monkeypatch.setattr(cli, "app", app)

    def ran(*arguments: object) -> Ran:
        with pytest.raises(SystemExit) as ended:
            cli.main([str(argument) for argument in arguments])
        said = capsys.readouterr()
        return Ran(int(ended.value.code or 0), said.out, said.err)

    return ran


@pytest.fixture
def survey(tmp_path: Path) -> Path:
    path = tmp_path / "survey.json"
    path.write_text(json.dumps(PLAIN))
    return path


def without_spaces(text: str) -> str:
    return "".join(text.split())


def test_layout_drawing_and_pdf_are_written(run: Callable[..., Ran], survey: Path, tmp_path: Path) -> None:
    out, svg, pdf = tmp_path / "layout.json", tmp_path / "wall.svg", tmp_path / "wall.pdf"
    result = run("draw", survey, "--out", out, "--svg", svg, "--pdf", pdf)
    assert result.exit_code == 0
    layout = decode(out.read_bytes(), Layout, "layout file")
    assert "Bracket 1: 2' 8\" (813 mm) from the wall's zero" in result.stdout
    assert svg.read_text().startswith("<svg ")
    reader = PdfReader(pdf)
    assert len(reader.pages) == 2
    page = reader.pages[0]
    assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx((792, 612), abs=0.5)  # letter
    said = without_spaces(page.extract_text())
    for bracket in layout.brackets:
        assert without_spaces(feet_inches(bracket.wall)) in said
    assert without_spaces("The manufacturer's instructions and local codes go first.") in said
    assert reader.metadata is not None
    assert reader.metadata.title == "Wall drawing alder-4m"
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        "layout.json",
        "survey.json",
        "wall-2.svg",
        "wall.pdf",
        "wall.svg",
    ]


def test_metric_on_a4(run: Callable[..., Ran], survey: Path, tmp_path: Path) -> None:
    svg = tmp_path / "wall.svg"
    result = run(
        "draw", survey, "--out", tmp_path / "l.json", "--svg", svg, "--units", "metric", "--paper", "a4", "--json"
    )
    assert result.exit_code == 0
    told = json.loads(result.stdout)
    assert told["layout"]["survey"] == "alder-4m"
    assert told["files"] == [str(tmp_path / "l.json"), str(svg), str(tmp_path / "wall-2.svg")]
    assert any(line.startswith("Bracket 1: 813 mm (2' 8\")") for line in told["description"])
    assert 'width="297mm" height="210mm"' in svg.read_text()


def test_a_stop_ends_with_1_and_writes_the_files_all_the_same(
    run: Callable[..., Ran], survey: Path, tmp_path: Path
) -> None:
    survey.write_text(json.dumps({**PLAIN, "wall": {**PLAIN["wall"], "members": [1000, 2000]}}))
    out, pdf = tmp_path / "layout.json", tmp_path / "wall.pdf"
    result = run("draw", survey, "--out", out, "--pdf", pdf)
    assert result.exit_code == 1
    assert "Stop: " in result.stdout
    assert decode(out.read_bytes(), Layout, "layout file").brackets == ()
    assert len(PdfReader(pdf).pages) == 2


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("{", "is not valid JSON"),
        (json.dumps({**PLAIN, "wind_class": 9}), "survey.json: wind_class: must be at most 3, is 9."),
        (json.dumps({**PLAIN, "colour": "red"}), "survey.json: colour: is not a key of this document"),
    ],
)
def test_bad_input_ends_with_2_and_one_sentence(
    run: Callable[..., Ran], survey: Path, tmp_path: Path, text: str, sentence: str
) -> None:
    survey.write_text(text)
    result = run("draw", survey, "--out", tmp_path / "layout.json")
    assert result.exit_code == 2
    assert sentence in result.stderr
    assert len(result.stderr.strip().splitlines()) == 1
    assert not (tmp_path / "layout.json").exists()


def test_what_cannot_be_read_or_written_is_said(run: Callable[..., Ran], survey: Path, tmp_path: Path) -> None:
    missing = run("draw", tmp_path / "nowhere.json", "--out", tmp_path / "layout.json")
    assert missing.exit_code == 2
    assert "nowhere.json: cannot be read: there is no such file." in missing.stderr
    out = tmp_path / "layout.json"
    unwritable = run("draw", survey, "--out", out, "--svg", tmp_path / "no" / "wall.svg")
    assert unwritable.exit_code == 2
    assert "wall.svg: cannot be written: there is no folder" in unwritable.stderr
    assert not out.exists()  # all of the files or none
    same = run("draw", survey, "--out", out, "--svg", out)
    assert same.exit_code == 2
    assert "must name different files" in same.stderr


def history(rows: int) -> str:
    """Finished repairs that each took 60 minutes or a little more, in turn."""
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS)
    writer.writeheader()
    for k in range(rows):
        writer.writerow({
            "kind": "repair", "width_mm": 4000, "height_mm": 2900, "wall": "wood-studs", "brackets": 4, "holes": 16,
            "hood": "no", "motor": "no", "hands": 2, "material_lift": "no", "minutes": 60 + k % 7,
        })  # fmt: skip
    return out.getvalue()


def test_task_times_are_fitted_to_finished_jobs(run: Callable[..., Ran], tmp_path: Path) -> None:
    jobs, out = tmp_path / "history.csv", tmp_path / "times.csv"
    jobs.write_text(history(40))
    result = run("calibrate", jobs, "--out", out)
    assert result.exit_code == 0, result.stderr
    assert "repair: fitted to 40 finished jobs" in result.stdout
    fitted = read_times(out.read_text())
    assert any("40 finished jobs" in row.source for row in fitted.rows)
    again = json.loads(run("calibrate", jobs, "--times", out, "--json").stdout)
    assert {fit["kind"]: fit["fitted"] for fit in again["fits"]}["repair"] is True


def test_too_short_a_history_is_refused_in_one_sentence(run: Callable[..., Ran], tmp_path: Path) -> None:
    jobs = tmp_path / "history.csv"
    jobs.write_text(history(3))
    result = run("calibrate", jobs)
    assert result.exit_code == 2
    assert "needs at least 20 finished jobs of one kind" in result.stderr
    assert len(result.stderr.strip().splitlines()) == 1
