"""`eaveboard serve` as a process of its own: what it refuses before it touches anything, in one sentence."""

from __future__ import annotations

import os
import socket
import sqlite3
import stat
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path

import httpx
import pytest

from tests.waiting import PATIENCE_S, until

ROOT = Path(__file__).parents[3]
SERVE = [sys.executable, "-c", "from api.cli import main; main()", "serve"]


def environment(folder: Path, port: int, **more: str) -> dict[str, str]:
    own = {k: v for k, v in os.environ.items() if not k.startswith("EAVEBOARD_")}
    own |= {"EAVEBOARD_DATA": str(folder), "EAVEBOARD_PORT": str(port), "EAVEBOARD_PASSWORD_COST": "quick"}
    return own | {"EAVEBOARD_PREPARERS": "0"} | more


def free_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


@contextmanager
def served(folder: Path, **more: str) -> Iterator[str]:
    """Give the address of a service over `folder`, in a process of its own."""
    port = free_port()
    with subprocess.Popen(SERVE, env=environment(folder, port, **more), cwd=ROOT, stderr=subprocess.DEVNULL) as service:
        try:
            address = f"http://127.0.0.1:{port}"
            with httpx.Client(timeout=PATIENCE_S) as client:

                def answers() -> bool:
                    assert service.poll() is None, "the service did not start"
                    with suppress(httpx.TransportError):
                        client.get(f"{address}/sign-in")
                        return True
                    return False

                until(answers)
            yield address
        finally:
            service.terminate()


def refused(folder: Path, port: int, **more: str) -> str:
    """Return the one sentence with which a start is refused."""
    ran = subprocess.run(
        SERVE, env=environment(folder, port, **more), cwd=ROOT, capture_output=True, text=True, timeout=60
    )
    assert ran.returncode == 2, ran.stderr
    assert ran.stderr.count("\n") == 1, ran.stderr
    return ran.stderr


def contents(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}


@pytest.mark.slow
def test_a_second_service_on_the_same_data_is_refused_before_it_touches_anything(tmp_path: Path) -> None:
    with served(tmp_path):
        before = contents(tmp_path)
        assert "is served already by another eaveboard serve" in refused(tmp_path, free_port())
        assert contents(tmp_path) == before
    with served(tmp_path):  # what ended has let go
        pass


@pytest.mark.slow
def test_what_is_written_is_for_its_owner_alone(tmp_path: Path) -> None:
    with served(tmp_path / "data"):
        folder = tmp_path / "data"
        assert stat.S_IMODE(folder.stat().st_mode) == 0o700
        for path in folder.iterdir():
            assert stat.S_IMODE(path.stat().st_mode) & 0o077 == 0, path.name


def test_a_port_that_is_taken_is_named_and_nothing_is_made(tmp_path: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        assert f"EAVEBOARD_PORT: port {port} is taken" in refused(tmp_path / "new", port)
    assert not (tmp_path / "new").exists()


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"EAVEBOARD_DATA": "/dev/null/var"}, "EAVEBOARD_DATA: cannot be used"),
        ({"EAVEBOARD_DATA": "/proc/nowhere"}, "EAVEBOARD_DATA: cannot be used"),
        ({"EAVEBOARD_DATABASE": "sqlite:////dev/null/x.sqlite"}, "cannot be used"),
        ({"EAVEBOARD_DATABASE": "postgresql://nobody@127.0.0.1:1/none"}, "EAVEBOARD_DATABASE: cannot be"),
        ({"EAVEBOARD_CLOCK": "0001-01-01T00:00:00+14:00"}, "EAVEBOARD_CLOCK: must lie in the years"),
    ],
)
def test_what_cannot_be_used_is_refused_in_one_sentence(tmp_path: Path, more: dict[str, str], words: str) -> None:
    assert words in refused(tmp_path, free_port(), **more)


@pytest.mark.slow
@pytest.mark.parametrize(("proxies", "counted"), [("10.0.0.2", "127.0.0.1"), ("127.0.0.1", "192.0.2.9")])
def test_whom_a_caller_names_is_believed_of_the_proxies_that_are_set_alone(
    tmp_path: Path, proxies: str, counted: str
) -> None:
    """What stands before the proxy's own word was written by the caller, and counts for nothing."""
    headers = {"accept": "application/json", "x-forwarded-for": "198.51.100.3, 192.0.2.9"}
    with (
        served(tmp_path, EAVEBOARD_PROXIES=proxies) as address,
        httpx.Client(base_url=address, timeout=60, headers=headers) as client,
    ):
        form = {"name": "olive", "password": "wrong guess", "csrf": client.get("/sign-in").json()["csrf"]}
        assert client.post("/sign-in", data=form).status_code == 401
    with closing(sqlite3.connect(tmp_path / "eaveboard.sqlite")) as kept:
        rows = [row[0] for row in kept.execute("SELECT counted_for FROM sign_in_try")]
    assert [row for row in rows if row.startswith("address")] == [f"address {counted}"]
