"""The door itself: an executor whose tasks go to a Dask cluster, and to this machine where that cannot be had any more.

A task of a worker that has gone is given to another one by the cluster. Where the scheduler does not answer, no worker
is left, or a task has taken several workers with it, what is open is done on this machine, and a note says so.
"""

from __future__ import annotations

import importlib.metadata
import logging
import threading
import time
from collections.abc import Callable
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from typing import Any

from api.cluster import notes
from api.cluster.line import RunLine

CONNECT_S = 5.0  # for the scheduler to answer
LOOK_S = 0.5  # between two looks at the cluster while tasks are there
ALONE_S = 15.0  # without any worker, or a word of the scheduler on a connection that stands, until it is done here
HERE = 2  # tasks at once on this machine

_log = logging.getLogger("eaveboard")


class ClusterLost(BrokenProcessPool):
    """The cluster cannot be had any more, and nothing is done here instead."""


@dataclass(frozen=True)
class _Task:
    future: Future[Any]
    function: Callable[..., Any]
    arguments: tuple[Any, ...]
    named: dict[str, Any]


class ClusterDoor(Executor):
    """An executor of tasks whose function and arguments can be pickled; `submit` returns a plain future.

    address: of the cluster's scheduler, such as tcp://host:8786; empty: tasks run in `here` threads of this process.
    instead: False: where the cluster is lost, what is open fails with `ClusterLost`.
    """

    def __init__(self, address: str, *, here: int = HERE, instead: bool = True) -> None:
        self.address, self._here, self._instead = address, here, instead
        self._lock = threading.RLock()
        self._client: Any = None
        self._pool: ThreadPoolExecutor | None = None
        self._open: dict[int, _Task] = {}
        self._number = 0
        self._workers: dict[str, int] = {}  # threads of each, by its address
        self._notes: list[str] = []
        self._alone_since: float | None = None
        self._ended = threading.Event()
        self._watcher: threading.Thread | None = None

    def __enter__(self) -> ClusterDoor:
        return self

    @property
    def note(self) -> str:
        """What befell the cluster since `begin`, in sentences for the week sheet; empty: nothing."""
        with self._lock:
            return " ".join(dict.fromkeys(self._notes))

    @property
    def far(self) -> bool:
        """Whether tasks go to the cluster."""
        return self._client is not None

    @property
    def at_once(self) -> int:
        """How many tasks are done at once."""
        with self._lock:
            return max(1, sum(self._workers.values())) if self._client is not None else self._here

    def begin(self) -> None:
        """Forget the notes, and look for the cluster again where it was lost or never found."""
        with self._lock:
            self._notes = []
            if self.address and self._client is None:
                self._connect()

    def line(self) -> RunLine:
        """Return a line for the parts of one run."""
        return RunLine(self.everywhere)

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        """Have a task done; one that is done on the cluster may be begun more than once, where workers are lost."""
        task = _Task(Future(), fn, args, kwargs)
        with self._lock:
            if self._client is None:
                return self._local().submit(fn, *args, **kwargs)
            self._number += 1
            number = self._number
            self._open[number] = task
            try:
                far = self._client.submit(fn, *args, **kwargs, pure=False, key=f"eaveboard-{self._word}-{number}")
            except Exception as fault:
                self._lose(notes.lost(self.address), fault)
                return task.future
        far.add_done_callback(lambda done: self._settle(number, done))
        return task.future

    def everywhere(self, function: Callable[..., Any], *arguments: Any) -> list[Any]:
        """Return what a function gives in each worker's process that answers; empty where none does."""
        with self._lock:
            client = self._client
        if client is None:
            return []
        try:
            found = client.run(function, *arguments, on_error="ignore")
        except Exception as fault:  # a worker that goes at that moment, or the scheduler: the watch finds which
            _log.info("the cluster did not answer: %s", fault)
            return []
        return list(found.values())

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """Let go of the cluster; what is open there is given up."""
        self._ended.set()
        with self._lock:
            client, self._client, pool = self._client, None, self._pool
            given_up, self._open = list(self._open.values()), {}
        for task in given_up:
            task.future.cancel()
        if client is not None:
            _close(client)
        if pool is not None:
            pool.shutdown(wait=wait, cancel_futures=cancel_futures)

    def _connect(self) -> None:
        try:
            import dask
            from distributed import Client
        except ImportError:
            self._say(notes.lacks_package(self.address))
            return
        dask.config.set({"distributed.comm.timeouts.connect": CONNECT_S, "distributed.comm.retry.count": 0})
        dask.config.set({"distributed.admin.large-graph-warning-threshold": "1GB"})
        client = None
        try:
            client = Client(self.address, timeout=CONNECT_S, set_as_default=False, name="eaveboard")  # type: ignore[no-untyped-call]
            releases = client.run(release, on_error="return")
            workers = _workers_of(client)
        except Exception as fault:
            self._refuse(client, notes.not_reached(self.address), fault)
            return
        own = release()
        if not releases:
            self._refuse(client, notes.no_workers(self.address), None)
        elif any(one != own for one in releases.values()):
            self._refuse(client, notes.other_release(self.address, own), None)
        else:
            self._client, self._word, self._workers = client, RunLine().word, workers
            self._alone_since = None
            if self._watcher is None or not self._watcher.is_alive():
                self._watcher = threading.Thread(target=self._watch, name="cluster", daemon=True)
                self._watcher.start()

    def _refuse(self, client: Any, words: str, fault: Exception | None) -> None:
        self._warn(words, fault)
        if client is not None:
            _close(client)

    def _watch(self) -> None:
        """Look whether scheduler and workers are there, as long as there is a cluster."""
        while not self._ended.wait(LOOK_S):
            with self._lock:
                client = self._client
            if client is None:
                return
            now, fault, began = dict[str, int](), None, time.monotonic()
            try:
                now = _workers_of(client)
            except Exception as problem:
                fault = problem
            with self._lock:
                if self._client is not client:
                    return
                if client.status != "running":
                    self._lose(notes.lost(self.address), fault)
                    return
                if fault is not None:  # a busy machine answers late
                    self._alone_since = self._alone_since or began
                    if time.monotonic() - self._alone_since > ALONE_S:
                        self._lose(notes.silent(self.address), fault)
                        return
                    continue
                gone = self._workers.keys() - now.keys()
                if gone:
                    self._say(notes.workers_gone(len(gone)))
                self._workers = now
                self._alone_since = None if now else (self._alone_since or time.monotonic())
                if self._alone_since is not None and time.monotonic() - self._alone_since > ALONE_S:
                    self._lose(notes.emptied(self.address), None)
                    return

    def _settle(self, number: int, done: Any) -> None:
        """Hand on how a task of the cluster ended."""
        from distributed import KilledWorker

        fault: BaseException | None = None
        made: Any = None
        try:
            if done.status == "finished":
                made = done.result()
            else:
                fault = done.exception() if done.status == "error" else ConnectionError(f"it is {done.status}")
        except Exception as problem:  # the connection, while the answer was fetched
            fault = ConnectionError(str(problem))
        with self._lock:
            if isinstance(fault, ConnectionError | KilledWorker):
                if number not in self._open:
                    return
                if isinstance(fault, KilledWorker):
                    self._say(notes.heavy_part())
                    self._do_here(self._open.pop(number))
                elif self._client is not None and self._client.status == "running":
                    self._do_here(self._open.pop(number))
                return  # of a lost connection the watch takes all that is open at once
            task = self._open.pop(number, None)
        if task is not None and fault is not None:
            task.future.set_exception(fault)
        elif task is not None:
            task.future.set_result(made)

    def _lose(self, words: str, fault: Exception | None) -> None:
        """Do here what is open; the lock is held."""
        self._warn(words, fault)
        client, self._client = self._client, None
        tasks, self._open = list(self._open.values()), {}
        threading.Thread(target=_close, args=(client,), daemon=True).start()
        for task in tasks:
            self._do_here(task)

    def _do_here(self, task: _Task) -> None:
        if not self._instead:
            task.future.set_exception(ClusterLost(f"the cluster at {self.address} is lost"))
            return

        def work() -> None:
            try:
                task.future.set_result(task.function(*task.arguments, **task.named))
            except BaseException as fault:
                task.future.set_exception(fault)

        self._local().submit(work)

    def _local(self) -> ThreadPoolExecutor:
        if self._pool is None:
            self._pool = ThreadPoolExecutor(self._here, thread_name_prefix="door")
        return self._pool

    def _warn(self, words: str, fault: Exception | None) -> None:
        _log.warning("%s%s", words.rstrip("."), f": {fault}" if fault else "")
        self._say(words)

    def _say(self, words: str) -> None:
        with self._lock:
            self._notes.append(words)


def release() -> str:
    """Return which release of Eaveboard this process has."""
    return importlib.metadata.version("eaveboard")


def _workers_of(client: Any) -> dict[str, int]:
    """Return the threads of each worker by its address, asked of the scheduler; raises where it does not answer."""
    found = client.sync(client.scheduler.identity, n_workers=-1, callback_timeout=CONNECT_S)
    return {address: int(one["nthreads"]) for address, one in found["workers"].items()}


def _close(client: Any) -> None:
    try:
        client.close(timeout=1)
    except Exception as fault:  # it is gone already
        _log.info("closing the connection to the cluster: %s", fault)
