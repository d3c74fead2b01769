"""Which wrong versions of the code the tests let pass: mutants of the files named, tried one by one (see ops/mutants).

    python -m tests.mutants scheduler/price.py             one file; a folder, or nothing for all three, goes as well
    python -m tests.mutants scheduler/layout --tenth       every tenth mutant, for a first look
    python -m tests.mutants scheduler/price.py --sample 90 ninety of each file by lot, spread over its functions
    python -m tests.mutants scheduler/price.py --again     only those that lived last time, after tests were added
    python -m tests.mutants scheduler/price.py --rest      only those not tried yet, after a piece that was cut short;
                                                           of a sample with the same `--sample` as before

    python -m tests.mutants scheduler/layout/statics/beam.py --tests tests/unit/layout/test_loads.py --minutes 5

mutmut changes one operator, value or argument of a function at a time and runs the tests that go through it: those in
pyproject.toml, or the few named by `--tests`, with which a mutant that lives costs little. It changes nothing outside
of functions, and no property. The lot of a sample is the same every time; once tests have been added for what lived in
it, another one (`--draw 2`) says how the whole file does. `tests/mutants.md` tells of the mutants that may live. Ends
with status 1 where less than 90 % of a file or folder that was named are killed.
"""

from __future__ import annotations

import argparse
import json
import random
import shutil
import signal
import subprocess
import sys
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

from mutmut.mutation.diff_apply import get_diff_for_mutant
from mutmut.mutation.file_mutation import mutate_file_contents
from mutmut.stats import status_by_exit_code
from mutmut.utils.format_utils import get_mutant_name

HERE = Path("mutants")  # where mutmut keeps its copy of the project
ALL = ("scheduler/audit.py", "scheduler/price.py", "scheduler/layout")
LEAST_PERCENT = 90
KILLED = ("killed", "timeout", "segfault")
LIVED = ("survived", "no tests", "suspicious", "skipped")
UNTRIED = ("not checked", "check was interrupted by user")
# mutmut as its own command starts it, but with these files alone, and other tests than those in pyproject.toml.
START = """
import sys
from mutmut.__main__ import cli
from mutmut.configuration import config

config().only_mutate = sys.argv.pop(1).split()
config().pytest_add_cli_args_test_selection = sys.argv.pop(1).split() or config().pytest_add_cli_args_test_selection
cli()
"""


def pattern(path: str, tenth: bool) -> str:
    """Return the mutants' names as mutmut asks for them; those whose number ends in 7 are a tenth."""
    return path.rstrip("/").removesuffix(".py").replace("/", ".") + (".*__mutmut_*7" if tenth else ".*")


def sample(names: Sequence[str], most: int, seed: str) -> list[str]:
    """Return `most` of the names by lot, or all if there are fewer: each has the same chance.

    `names` as they stand in the file, a function's together. Of every function as many come as its part of the names
    says, to within one, so that no lot falls on a few functions alone. The same seed gives the same lot.
    """
    if len(names) <= most:
        return [*names]
    lot = random.Random(seed)
    place = {name.partition("__mutmut_")[0]: n for n, name in enumerate(names)}
    mixed = sorted(names, key=lambda name: (place[name.partition("__mutmut_")[0]], lot.random()))
    step, first = len(mixed) / most, lot.random()
    return [mixed[int((n + first) * step)] for n in range(most)]


def sampled(source: Path, most: int, draw: int) -> list[str]:
    """Return the names of so many mutants of one file, as mutmut makes them."""
    made = mutate_file_contents(str(source), source.read_text(), None, None).mutant_names
    return sample([get_mutant_name(source, name) for name in made], most, f"{source} {draw}")


def sources(path: str) -> list[Path]:
    """Return the source files at a path: itself, or those below it."""
    return sorted(Path(path).rglob("*.py")) or [Path(path)]


def found(path: str) -> Iterator[tuple[str, dict[str, str]]]:
    """Yield each source file at `path` that has mutants, with the status of each by its name."""
    for source in sources(path):
        meta = HERE / f"{source}.meta"
        codes = json.loads(meta.read_text())["exit_code_by_key"] if meta.exists() else {}
        if codes:
            yield str(source), {name: status_by_exit_code[code] for name, code in codes.items()}


