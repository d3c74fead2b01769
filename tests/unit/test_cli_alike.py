"""What all commands have alike, for people, scripts and `man`."""

from __future__ import annotations

import io
import json
import os
import random
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import msgspec
import pytest
import yaml
from typer.main import get_command

from api.cli import app, main
from api.cli.saying.command import WRITTEN as WRITES
from api.cli.saying.manual import each_command, manual, parameters
from scheduler.documents import encode
from scheduler.times.calibrate import COLUMNS
from tests.plans import good_plan
from tests.weeks import small_week

ROOT = Path(__file__).parents[2]
COMMANDS = dict(each_command("eaveboard", get_command(app)))
Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(capfd: pytest.CaptureFixture[str]) -> Run:
    def run(*args: object) -> tuple[int, str, str]:
        capfd.readouterr()
        with pytest.raises(SystemExit) as ended:
            main([str(arg) for arg in args])
        sys.stdout.flush()
        return int(ended.value.code or 0), *capfd.readouterr()

    return run


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A week and a plan of it."""
    folder = tmp_path_factory.mktemp("alike")
    week = small_week(random.Random(3), jobs=4, crews=2, days=2)
    (folder / "week.json").write_bytes(encode(week))
    (folder / "plan.json").write_bytes(encode(good_plan(week)))
    return folder / "week.json", folder / "plan.json"


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_takes_json_and_quiet_and_names_what_it_writes_by_the_same_letter(name: str) -> None:
    options = {option: param for param in COMMANDS[name].params for option in param.opts}
    assert {"--json", "--quiet", "-q"} <= set(options)
    assert "--out" not in options or options["--out"] is options.get("-o")


# Each file that a command reads, as {}, in a way of calling it in which everything else is right.
PLACE = "--lat 40 --lon -75 --from file"
WINDOWS = f"weather windows {PLACE} --start 2027-04-12"
READ = {
    "plan week_file": "plan {} --out out.json",
    "audit week_file": "audit {} plan.json",
    "audit plan_file": "audit week.json {}",
    "show plan_file": "show {} --week week.json",
    "show week_file": "show plan.json --week {}",
    "worth week_file": "worth {}",
    "crews roster_file": "crews {} --week week.json --out out.json",
    "crews week_file": "crews roster.json --week {} --out out.json",
    "replan week_file": "replan {} --from plan.json --out out.json",
    "replan plan_file": "replan week.json --from {} --out out.json",
    "offer week_file": "offer {} --from plan.json --job none",
    "offer plan_file": "offer week.json --from {} --job none",
    "draw survey": "draw {} --out out.json",
    "calibrate history": "calibrate {}",
    "calibrate times": "calibrate history.csv --times {}",
    "import file": "import {} --table vans",
    "restore file": "restore {}",
    "roads table places": "roads table {} --out out.json",
    "roads table constants": "roads table places.csv --out out.json --constants {}",
    "roads table slowdowns": "roads table places.csv --out out.json --slowdowns {}",
    "roads fit places": "roads fit tiles --places {}",
    "roads fit constants": "roads fit tiles --constants {}",
    "weather fetch address": f"weather fetch {PLACE} --address {{}}",
    "weather windows address": f"{WINDOWS} --address {{}}",
    "weather windows limits": f"{WINDOWS} --address hours.csv --limits {{}}",
    "weather limits limits": "weather limits --limits {}",
}
NAMED = {"week.json", "plan.json", "roster.json", "history.csv", "places.csv", "hours.csv"}  # read as well, beside it
# Each file that a command writes, in the same way.
WRITTEN = {
    "plan out": "plan week.json --seconds 0 --out {}",
    "crews out": "crews roster.json --week week.json --out {}",
    "replan out": "replan week.json --from plan.json --seconds 0 --out {}",
    "replan week_out": "replan week.json --from plan.json --seconds 0 --out out.json --week-out {}",
    "draw out": "draw survey.json --out {}",
    "draw svg": "draw survey.json --out out.json --svg {}",
    "draw pdf": "draw survey.json --out out.json --pdf {}",
    "calibrate out": "calibrate history.csv --out {}",
    "export out": "export --out {}",
    "packet out": "packet J-1 --out {}",
    "daysheet out": "daysheet north-1 2027-04-12 --out {}",
    "backup out": "backup --out {}",
    "man-page out": "man-page --out {}",
    "roads table out": "roads table places.csv --out {}",
    "roads fit out": "roads fit tiles --out {}",
    "weather fetch out": f"weather fetch {PLACE} --address hours.csv --out {{}}",
}
# Each folder, road extract or tiles, which are never standard input or output, in the same way.
FOLDERS = {
    "demo out": "demo --out {}",
    "weather backtest out": "weather backtest --out {}",
    "roads get region": "roads get gridton --from {}",
    "roads build extract": "roads build {} --tiles tiles",
    "roads build tiles": "roads build region.osm.pbf --tiles {}",
    "roads table tiles": "roads table places.csv --out out.json --source tiles --tiles {}",
    "roads table cache": "roads table places.csv --out out.json --source osrm --address http://127.0.0.1:9 --cache {}",
    "roads fit roads": "roads fit {}",
    "weather fetch keep": f"weather fetch {PLACE} --address hours.csv --keep {{}}",
    "weather windows keep": f"{WINDOWS} --address hours.csv --keep {{}}",
}


def test_every_file_of_every_command_is_tried_below() -> None:
    named = {
        f"{name.removeprefix('eaveboard ')} {param.name}"
        for name, command in COMMANDS.items()
        for param in command.params
        if param.type_descriptor.annotation is Path
    }
    assert named == (READ.keys() | WRITTEN.keys() | FOLDERS.keys()) - {
        "weather fetch address",
        "weather windows address",
    }
    assert {name.split()[-1] for name in WRITTEN} == set(WRITES)


@pytest.fixture
def there(files: tuple[Path, Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder that holds what the command lines above name; what is not right in it is what a test makes wrong."""
    for file in files:
        (tmp_path / file.name).write_bytes(file.read_bytes())
    (tmp_path / "history.csv").write_text(",".join(COLUMNS) + "\n")
    (tmp_path / "hours.csv").write_bytes((ROOT / "seeds/demo/forecast.csv").read_bytes())
    nobody = {"format": "roster/1", "split_cents": 0, "shifts": [], "vans": [], "people": []}
    (tmp_path / "roster.json").write_text(json.dumps(nobody))
    (tmp_path / "data").mkdir()
    (tmp_path / "data/eaveboard.sqlite").touch(0o600)
    (tmp_path / "places.csv").write_text("id,lat,lon\nyard,40,-75\nmill,40.1,-75.1\n")
    monkeypatch.chdir(tmp_path)
    for name in [name for name in os.environ if name.startswith("EAVEBOARD_")]:
        monkeypatch.delenv(name)
    monkeypatch.setenv("EAVEBOARD_DATA", str(tmp_path / "data"))
    return tmp_path


