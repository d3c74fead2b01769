"""Several workers at one port: each a process of its own, started anew when it ends, all ended when this one is."""

from __future__ import annotations

import logging
import multiprocessing
import signal
import socket
import sys
import threading
import time
from collections.abc import Callable
from multiprocessing import connection
from typing import TYPE_CHECKING, Any

from api.cli.ready import compile_once
from api.cli.serving.serve import say_where, serve_one
from scheduler.errors import BadInput

if TYPE_CHECKING:
    from api.settings import Settings

LOOK_S = 1.0  # between two looks whether this is to end
AGAIN_S = 2.0  # from one start of a worker to the next at least, where it ends again and again
END_S = 20.0  # for a worker to end in order; then it is killed
_log = logging.getLogger("eaveboard")


def serve_several(settings: Settings, listening: socket.socket, number: int) -> bool:
    """Serve by `number` workers until told to end; return whether they could start.

    Raises `BadInput` where the data cannot be used.
    """
    from api.opened import open_data

    open_data(settings).close()  # brings the database up to date, and says at once what is wrong
    compile_once()
    end = threading.Event()
    for one in (signal.SIGTERM, signal.SIGINT):
        signal.signal(one, lambda *_: end.set())
    workers = [_begun(settings, listening) for _ in range(number)]
    say_where(settings, number)
    started_at = [time.monotonic()] * number
    while not end.is_set():
        connection.wait([worker.sentinel for worker in workers], LOOK_S)
        for n, worker in enumerate(workers):
            if worker.is_alive() or end.is_set():
                continue
            _log.error("a worker ended by itself (%s) and is started anew", worker.exitcode)
            end.wait(max(0.0, started_at[n] + AGAIN_S - time.monotonic()))
            if not end.is_set():
                workers[n], started_at[n] = _begun(settings, listening), time.monotonic()
    _end(workers)
    return True


def _begun(settings: Settings, listening: socket.socket) -> Any:
    worker: Any = _context().Process(target=work, args=(settings, listening), name="worker")
    worker.start()
    return worker


def _context() -> Any:
    """Return how workers are begun: where there are forks, from a process that has all modules loaded already.

    Whoever takes the place of a killed one is then there in a fraction of the seconds that loading takes.
    """
    if "forkserver" not in multiprocessing.get_all_start_methods():
        return multiprocessing.get_context("spawn")
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["api.app", "uvicorn"])
    return context


def _end(workers: list[Any]) -> None:
    """Have all end in order, and kill those that do not."""
    for worker in workers:
        if worker.is_alive():
            worker.terminate()
    until = time.monotonic() + END_S
    for worker in workers:
        worker.join(max(0.0, until - time.monotonic()))
        if worker.is_alive():
            worker.kill()
            worker.join()


def work(settings: Settings, listening: socket.socket) -> None:
    """Serve in a process that `serve_several` has begun, and end with it."""
    import os

    from api.http.logs import log_to_stderr

    log_to_stderr(settings.log)
    os.umask(0o077)
    try:
        started = serve_one(settings, listening, lambda: None, _with_the_first)
    except BadInput as fault:
        print(f"{fault}".rstrip(".") + ".", file=sys.stderr, flush=True)
        sys.exit(2)
    sys.exit(0 if started else 1)


def _with_the_first(leave: Callable[[], None]) -> None:
    """Call `leave` when the process that began this one has gone, however it went."""

    def watch() -> None:
        parent = multiprocessing.parent_process()
        if parent is not None:
            parent.join()
            leave()

    threading.Thread(target=watch, name="parent", daemon=True).start()
