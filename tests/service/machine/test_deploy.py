"""What ops/deploy says agrees with the program: its settings exist, nothing runs as root, and no registry is named."""

from __future__ import annotations

import ipaddress
import re
import shutil
import subprocess
import sys
from pathlib import Path

import yaml

from api.settings import IN_FILE, SETTINGS

# What the Compose specification lets a file say, from memory: no schema of it is here to read.
SERVICE = {
    "build", "cap_add", "cap_drop", "command", "container_name", "depends_on", "deploy", "devices", "dns", "entrypoint",
    "env_file", "environment", "expose", "extra_hosts", "healthcheck", "hostname", "image", "init", "labels", "logging",
    "networks", "pid", "ports", "privileged", "profiles", "pull_policy", "read_only", "restart", "secrets",
    "security_opt", "stop_grace_period", "stop_signal", "sysctls", "tmpfs", "ulimits", "user", "volumes", "working_dir",
}  # fmt: skip
BUILD = {"args", "cache_from", "context", "dockerfile", "labels", "network", "platforms", "secrets", "ssh", "target"}
HEALTH = {"disable", "interval", "retries", "start_interval", "start_period", "test", "timeout"}
CONDITIONS = {"service_started", "service_healthy", "service_completed_successfully"}
RESTARTS = {"no", "always", "unless-stopped"}

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


def test_the_compose_file_says_what_compose_knows_and_names_only_what_it_declares() -> None:
    text = TEXT["compose.yaml"]
    compose = yaml.safe_load(text)
    assert compose.keys() <= {"configs", "name", "networks", "secrets", "services", "volumes"}
    services = compose["services"]
    inside = ipaddress.ip_network(compose["networks"]["inside"]["ipam"]["config"][0]["subnet"])
    taken = [str(next(inside.hosts()))]  # the gateway's
    for name, one in services.items():
        assert one.keys() <= SERVICE, name
        assert ("image" in one) != ("build" in one), name
        build = one.get("build", {})
        assert build.keys() <= BUILD
        assert (FOLDER / build.get("context", ".") / build.get("dockerfile", "../../ops/deploy/compose.yaml")).is_file()
        assert one.get("healthcheck", {}).keys() <= HEALTH
        assert one.get("healthcheck", {"test": ["CMD"]})["test"][0] in ("NONE", "CMD", "CMD-SHELL")
        assert one.get("restart", "no") in RESTARTS or one["restart"].startswith("on-failure")
        after = one.get("depends_on", {})
        for other in after:
            assert other in services
            assert isinstance(after, list) or after[other]["condition"] in CONDITIONS
            assert isinstance(after, list) or "healthcheck" in services[other], "healthy, as nothing says"
        assert set(one.get("secrets", ())) <= compose["secrets"].keys()
        assert set(one["networks"]) <= compose["networks"].keys()
        taken += (
            [at["ipv4_address"] for at in dict(one["networks"]).values()] if isinstance(one["networks"], dict) else []
        )
        for volume in one.get("volumes", ()):
            source, target = volume.split(":")[:2]
            assert source in compose["volumes"] or source.startswith("./"), volume
            assert target.startswith("/")
        for port in one.get("ports", ()):
            assert all(0 < int(number) < 65536 for number in port.split(":")), port
    assert len(set(taken)) == len(taken)
    assert all(ipaddress.ip_address(one) in inside for one in taken)
    marked = text.count("$")
    assert len(re.findall(r"\$\{[A-Z_]+(?::?[-?][^}]*)?\}", text)) == marked


def test_the_unit_is_one_that_systemd_takes(tmp_path: Path) -> None:
    unit = TEXT["eaveboard.service"]
    assert "DynamicUser=yes" in unit
    assert unit.index("eaveboard ready") < unit.index("eaveboard serve")
    if shutil.which("systemd-analyze"):
        mine = tmp_path / "eaveboard.service"
        mine.write_text(unit.replace("/opt/eaveboard/bin/eaveboard", sys.executable))
        said = subprocess.run(["systemd-analyze", "verify", str(mine)], capture_output=True, text=True)
        assert (said.returncode, said.stderr) == (0, "")
        judge = ["systemd-analyze", "security", "--offline=true", "--no-pager", "--threshold=14", str(mine)]
        exposed = subprocess.run(judge, capture_output=True, text=True)
        assert exposed.returncode == 0, exposed.stdout + exposed.stderr
        assert "Overall exposure level for eaveboard.service: 1.4 " in exposed.stdout
