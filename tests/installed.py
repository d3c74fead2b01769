"""From an empty environment to a posted week, by each way of installing: `python -m tests.installed PYTHON [WAY…]`.

The ways are the wheel, the wheel as the unit of systemd starts it, and the steps of the container file one by one
(ops/install-check).

Everything runs outside the source tree, as the user of a wheel has it: no node on the way, and nothing may be written
into the folder of the packages.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import shutil
import socket
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import httpx

ROOT = Path(__file__).parents[1]
DEPLOY = ROOT / "ops" / "deploy"
MONDAY = "2027-04-12"
CONTAINER_USER = 10001
PASSWORD = "four gray herons wading"


def main(python: str, *ways: str) -> None:
    """Go each of the ways with `python`; without any named, all that this machine allows."""
    for way in ways or WAYS:
        with tempfile.TemporaryDirectory(prefix="eave-installed-") as made:
            say(f"by {way}")
            WAYS[way](python, Path(made))


def by_wheel(python: str, folder: Path) -> None:
    """Install the wheel as anybody would, and use it from `--version` to a posted week."""
    program = installed(python, folder)
    own = {"PATH": "/usr/bin:/bin", "HOME": str(folder / "home"), "EAVEBOARD_DATA": str(folder / "data")}
    try_installed(folder, program, own | {"PYTHONDONTWRITEBYTECODE": "1"})


def by_unit(python: str, folder: Path) -> None:
    """Have systemd judge its unit, and use the program with the unit's commands and environment."""
    program = installed(python, folder)
    unit = (DEPLOY / "eaveboard.service").read_text().replace("/opt/eaveboard/bin", str(program.parent))
    verify = shutil.which("systemd-analyze")
    if verify is None:
        say("systemd-analyze is not here: the unit is not verified")
    else:
        (folder / "eaveboard.service").write_text(unit)
        run([verify, "verify", str(folder / "eaveboard.service")])
        say("systemd takes the unit")
    places = {"%S": folder / "state", "%C": folder / "cache"}
    words = " ".join(re.findall(r"^Environment=(.*)$", unit, re.MULTILINE))
    own = {"PATH": "/usr/bin:/bin"} | dict(pair.split("=", 1) for pair in mapped(words, places).split())
    first, serve = (
        re.findall(rf"^{name}=(.*)$", unit, re.MULTILINE)[0].split() for name in ("ExecStartPre", "ExecStart")
    )
    try_installed(folder, program, own, first=first, serve=serve)


def by_container(python: str, folder: Path) -> None:
    """Go through the container file line by line without a container, its folders standing in a folder of ours.

    What changes the machine (its packages, a new user) is left out and said. As root the program runs as the user
    of the container, who may write where the container lets it and nowhere else.
    """
    text = (DEPLOY / "Containerfile").read_text().replace("\\\n", " ")
    places = {name: folder / name.strip("/") for name in ("/opt/eaveboard", "/wheels", "/data", "/backups", "/cache")}
    folder.chmod(0o755)
    (folder / "opt").mkdir()
    for path in ("/data", "/backups", "/cache"):
        places[path].mkdir(mode=0o700)
        if os.geteuid() == 0:
            os.chown(places[path], CONTAINER_USER, CONTAINER_USER)
    tree = folder / "source"
    unwanted = shutil.ignore_patterns(".git", ".venv", "node_modules", "__pycache__", "*.egg-info", "build", "var")
    shutil.copytree(ROOT, tree, ignore=unwanted)
    places["/source"] = tree
    own: dict[str, str] = {"HOME": str(folder / "home")}
    (folder / "home").mkdir(mode=0o777)
    user = CONTAINER_USER if os.geteuid() == 0 else None
    whose = None
    for kind, words in re.findall(r"^(RUN|ENV|USER|CMD|COPY) (.*)$", text, re.MULTILINE):
        line = mapped(words, places)
        if kind == "ENV":
            own |= dict(pair.split("=", 1) for pair in line.replace("$PATH", os.environ["PATH"]).split())
        elif kind == "USER":
            whose = user if can_run(str(places["/opt/eaveboard"] / "bin" / "python"), user) else None
            if whose != user:
                say("left out: another user, who may not run this Python")
        elif kind == "RUN":
            for step in (one.strip() for one in line.split("&&")):
                if step.split()[0] in ("apt-get", "rm", "useradd", "install"):
                    say(f"left out: {step.split('  ')[0][:60]}")
                    continue
                step = re.sub(r"^python ", f"{python} ", step)
                run(["bash", "-c", step], os.environ | own, folder, user=whose)
                say(f"done: {step[:90]}")
    serve = json.loads(re.findall(r"^CMD (\[.*\])$", text, re.MULTILINE)[-1])
    program = places["/opt/eaveboard"] / "bin" / "python"
    serve[0] = str(program.with_name(serve[0]))
    port = free_port()
    own |= {"EAVEBOARD_ADDRESS": f"http://127.0.0.1:{port}", "EAVEBOARD_PORT": str(port)}
    try_installed(folder, program, own, first=[], serve=serve, user=whose)


