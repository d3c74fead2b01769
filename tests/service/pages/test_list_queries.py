"""Lists are read in a number of statements that does not grow with what they show."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
import sqlalchemy as sa

from api.access.accounts import Role
from tests.conftest import BuiltDemo
from tests.service.cast import JSON, PAGE, running, settings_for, signed_in


@pytest.mark.parametrize(("path", "accept"), [("/jobs", PAGE), ("/jobs", JSON), ("/customers", JSON), ("/sites", JSON)])
def test_a_longer_list_takes_no_more_statements(
    built: BuiltDemo, tmp_path: Path, path: str, accept: dict[str, str]
) -> None:
    folder = shutil.copytree(built.out, tmp_path / "demo")
    with running(settings_for(folder)) as app:
        client = signed_in(app, Role.office)
        told: list[str] = []
        sa.event.listen(app.state.database, "before_cursor_execute", lambda *told_of: told.append(told_of[2]))
        counts = []
        for limit in (3, 50):
            client.get(path, params={"limit": limit}, headers=accept)  # what is kept in memory is made by the first
            told.clear()
            assert client.get(path, params={"limit": limit}, headers=accept).status_code == 200
            counts.append(len(told))
        assert counts[1] <= counts[0] + 1, told  # an install among them: its kit is looked up
        assert counts[1] <= 12
