"""What the documents say of the product is what it does."""

from __future__ import annotations

import re
from pathlib import Path

from api.settings import SETTINGS

ROOT = Path(__file__).parents[2]


def test_every_setting_stands_in_the_manual_in_the_same_words() -> None:
    lines = (ROOT / "DEVELOPERS.md").read_text().splitlines()
    for name, (default, meaning) in SETTINGS.items():
        line = f"| `{name}` | {f'`{default}`' if default else ''} | {meaning} |"
        assert line in lines, name
    told = re.findall(r"EAVEBOARD_[A-Z_]+", "\n".join(lines))
    assert set(told) <= set(SETTINGS)


def test_every_file_that_the_readme_shows_is_there() -> None:
    for name in re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", (ROOT / "README.md").read_text()):
        assert (ROOT / name).exists(), name
