"""Settings are read loudly: what is misspelt or cannot be used is refused by name."""

from __future__ import annotations

from pathlib import Path

import pytest

from api.secret import read_secret
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


def test_a_misspelt_setting_is_refused_and_the_nearest_one_named() -> None:
    with pytest.raises(
        BadInput, match=r"^EAVEBOARD_SESION_HOURS: is no setting; the nearest one is EAVEBOARD_SESSION_HO"
    ):
        read_settings({"EAVEBOARD_SESION_HOURS": "3"})
    with pytest.raises(BadInput, match=r"^EAVEBOARD_SMPT_FILE: .*nearest one is EAVEBOARD_SMTP_FILE"):
        read_settings({"EAVEBOARD_SMPT_FILE": "/run/secrets/smtp"})


def test_a_secret_may_come_in_a_file_but_not_in_two_ways(tmp_path: Path) -> None:
    file = tmp_path / "secret"
    file.write_text("s" * 40 + "\n")
    assert read_settings({"EAVEBOARD_SECRET_FILE": str(file)}).secret == "s" * 40
    with pytest.raises(BadInput, match=r"^EAVEBOARD_SECRET_FILE: must not be set together with EAVEBOARD_SECRET"):
        read_settings({"EAVEBOARD_SECRET_FILE": str(file), "EAVEBOARD_SECRET": "t" * 40})
    with pytest.raises(BadInput, match=r"^EAVEBOARD_SECRET_FILE: .*cannot be read"):
        read_settings({"EAVEBOARD_SECRET_FILE": str(tmp_path / "none")})
    file.write_text("one\ntwo\n")
    with pytest.raises(BadInput, match=r"^EAVEBOARD_SECRET_FILE: .*must hold one line"):
        read_settings({"EAVEBOARD_SECRET_FILE": str(file)})
    file.write_text("70000")
    with pytest.raises(BadInput, match=r'^EAVEBOARD_PORT: must be a whole number from 1 to 65535, is "70000"'):
        read_settings({"EAVEBOARD_PORT_FILE": str(file)})


def test_other_machines_are_let_in_only_where_it_is_said_how_they_come() -> None:
    with pytest.raises(BadInput, match=r"^EAVEBOARD_HOST: lets other machines in .*EAVEBOARD_ADDRESS"):
        read_settings({"EAVEBOARD_HOST": "0.0.0.0"})
    assert read_settings({"EAVEBOARD_HOST": "0.0.0.0", "EAVEBOARD_ADDRESS": "https://board.example"}).host == "0.0.0.0"