def tell(name: str, statuses: Iterable[str]) -> float:
    """Print the line of one file or folder and return the percentage killed; 0 where nothing was tried."""
    count = Counter("untried" if s in UNTRIED else "killed" if s in KILLED else "lived" for s in statuses)
    tried = count["killed"] + count["lived"]
    percent = 100 * count["killed"] / tried if tried else 0.0
    print(f"{name:44} {tried:7} {count['killed']:7} {count['lived']:9} {percent:8.1f} {count['untried']:8}")
    return percent


def run_mutmut(files: list[Path], names: list[str], tests: list[str], minutes: float | None) -> None:
    """Try the mutants `names` of these files by `tests` (none: those in pyproject.toml), so many minutes."""
    HERE.mkdir(exist_ok=True)
    shutil.rmtree(HERE / "tests", ignore_errors=True)  # where tests that are gone would stay
    # Which test goes through what is found out anew: mutmut would forget every file's results at other tests than last.
    (HERE / "mutmut-stats.json").unlink(missing_ok=True)
    for file in files:
        # Another file's turn may have left a plain copy; what is known of each mutant stays in its .meta.
        (HERE / file).unlink(missing_ok=True)
    start = [sys.executable, "-c", START, " ".join(map(str, files)), " ".join(tests)]
    with (HERE / "log").open("w") as log:
        running = subprocess.Popen([*start, "run", "--max-children", "1", *names], stdout=log, stderr=subprocess.STDOUT)
        try:
            failed = running.wait(minutes and 60 * minutes)
        except subprocess.TimeoutExpired:
            running.send_signal(signal.SIGINT)  # it keeps what it has tried
            failed = running.wait()
    if failed:
        sys.exit(f"mutmut did not come to an end: see {HERE / 'log'}")


def main(
    paths: list[str],
    tenth: bool,
    only: tuple[str, ...],
    tests: list[str],
    minutes: float | None,
    most: int | None = None,
    draw: int = 1,
) -> int:
    """Try the mutants, print the table and each survivor as the lines that it changes; return the exit status.

    `only`: try those alone that ended with one of these statuses last time; empty: all. `most`: so many of each file,
    by lot number `draw`; None: all.
    """
    files = [source for path in paths for source in sources(path)]
    names = [pattern(path, tenth) for path in paths]
    if most is not None:
        names = [name for file in files for name in sampled(file, most, draw)]
    if only:
        known = {name: status for path in paths for _, of in found(path) for name, status in of.items()}
        drawn = known if most is None else names
        names = [name for name in drawn if known.get(name) in only]
    else:
        for file in files:
            (HERE / f"{file}.meta").unlink(missing_ok=True)  # what was found last time counts no longer
    if names:
        run_mutmut(files, names, tests, minutes)
    print(f"{'':44} {'mutants':>7} {'killed':>7} {'survived':>9} {'percent':>8} {'untried':>8}")
    enough, alive = True, list[tuple[str, str]]()
    for path in paths:
        tried = list(found(path))
        for where, of in tried:
            tell(where, of.values())
            alive += [(where, name) for name, status in of.items() if status not in KILLED + UNTRIED]
        enough &= tell(f"{path}: all", (s for _, of in tried for s in of.values())) >= LEAST_PERCENT
    for where, name in alive:
        diff = get_diff_for_mutant(name, path=where).splitlines()
        print(f"\n{name}", *(line for line in diff if line[:1] in "+-" and line[:3] not in ("---", "+++")), sep="\n")
    return 0 if enough else 1


if __name__ == "__main__":
    told = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    told.add_argument("paths", nargs="*", default=[*ALL], help="files or folders; nothing: all three")
    told.add_argument("--tenth", action="store_true", help="every tenth mutant only")
    told.add_argument("--sample", type=int, metavar="N", help="so many of each file by lot")
    told.add_argument("--draw", type=int, default=1, help="another lot")
    told.add_argument("--again", action="store_true", help="only those that lived last time")
    told.add_argument("--rest", action="store_true", help="only those not tried yet")
    told.add_argument("--tests", nargs="+", default=[], help="files of tests instead of those in pyproject.toml")
    told.add_argument("--minutes", type=float, help="stop after so many; --rest goes on from there")
    asked = told.parse_args()
    for named in asked.paths:
        if not named.startswith(ALL) or not Path(named).exists():
            told.error(f"{named} is none of the files that are tried: name {', '.join(ALL)} or a file below")
    only = (*(LIVED if asked.again else ()), *(UNTRIED if asked.rest else ()))
    sys.exit(main(asked.paths, asked.tenth, only, asked.tests, asked.minutes, asked.sample, asked.draw))
