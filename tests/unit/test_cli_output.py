"""Output that nobody can take (a full disk, a closed stream, a reader that has gone) is one sentence, or none."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
WEEK = "tests/data/weeks/installs-120x10.week.json"
SCRIPT = "from api.cli import main; main()"


def said(command: str, shell: str) -> tuple[int, str]:
    """Run a command with its output led by `shell`; return its exit code and what it said of errors."""
    line = f'"{sys.executable}" -c "{SCRIPT}" {command} {shell}'
    own = {k: v for k, v in os.environ.items() if not k.startswith("EAVEBOARD_")}
    done = subprocess.run(["bash", "-c", line], cwd=ROOT, env=own, capture_output=True, text=True)
    return done.returncode, done.stderr


@pytest.mark.parametrize("command", ["--help", "--version", f"crews {WEEK} --help"])
@pytest.mark.parametrize(
    ("shell", "code", "words"),
    [
        ("> /dev/full", 2, "Standard output cannot be written: No space left on device.\n"),
        (">&-", 0, ""),
        ("2>&1 >&- 2>&-", 0, ""),
        ('| true; exit "${PIPESTATUS[1]}"', 0, ""),
    ],
)
def test_output_that_cannot_be_written_is_no_traceback(command: str, shell: str, code: int, words: str) -> None:
    assert said(command, shell) == (code, words)


def test_data_for_standard_output_is_told_not_to_have_been_written(tmp_path: Path) -> None:
    (tmp_path / "survey.json").write_text((ROOT / "seeds/demo/README.md").read_text())
    code, words = said(f"draw {tmp_path / 'survey.json'} --out -", "> /dev/full")
    assert (code, words.count("\n"), "Traceback" in words) == (2, 1, False)
