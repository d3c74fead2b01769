"""Settings are read loudly: what is misspelt or cannot be used is refused by name."""

from __future__ import annotations

from pathlib import Path

import pytest

from api.settings import read_secret, read_settings
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
        ("EAVEBOARD_ADDRESS", "board.example"),
        ("EAVEBOARD_ADDRESS", "http://board.example"),
        ("EAVEBOARD_ADDRESS", "https://board.example/part"),
        ("EAVEBOARD_SECRET", "short"),
        ("EAVEBOARD_SESSION_HOURS", "0"),
        ("EAVEBOARD_PLANNERS", "0"),
        ("EAVEBOARD_PLANNERS", "many"),
        ("EAVEBOARD_PASSWORD_COST", "none"),
    ],
)
def test_a_setting_that_cannot_be_is_refused_by_name(name: str, value: str) -> None:
    with pytest.raises(BadInput, match=f"^{name}: "):
        read_settings({name: value})


def test_quick_passwords_and_open_cookies_stay_on_this_machine() -> None:
    assert not read_settings({}).secure
    assert not read_settings({"EAVEBOARD_ADDRESS": "http://localhost:8410"}).secure
    assert read_settings({"EAVEBOARD_ADDRESS": "https://board.example"}).secure
    assert read_settings({"EAVEBOARD_PASSWORD_COST": "quick"}).quick_passwords
    with pytest.raises(BadInput, match=r"^EAVEBOARD_PASSWORD_COST: must be careful where others"):
        read_settings({"EAVEBOARD_PASSWORD_COST": "quick", "EAVEBOARD_ADDRESS": "https://board.example"})


def test_the_secret_is_made_once_for_its_owner_alone(tmp_path: Path) -> None:
    settings = read_settings({"EAVEBOARD_DATA": str(tmp_path)})
    first = read_secret(settings, lambda: "s" * 43)
    assert read_secret(settings, lambda: "t" * 43) == first == "s" * 43
    assert (tmp_path / "secret").stat().st_mode & 0o777 == 0o600
    (tmp_path / "secret").write_text("cut")
    with pytest.raises(BadInput, match="holds no secret"):
        read_secret(settings, lambda: "t" * 43)
    own = read_settings({"EAVEBOARD_SECRET": "x" * 32, "EAVEBOARD_DATA": str(tmp_path)})
    assert read_secret(own, lambda: "") == "x" * 32
