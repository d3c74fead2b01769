"""Files that commands write: whole or not at all, with the rights that were there."""

from __future__ import annotations

import os
import stat
from pathlib import Path

import pytest

from api.cli.files import write_document
from scheduler.errors import BadInput


def test_a_file_is_replaced_whole_and_keeps_its_rights(tmp_path: Path) -> None:
    path = tmp_path / "plan.json"
    path.write_text("old")
    path.chmod(0o640)
    write_document(path, b"new")
    assert path.read_bytes() == b"new"
    assert stat.S_IMODE(path.stat().st_mode) == 0o640
    assert [p.name for p in tmp_path.iterdir()] == ["plan.json"]


def test_a_failed_write_leaves_the_old_file_and_no_rest(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "plan.json"
    path.write_text("old")

    def full(handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(BadInput, match="cannot be written: no space left on device"):
        write_document(path, b"new")
    assert path.read_text() == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["plan.json"]


def test_a_link_is_followed_and_a_device_is_never_replaced(tmp_path: Path) -> None:
    (tmp_path / "real.json").write_text("old")
    (tmp_path / "link.json").symlink_to("real.json")
    write_document(tmp_path / "link.json", b"new")
    assert (tmp_path / "link.json").is_symlink()
    assert (tmp_path / "real.json").read_bytes() == b"new"
    write_document(Path("/dev/null"), b"gone")
    assert not Path("/dev/null").is_file()
