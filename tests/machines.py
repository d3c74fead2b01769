"""A Dask cluster on this machine, for tests: a scheduler and workers in processes of their own."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

from api.cluster import ClusterDoor
from tests.waiting import until

ROOT = Path(__file__).parents[1]


class Machines:
    """A scheduler, and workers of one thread each, in processes of their own."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.workers = folder, list[subprocess.Popen[bytes]]()
        where = folder / "scheduler.json"
        self.scheduler = self._run("scheduler", "--host", "127.0.0.1", "--port", "0", "--scheduler-file", str(where))
        until(where.exists)
        until(lambda: where.read_text().endswith("}"))
        self.address: str = json.loads(where.read_text())["address"]
        one = ("--nthreads", "1", "--no-nanny", "--local-directory", str(folder))
        self.workers = [self._run("worker", self.address, *one) for _ in range(2)]

    def _run(self, what: str, *words: str) -> subprocess.Popen[bytes]:
        command = [sys.executable, "-m", f"distributed.cli.dask_{what}", *words, "--no-dashboard"]
        return subprocess.Popen(command, cwd=ROOT, stderr=subprocess.DEVNULL)

    def wait(self) -> None:
        """Wait until both workers are there."""
        with ClusterDoor(self.address) as door:
            until(lambda: self._both(door))

    def _both(self, door: ClusterDoor) -> bool:
        door.begin()
        return door.far and door.at_once == len(self.workers)

    def kill(self, pid: int) -> None:
        os.kill(pid, signal.SIGKILL)
        next(one for one in self.workers if one.pid == pid).wait()

    def close(self) -> None:
        for one in (self.scheduler, *self.workers):
            one.kill()
            one.wait()
