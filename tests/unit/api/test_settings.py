"""Settings are read loudly: what is misspelt or cannot be used is refused by name."""

from __future__ import annotations

from pathlib import Path

import pytest

from api.settings import read_settings
from scheduler.errors import BadInput


def test_defaults_keep_everything_in_one_folder() -> None:
    settings = read_settings({"HOME": "/somewhere"})
    assert settings.data == Path("var").absolute()
    assert settings.database == f"sqlite:///{settings.data}/eaveboard.sqlite"


def test_postgresql_is_one_setting_away(tmp_path: Path) -> None:
    address = "postgresql://eave:secret@db/eaveboard"
    settings = read_settings({"EAVEBOARD_DATABASE": address, "EAVEBOARD_DATA": str(tmp_path)})
    assert settings.database == "postgresql+psycopg://eave:secret@db/eaveboard"
    assert settings.data == tmp_path


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("EAVEBOARD_DATABSE", "sqlite:///x"),
        ("EAVEBOARD_DATABASE", "mysql://x/y"),
        ("EAVEBOARD_DATABASE", "a file"),
        ("EAVEBOARD_DATA", __file__),
        ("EAVEBOARD_PORT", "http"),
        ("EAVEBOARD_PORT", "70000"),
    ],
)
def test_a_setting_that_cannot_be_is_refused_by_name(name: str, value: str) -> None:
    with pytest.raises(BadInput, match=f"^{name}: "):
        read_settings({name: value})
