"""The container file, built and used in a real container: `python -m tests.contained` (ops/container-check).

Podman builds it (Debian's package; with runc where crun cannot run) on an image that is made of Debian's packages by
debootstrap, unless `--base` names one: no registry is asked. Then the container runs as ops/deploy/compose.yaml has it
run: nothing of its own may be written, no capabilities, no new privileges, its folders in volumes, its port published.
It plans the demo, serves it, gets well by its own health check, posts a week, ends when told to, and has the week
still when it is started again. Images and volumes are removed at the end; `--keep` leaves the images for the next time.
"""

from __future__ import annotations

import argparse
import itertools
import json
import re
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import httpx
import yaml

from tests.installed import CONTAINER_USER, DEPLOY, MONDAY, ROOT, free_port, post_a_week
from tests.waiting import until

BASE, IMAGE = "localhost/eaveboard-base", "localhost/eaveboard-checked"
VOLUMES = {
    "/data": "eaveboard-checked-data",
    "/backups": "eaveboard-checked-backups",
    "/cache": "eaveboard-checked-cache",
}
NAME = "eaveboard-checked"
PACKAGES = "python3.11,python3.11-venv,python3-pip,ca-certificates"
TRUSTED = Path("/etc/ssl/certs/ca-certificates.crt")
STOP_S = 10  # what podman and docker grant before they kill


class Podman:
    """Podman with the options that this machine needs, found by trying."""

    def __init__(self) -> None:
        self.program: list[str] = ["podman"]
        self.options: list[str] = []

    def settle(self, image: str) -> None:
        """Find how a container runs here: another runtime, or limits no higher than one may set."""
        files, processes = (
            min(1024, resource.getrlimit(what)[1]) for what in (resource.RLIMIT_NOFILE, resource.RLIMIT_NPROC)
        )
        lower = ["--ulimit", f"nofile={files}:{files}", "--ulimit", f"nproc={processes}:{processes}"]
        said = ""
        for runtime, options in itertools.product([None, *filter(shutil.which, ("crun", "runc"))], ([], lower)):
            self.program = ["podman", *(["--runtime", runtime] if runtime else [])]
            self.options = options
            tried = self.call("run", "--rm", *options, image, "true", check=False)
            if tried.returncode == 0:
                say(f"containers run by: {' '.join(self.program + options)}")
                return
            said += tried.stderr
        sys.exit(f"No container runs here:\n{said}")

    def call(self, *words: str, check: bool = True) -> subprocess.CompletedProcess[str]:
        done = subprocess.run([*self.program, *words], cwd=ROOT, capture_output=True, text=True)
        if check and done.returncode:
            sys.exit(f"podman {' '.join(words)}:\n{done.stdout[-2000:]}{done.stderr[-3000:]}")
        return done


def make_base(podman: Podman) -> None:
    """Make an image of Debian with Python of Debian's own packages, its `python` being that Python."""
    if podman.call("image", "exists", BASE, check=False).returncode == 0:
        return
    with tempfile.TemporaryDirectory(prefix="eave-base-") as made:
        root = Path(made) / "root"
        done = subprocess.run(
            ["debootstrap", "--variant=minbase", f"--include={PACKAGES}", "bookworm", str(root)],
            capture_output=True, text=True,
        )  # fmt: skip
        if done.returncode:
            sys.exit(f"debootstrap: {done.stdout[-2000:]}")
        (root / "usr/local/bin/python").symlink_to("/usr/bin/python3.11")
        for file in (root / "var/cache/apt/archives").glob("*.deb"):
            file.unlink()
        subprocess.run(["tar", "-C", str(root), "-cf", f"{made}/base.tar", "."], check=True)
        podman.call("import", f"{made}/base.tar", BASE)
    say("made an image of Debian and its Python")


def build(podman: Podman, base: str) -> None:
    """Build the image by the container file; the certificates that this machine trusts, the build trusts, too."""
    with tempfile.TemporaryDirectory(prefix="eave-pip-") as made:
        known = Path(made) / "pip.conf"
        known.write_text(f"[global]\ncert = {TRUSTED}\n")
        trusted = ["--volume", f"{TRUSTED}:{TRUSTED}:ro", "--volume", f"{known}:/etc/pip.conf:ro"]
        podman.call(
            "build", *podman.options, "--network", "host", "--format", "docker", *(trusted if TRUSTED.exists() else []),
            "--build-arg", f"BASE={base}", "--file", str(DEPLOY / "Containerfile"), "--tag", IMAGE, ".",
        )  # fmt: skip
    size = json.loads(podman.call("image", "inspect", IMAGE).stdout)[0]["Size"]
    say(f"built the container file: {size / 1e9:.2f} GB")


