"""The files of the interchange format, which lie beside the project in `../shared/contract` and are no part of it.

Where they are missing, the tests that ask for them skip with `ABSENT`. That is the one reason that `--no-skips`, as
`.ci/run` calls the suite, lets pass, and only while `../shared` itself is missing.
"""

from __future__ import annotations

import importlib.util
import re
from pathlib import Path
from types import ModuleType

import pytest

SHARED = Path(__file__).parents[2] / "shared"
FOLDER = SHARED / "contract"
ABSENT = "the interchange format's own files are not beside the project (../shared/contract)"


def here(path: str) -> Path:
    """Return a file of the format; skips where it is missing."""
    if not (FOLDER / path).exists():
        pytest.skip(f"{ABSENT}: {path}")
    return FOLDER / path


def weeks(form: str) -> list[Path]:
    """Return the format's example weeks in `form`, such as "week/1"; none where the files are missing."""
    files = sorted([*FOLDER.glob("weeks/*.week.json"), *FOLDER.glob("published/*.week.json")])
    return [file for file in files if form_of(file) == form]


def form_of(file: Path) -> str:
    """Return the form that a week file says to be in: its first key, so that no large file is read whole for it."""
    with file.open(encoding="utf-8") as opened:
        found = re.match(r'\s*{\s*"format":\s*"([^"]*)"', opened.read(100))
    assert found, f"{file}: does not begin with its format"
    return found[1]


def judge() -> ModuleType:
    """Return the format's own auditor, written apart from this project; skips where it is missing."""
    spec = importlib.util.spec_from_file_location("format_audit", here("audit.py"))
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module