@pytest.mark.parametrize("line", READ.values(), ids=READ)
def test_what_is_wrong_with_a_file_is_said_alike_of_standard_input(
    run: Run, there: Path, monkeypatch: pytest.MonkeyPatch, line: str
) -> None:
    """In one sentence on standard error, exit code 2, and nothing on standard output, whichever way was asked for."""
    bad = b'{"\xff'
    (there / "bad").write_bytes(bad)
    for option in ([], ["--json"], ["--quiet"]):
        by_name = run(*line.format("bad").split(), *option)
        monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(bad)))
        by_pipe = run(*line.format("-").split(), *option)
        assert by_pipe == (2, "", by_name[2].replace("bad", "-")), by_name
        assert by_name[2].startswith("bad"), by_name
        assert by_name[2].count("\n") == 1


@pytest.mark.parametrize("line", [line for line in READ.values() if set(line.split()) & NAMED])
def test_standard_input_stands_for_one_file_at_most(run: Run, there: Path, line: str) -> None:
    words = ["-" if word in NAMED else word for word in line.format("-").split()]
    assert run(*words) == (2, "", "-: can stand for one of the files only; name the others.\n")


@pytest.mark.parametrize("line", FOLDERS.values(), ids=FOLDERS)
def test_a_folder_is_never_standard_output(run: Run, there: Path, line: str) -> None:
    before = sorted(there.iterdir())
    for option in ([], ["--json"], ["--quiet"]):
        code, out, err = run(*line.format("-").split(), *option)
        assert (code, out, err) == (2, "", "-: is never a folder, a road extract or road tiles; name one.\n")
    assert sorted(there.iterdir()) == before


@pytest.mark.parametrize("line", WRITTEN.values(), ids=WRITTEN)
def test_the_outcome_as_json_and_a_file_do_not_both_go_to_standard_output(run: Run, there: Path, line: str) -> None:
    code, out, err = run(*line.format("-").split(), "--json")
    assert (code, out) == (2, "")
    assert err == "--json: and - would both go to standard output; give the file a name.\n"


@pytest.mark.parametrize("line", WRITTEN.values(), ids=WRITTEN)
def test_a_file_that_cannot_be_written_is_named_before_the_work(run: Run, there: Path, line: str) -> None:
    code, out, err = run(*line.format("nowhere/file").split())
    assert (code, out) == (2, "")
    assert err.startswith("nowhere/file: cannot be written: there is no folder")
    if sys.platform == "linux":  # a folder in which not even root can make a file
        code, out, err = run(*line.format("/proc/file").split())
        words = "/proc/file: cannot be written: no file can be made in /proc: No such file or directory.\n"
        assert (code, out, err) == (2, "", words)


def test_the_manual_page_names_every_command_and_option_and_is_the_one_that_is_installed() -> None:
    page = (ROOT / "docs" / "eaveboard.1").read_text()
    assert page == manual(get_command(app)), "write it anew: eaveboard man-page --out docs/eaveboard.1"
    said = page.replace("\\-", "-")
    for name, command in COMMANDS.items():
        section = said.partition(f".SS {name}\n")[2].partition("\n.SS ")[0]
        assert section, name
        for option, _ in parameters(name, command):
            assert f".B {option}\n" in section, (name, option)


