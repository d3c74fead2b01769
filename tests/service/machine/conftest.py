"""Fixtures of the tests that look after the machine: an empty database of either kind."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa

from tests.postgresql import fresh


@pytest.fixture(params=["sqlite", "postgresql"])
def address(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """The address of an empty database of either kind."""
    if request.param == "sqlite":
        yield f"sqlite:///{tmp_path / 'eaveboard.sqlite'}"
        return
    server = sa.make_url(request.getfixturevalue("postgresql_address"))
    yield fresh(server, "upgrading")
