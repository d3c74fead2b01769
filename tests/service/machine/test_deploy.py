"""What ops/deploy says agrees with the program: its settings exist, nothing runs as root, and no registry is named."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from pathlib import Path

import yaml

from api.settings import IN_FILE, SETTINGS

FOLDER = Path(__file__).parents[3] / "ops" / "deploy"
TEXT = {path.name: path.read_text() for path in FOLDER.iterdir()}


def test_every_setting_that_is_named_exists_and_no_registry_is() -> None:
    for name, text in TEXT.items():
        for setting in re.findall(r"\bEAVEBOARD_[A-Z_]+", text):
            assert setting.removesuffix(IN_FILE) in SETTINGS, f"{name}: {setting}"
        assert not re.search(
            r"docker\.io|ghcr\.|quay\.|pypi|https?://(?!board\.example|127\.0\.0\.1|…|172\.30|workers;)", text
        ), name


def test_the_container_is_built_in_one_stage_and_runs_in_another_as_a_user_that_may_do_little() -> None:
    stages = TEXT["Containerfile"].split("\nFROM ")
    assert len(stages) == 3
    run = stages[2]
    assert run.index("\nUSER eaveboard") < run.index("\nCMD ")
    assert "HEALTHCHECK" in run
    assert "nodejs" not in run
    compose = yaml.safe_load(TEXT["compose.yaml"])
    service, second = (compose["services"][name] for name in ("eaveboard", "eaveboard-2"))
    same = {name: value for name, value in second.items() if name != "networks"}
    assert same == {name: value for name, value in service.items() if name != "networks"}
    assert service["read_only"] is True
    assert service["cap_drop"] == ["ALL"]
    written = {volume.split(":")[1] for volume in service["volumes"]}
    assert written == set(re.findall(r"^VOLUME (.*)$", run, re.MULTILINE)[0].split())
    proxy = compose["services"]["proxy"]["networks"]["inside"]["ipv4_address"]
    assert service["environment"]["EAVEBOARD_PROXIES"] == proxy
    for worker in (service, second):
        assert f"server {worker['networks']['inside']['ipv4_address']}:8410" in TEXT["nginx.conf"]
    assert {name for one in compose["services"].values() for name in one.get("secrets", ())} == set(compose["secrets"])


def test_the_unit_is_one_that_systemd_takes(tmp_path: Path) -> None:
    unit = TEXT["eaveboard.service"]
    assert "DynamicUser=yes" in unit
    assert unit.index("eaveboard ready") < unit.index("eaveboard serve")
    if shutil.which("systemd-analyze"):
        mine = tmp_path / "eaveboard.service"
        mine.write_text(unit.replace("/opt/eaveboard/bin/eaveboard", sys.executable))
        said = subprocess.run(["systemd-analyze", "verify", str(mine)], capture_output=True, text=True)
        assert (said.returncode, said.stderr) == (0, "")
