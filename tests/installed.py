"""From an empty environment to a posted week with the wheel: `python -m tests.installed PYTHON` (ops/install-check).

Everything runs outside the source tree, as the user of a wheel has it: no node on the way, and nothing may be written
into the folder of the packages.
"""

from __future__ import annotations

import hashlib
import os
import re
import socket
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import httpx

ROOT = Path(__file__).parents[1]
MONDAY = "2027-04-12"
PASSWORD = "four gray herons wading"


def main(python: str, *extra_words: str) -> None:
    with tempfile.TemporaryDirectory(prefix="eave-installed-") as made:
        folder = Path(made)
        wheel = built_wheel(folder / "wheel")
        say(f"built {wheel.name}, {wheel.stat().st_size // 1024} kB")
        run([python, "-m", "venv", str(folder / "env")])
        program = folder / "env" / "bin" / "python"
        run([str(program), "-m", "pip", "install", "-q", "--disable-pip-version-check", str(wheel), *extra_words])
        say(f"installed it for {run([str(program), '--version']).strip()}")
        try_installed(folder, program)


def built_wheel(out: Path, *options: str, tree: Path = ROOT) -> Path:
    """Return a wheel made of `tree`, in `out`."""
    run([sys.executable, "-m", "pip", "wheel", "-q", "--no-deps", *options, "-w", str(out), str(tree)])
    [wheel] = out.glob("eaveboard-*.whl")
    return wheel


def try_installed(folder: Path, program: Path) -> None:
    """Use the installed program as a new business would, from `--version` to a posted week."""
    eaveboard = str(program.with_name("eaveboard"))
    own = {"PATH": "/usr/bin:/bin", "HOME": str(folder / "home"), "EAVEBOARD_DATA": str(folder / "data")}
    own |= {"EAVEBOARD_CLOCK": "forecast", "EAVEBOARD_PORT": str(free_port()), "PYTHONDONTWRITEBYTECODE": "1"}
    work = folder / "somewhere"
    work.mkdir()
    packages = next((folder / "env" / "lib").glob("python3*/site-packages"))
    before = contents(packages)
    say(run([eaveboard, "--version"], own, work).strip())
    for command in ("ready", "ready", "demo"):
        began = time.monotonic()
        run([eaveboard, command, *(["--out", own["EAVEBOARD_DATA"]] if command == "demo" else [])], own, work)
        say(f"eaveboard {command}: {time.monotonic() - began:.0f} s")
    with subprocess.Popen([eaveboard, "serve"], env=own, cwd=work, stderr=subprocess.PIPE, text=True) as service:
        try:
            post_a_week(service, f"http://127.0.0.1:{own['EAVEBOARD_PORT']}")
        finally:
            service.terminate()
    after = contents(packages)
    changed = {name for name in before.keys() | after.keys() if before.get(name) != after.get(name)}
    assert not changed, f"the program wrote into its own folder: {sorted(changed)[:5]}"
    say("nothing was written into the folder of the packages")


def post_a_week(service: subprocess.Popen[str], address: str) -> None:
    assert service.stderr is not None
    words = ""
    while not (found := re.search(r"one-time password (\S+)", words)):
        line = service.stderr.readline()
        assert line, f"the service did not start: {words}"
        words += line
    one_time = found[1]
    with httpx.Client(base_url=address, headers={"Accept": "application/json"}, timeout=60) as client:
        wait_for(client)
        csrf = told(client.get("/sign-in"))["csrf"]
        session = told(client.post("/sign-in", data={"name": "manager", "password": one_time, "csrf": csrf}))
        new = {"old": one_time, "new": PASSWORD, "again": PASSWORD, "csrf": session["csrf"]}
        told(client.post("/password", data=new))
        client.headers["X-CSRF-Token"] = told(client.get("/session"))["csrf"]
        page = client.get(f"/weeks/{MONDAY}", headers={"Accept": "text/html"}).text
        for name in re.findall(r"/static/[^\"' ]+", page):
            client.get(name).raise_for_status()
        begun = told(client.post(f"/weeks/{MONDAY}/runs", json={"seconds": 20}))
        while (run := told(client.get(f"/runs/{begun['id']}")))["state"] in ("waiting", "running"):
            time.sleep(0.5)
        assert (run["state"], bool(run["plan_id"])) == ("done", True), run
        say(f"planned the week: {run['cost_cents'] / 100:,.2f}, at least {run['bound_cents'] / 100:,.2f}")
        posted = told(client.post(f"/weeks/{MONDAY}/post", json={"plan_id": run["plan_id"]}))
        assert told(client.get(f"/weeks/{MONDAY}/posted"))["plan_id"] == run["plan_id"]
        say(f"posted it as number {posted['id']}")
        assert client.get("/begin/example.zip").content[:2] == b"PK"


def wait_for(client: httpx.Client) -> None:
    for _ in range(600):
        try:
            client.get("/sign-in")
            return
        except httpx.TransportError:
            time.sleep(0.1)
    raise AssertionError("the service did not answer")


def told(answer: httpx.Response) -> Any:
    assert answer.is_success or answer.status_code == 303, answer.text
    return answer.json() if answer.content else None


def contents(folder: Path) -> dict[str, str]:
    """Return what the files of our packages below `folder` hold, by their paths."""
    own = [path for name in ("api", "scheduler") for path in (folder / name).rglob("*") if path.is_file()]
    return {path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest() for path in own}


def run(command: list[str], own: dict[str, str] | None = None, work: Path | None = None) -> str:
    done = subprocess.run(command, env=own or os.environ, cwd=work, capture_output=True, text=True)
    assert done.returncode == 0, f"{' '.join(command)}: {done.stderr[-2000:]}"
    return done.stdout


def free_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


def say(words: str) -> None:
    print(f"install-check: {words}", flush=True)


if __name__ == "__main__":
    main(*(sys.argv[1:] or [sys.executable]))