def as_composed(podman: Podman) -> list[str]:
    """Return how compose.yaml has a worker run, in podman's words; nothing that podman adds may be written either."""
    worker = yaml.safe_load((DEPLOY / "compose.yaml").read_text())["services"]["eaveboard"]
    assert worker["read_only"] is True
    words = [*podman.options, "--read-only", "--read-only-tmpfs=false"]
    words += [f"--cap-drop={one}" for one in worker["cap_drop"]]
    words += [f"--security-opt={one.removesuffix(':true')}" for one in worker["security_opt"]]
    words += [f"--tmpfs={one}" for one in worker["tmpfs"]]
    return words + [f"--volume={VOLUMES[one.split(':')[1]]}:{one.split(':')[1]}" for one in worker["volumes"]]


@contextmanager
def serving(podman: Podman, port: int) -> Iterator[subprocess.Popen[str]]:
    """Serve in a container, published at `port` of this machine; it must end in time when told to, and well."""
    words = ["run", "--rm", "--name", NAME, *as_composed(podman), "--publish", f"127.0.0.1:{port}:8410"]
    words += ["--env", f"EAVEBOARD_ADDRESS=http://127.0.0.1:{port}", "--env", "EAVEBOARD_CLOCK=forecast", IMAGE]
    with subprocess.Popen([*podman.program, *words], stderr=subprocess.PIPE, text=True) as service:
        try:
            yield service
            began = time.monotonic()
            podman.call("stop", "--time", str(STOP_S), NAME)
            assert service.wait(60) in (0, 143), f"it ended by {service.returncode}"
            assert time.monotonic() - began < STOP_S, "it had to be killed"
            say(f"ended when told to, by {service.returncode}")
        finally:
            podman.call("rm", "--force", "--ignore", "--time", "1", NAME, check=False)


def may_do_little(podman: Podman) -> None:
    """Look in the running container: whose it is, what it may, and where it can write."""
    who = podman.call("exec", NAME, "id", "-u").stdout.strip()
    assert who == str(CONTAINER_USER), who
    status = podman.call("exec", NAME, "cat", "/proc/1/status").stdout
    may = dict(re.findall(r"^(CapEff|CapBnd|NoNewPrivs):\s*(\w+)$", status, re.MULTILINE))
    assert (int(may["CapEff"], 16), int(may["CapBnd"], 16), may["NoNewPrivs"]) == (0, 0, "1"), may
    places = ("/", "/opt/eaveboard", "/home/eaveboard", "/var/tmp", "/run", *VOLUMES, "/tmp")
    can = [one for one in places if not podman.call("exec", NAME, "touch", f"{one}/x-checked", check=False).returncode]
    assert can == [*VOLUMES, "/tmp"], can
    say(f"runs as {who} without a capability, and can write into {', '.join(can)} alone")


def gets_well(podman: Podman, address: str) -> None:
    """Have the image's own health check look until it is well, and see that it tells of one that is not."""
    until(lambda: podman.call("healthcheck", "run", NAME, check=False).returncode == 0)
    state = json.loads(podman.call("inspect", NAME).stdout)[0]["State"]
    health: dict[str, Any] = state.get("Health") or state["Healthcheck"]
    assert health["Status"] == "healthy", health
    assert httpx.get(f"{address}/health").json()["status"] == "up"
    podman.call("pause", NAME)
    try:
        assert podman.call("healthcheck", "run", NAME, check=False).returncode != 0
    finally:
        podman.call("unpause", NAME)
    say("its own health check turned healthy")


def check(podman: Podman) -> None:
    """Go from an empty volume to a posted week, and through a restart."""
    began = time.monotonic()
    podman.call("run", "--rm", *as_composed(podman), IMAGE, "eaveboard", "demo", "--out", "/data")
    say(f"eaveboard demo: {time.monotonic() - began:.0f} s")
    port = free_port()
    address = f"http://127.0.0.1:{port}"
    with serving(podman, port) as service:
        post_a_week(service, address)
        gets_well(podman, address)
        may_do_little(podman)
    with serving(podman, port):
        gets_well(podman, address)
        kept = podman.call(
            "exec", NAME, "python", "-c",
            "import sqlite3; print(sqlite3.connect('/data/eaveboard.sqlite').execute"
            "('SELECT start_date FROM posted_week').fetchall())",
        ).stdout  # fmt: skip
        assert MONDAY in kept, kept
        say("started again, it has the posted week")


def say(words: str) -> None:
    print(f"container-check: {words}", flush=True)


def main(words: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--base", help="an image with Python 3.11 on Debian (default: one made by debootstrap)")
    parser.add_argument("--keep", action="store_true", help="leave the images for the next time")
    given = parser.parse_args(words)
    if lacking := [name for name in ("podman", "iptables", "debootstrap") if shutil.which(name) is None]:
        sys.exit(f"Not here: {', '.join(lacking)} (apt-get install podman runc netavark iptables debootstrap)")
    podman = Podman()
    try:
        if given.base is None:
            make_base(podman)
        podman.settle(given.base or BASE)
        build(podman, given.base or BASE)
        check(podman)
    finally:
        podman.call("volume", "rm", "--force", *VOLUMES.values(), check=False)
        if not given.keep:
            podman.call("image", "rm", "--force", IMAGE, *([] if given.base else [BASE]), check=False)
            podman.call("image", "prune", "--force", check=False)
    say("all is well")


if __name__ == "__main__":
    main()