def can_run(python: str, user: int | None) -> bool:
    """Say whether a user may run a Python that lies in somebody's own folder."""
    try:
        return subprocess.run([python, "-c", ""], **as_user(user)).returncode == 0
    except OSError:
        return False


def mapped(words: str, places: dict[str, Path]) -> str:
    """Return `words` with each folder of the container or the unit exchanged for the one that stands for it."""
    for name, path in places.items():
        words = re.sub(rf"(?<![\w/.]){re.escape(name)}(?![\w])", str(path), words)
    return words


def installed(python: str, folder: Path) -> Path:
    """Build the wheel, install it into a new environment in `folder`, and return its Python."""
    wheel = built_wheel(folder / "wheel")
    say(f"built {wheel.name}, {wheel.stat().st_size // 1024} kB")
    run([python, "-m", "venv", str(folder / "env")])
    program = folder / "env" / "bin" / "python"
    run([str(program), "-m", "pip", "install", "-q", "--disable-pip-version-check", str(wheel)])
    say(f"installed it for {run([str(program), '--version']).strip()}")
    return program


def built_wheel(out: Path, *options: str, tree: Path = ROOT) -> Path:
    """Return a wheel made of `tree`, in `out`."""
    run([sys.executable, "-m", "pip", "wheel", "-q", "--no-deps", *options, "-w", str(out), str(tree)])
    [wheel] = out.glob("eaveboard-*.whl")
    return wheel


def try_installed(
    folder: Path, program: Path, own: dict[str, str], *, first: list[str] | None = None,
    serve: list[str] | None = None, user: int | None = None,
) -> None:  # fmt: skip
    """Use the installed program as a new business would, from `--version` to a posted week.

    own: its environment. first: a command before it serves, None for `eaveboard ready`. serve: the command that serves.
    user: whose the processes are; None: one's own.
    """
    eaveboard = str(program.with_name("eaveboard"))
    own = {"EAVEBOARD_PORT": str(free_port())} | own | {"EAVEBOARD_CLOCK": "forecast"}
    work = folder / "somewhere"
    work.mkdir()
    packages = next((program.parents[1] / "lib").glob("python3*/site-packages"))
    before = contents(packages)
    say(run([eaveboard, "--version"], own, work, user=user).strip())
    page = program.parents[1] / "share" / "man" / "man1" / "eaveboard.1"
    assert page.is_file(), "the manual page is not where man looks for it"
    first = [eaveboard, "ready"] if first is None else first
    for command in (*([first, first] if first else []), [eaveboard, "demo", "--out", own["EAVEBOARD_DATA"]]):
        began = time.monotonic()
        run(command, own, work, user=user)
        say(f"eaveboard {command[1]}: {time.monotonic() - began:.0f} s")
    command = serve or [eaveboard, "serve"]
    with subprocess.Popen(command, env=own, cwd=work, stderr=subprocess.PIPE, text=True, **as_user(user)) as service:
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


def run(
    command: list[str], own: dict[str, str] | None = None, work: Path | None = None, user: int | None = None
) -> str:
    done = subprocess.run(command, env=own or os.environ, cwd=work, capture_output=True, text=True, **as_user(user))
    assert done.returncode == 0, f"{' '.join(command)}: {done.stderr[-2000:]}"
    return done.stdout


def as_user(user: int | None) -> dict[str, Any]:
    """Return what has a process run as `user`, in no other group than that; None: as oneself."""
    return {} if user is None else {"user": user, "group": user, "extra_groups": []}


def free_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


def say(words: str) -> None:
    print(f"install-check: {words}", flush=True)


WAYS = {"wheel": by_wheel, "unit": by_unit, "container": by_container}

if __name__ == "__main__":
    main(*(sys.argv[1:] or [sys.executable]))
