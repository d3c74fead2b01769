"""Every check against an authority says what it rests on, and every threat names a test that there is."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
TITLE = "\n## What each check rests on\n"


def rows(text: str) -> list[list[str]]:
    """Return the cells of the table in `text`, the line under its head left out."""
    lines = [line for line in text.splitlines() if line.startswith("|") and "| --- |" not in line]
    return [[cell.strip() for cell in line.split("|")[1:-1]] for line in lines]


RESTS = r"standard|published|worked example|library|common practice|from memory|arithmetic|elementary|printed"


@pytest.mark.parametrize("folder", sorted(p.parent.name for p in (ROOT / "tests" / "reference").glob("*/source.md")))
def test_every_check_against_an_authority_says_what_it_rests_on(folder: str) -> None:
    here = ROOT / "tests" / "reference" / folder
    checks = {
        name for path in here.glob("test_*.py") for name in re.findall(r"(?m)^def (test_\w+)", path.read_text("utf-8"))
    }
    if not checks:  # a schema that a test elsewhere reads
        return
    told = {row[0].strip("`"): row[1] for row in rows((here / "source.md").read_text("utf-8").partition(TITLE)[2])[1:]}
    assert told.keys() == checks
    assert [name for name, words in told.items() if not re.search(RESTS, words)] == []


def test_every_threat_names_tests_that_there_are() -> None:
    table = rows((ROOT / "docs" / "threats.md").read_text("utf-8"))[1:]
    assert len(table) > 20
    for threat, _, tests in table:
        folder, named = "", re.findall(r"`([^`]+)`", tests)
        assert named, threat
        for path in named:
            folder = path.rpartition("/")[0] or folder
            full = path if "/" in path else f"{folder}/{path}"
            assert (ROOT / "tests" / full).is_file(), f"{threat}: no tests/{full}"