def test_the_manual_page_is_written_by_a_command(run: Run, tmp_path: Path) -> None:
    page = (ROOT / "docs" / "eaveboard.1").read_text()
    assert run("man-page") == (0, page, "")
    assert run("man-page", "-o", tmp_path / "eaveboard.1") == (0, "", "")
    assert (tmp_path / "eaveboard.1").read_text() == page
    assert json.loads(run("man-page", "--json")[1])["text"] == page


def test_words_of_help_cannot_steer_the_manual_page() -> None:
    class Command:
        help, epilog, params = ".so /etc/hosts\\n", "", ()
        context_class = staticmethod(lambda command, info_name: None)

    page = manual(Command())
    assert "\n.so" not in page
    assert "\\&.so /etc/hosts\\en" in page


def as_yaml(path: Path, *names: str) -> Path:
    out = path.with_suffix(".yaml")
    out.write_text(yaml.safe_dump(json.loads(path.read_text()), sort_keys=False))
    return out


def test_a_week_reads_the_same_as_yaml_by_name_and_from_standard_input(run: Run, files: tuple[Path, Path]) -> None:
    week, plan = files
    asked = run("audit", week, plan, "--json")
    assert run("audit", as_yaml(week), as_yaml(plan), "--json") == asked
    script = [sys.executable, "-c", "from api.cli import main; main()", "audit", "-", str(plan), "--json"]
    piped = subprocess.run(script, input=as_yaml(week).read_bytes(), capture_output=True)
    assert (piped.returncode, piped.stdout.decode(), piped.stderr) == (0, asked[1], b"")


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda text: text + "\nid: again\n", 'the key "id" stands twice; keep one of them.'),
        (lambda text: text.replace("jobs:", "jobs: &all", 1) + "\nmore: *all\n", "uses an alias (*all)"),
        (lambda text: text + "\nnote: [\n", "is not readable YAML"),
        (lambda text: text + "\nnote: !!binary aGk=\n", "holds something that is no value of JSON"),
        (lambda text: text + "\nnote: 1\n", "note: is not a key of this document"),
    ],
)
def test_bad_yaml_is_one_sentence_that_says_where(
    run: Run, files: tuple[Path, Path], tmp_path: Path, change: Callable[[str], str], says: str
) -> None:
    bad = tmp_path / "bad.yml"
    bad.write_text(change(as_yaml(files[0]).read_text()))
    code, out, err = run("audit", bad, files[1])
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert err.startswith(f"{bad}: ")
    assert says in err


def test_quiet_says_nothing_of_what_went_well(run: Run, files: tuple[Path, Path], tmp_path: Path) -> None:
    week, plan = files
    assert run("audit", week, plan, "--quiet") == (0, "", "")
    broken = json.loads(plan.read_text())
    broken["routes"] = broken["routes"] * 2
    (tmp_path / "broken.json").write_text(json.dumps(broken))
    code, out, err = run("audit", week, tmp_path / "broken.json", "-q")
    assert (code, err) == (1, "")
    assert "The plan is broken in" in out
    assert run("show", plan, "-w", week, "-q") == run("show", plan, "-w", week)


def test_json_is_all_that_stands_on_standard_output(run: Run, tmp_path: Path) -> None:
    times = msgspec.json.decode(run("weather", "limits", "--json")[1])
    assert {"measure", "value", "reason", "source"} <= set(times["limits"][0])
    places = tmp_path / "places.csv"
    places.write_text("id,lat,lon\nyard,40,-75\nmill,40.1,-75.1\n")
    code, out, _ = run("roads", "table", places, "--out", tmp_path / "table.json", "--json")
    assert (code, json.loads(out)["places"]) == (0, 2)
    code, out, err = run("roads", "table", places, "--out", "-")
    assert (code, len(json.loads(out)["places"])) == (0, 2)
    assert err == "-: travel between 2 places.\n"
    assert "both go to standard output" in run("roads", "table", places, "--out", "-", "--json")[2]


@pytest.mark.parametrize(
    ("shell", "code", "says"),
    [
        ("> /dev/full", 2, "Standard output cannot be written: No space left on device.\n"),
        (">&-", 2, "-: cannot be written: standard output is closed.\n"),
        ("<&-", 2, "-: cannot be read: standard input is closed.\n"),
    ],
)
def test_streams_that_are_full_or_closed_are_one_sentence(
    files: tuple[Path, Path], shell: str, code: int, says: str
) -> None:
    """Compiled libraries write to the streams by their numbers: none of them may have become a file of ours."""
    words = "worth -" if shell == "<&-" else f"calibrate --out - {ROOT / 'seeds/demo/none.csv'}"
    if shell == "> /dev/full":
        words = f"audit {files[0]} {files[1]}"
    line = f'"{sys.executable}" -c "from api.cli import main; main()" {words} {shell}'
    own = {k: v for k, v in os.environ.items() if not k.startswith("EAVEBOARD_")}
    done: Any = subprocess.run(["bash", "-c", line], cwd=ROOT, env=own, capture_output=True, text=True)
    assert (done.returncode, done.stderr) == (code, says)
