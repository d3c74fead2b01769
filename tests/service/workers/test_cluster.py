"""Planning on a cluster: the same plan and bound as here, workers killed in mid-run, the scheduler lost."""

from __future__ import annotations

import os
import random
import threading
import time
from pathlib import Path

import pytest

from api.cluster import ClusterDoor, notes
from api.cluster import door as module
from api.cluster.door import ClusterLost
from api.languages import speaking
from api.languages.core import core_says
from api.settings import read_settings
from scheduler import Elsewhere, Progress, parts_of, plan_by_yard, plan_week
from scheduler.audit import audit
from scheduler.errors import BadInput
from scheduler.week import Week
from tests.machines import Machines
from tests.waiting import until
from tests.weeks import small_week

pytestmark = pytest.mark.slow


def falls_apart() -> Week:
    drawn = (small_week(random.Random(seed), jobs=8, crews=4, yards=2) for seed in range(100))
    return next(week for week in drawn if len(parts_of(week)) == 2)


def waits(folder: str, seconds: float) -> int:
    """Say by a file that it is at work, and return its process after a while; a second one returns at once."""
    begun = Path(folder, str(os.getpid()))
    begun.touch()
    if len(list(Path(folder).iterdir())) == 1:
        time.sleep(seconds)
    return os.getpid()


def fails(words: str) -> None:
    raise BadInput("week", words)


def test_a_cluster_plans_what_this_machine_plans(machines: Machines) -> None:
    week, told = falls_apart(), list[Progress]()
    with ClusterDoor(machines.address) as door:
        door.begin()
        assert (door.note, door.at_once) == ("", 2)
        line = door.line()
        far = plan_by_yard(
            week, seconds=None, clock=time.monotonic, elsewhere=Elsewhere(door, 2), line=line, report=told.append
        )
        here = plan_week(week, seconds=None, clock=time.monotonic)
        assert (far.cost, far.bound) == (here.cost, here.bound)
        assert not audit(week, far).broken_rules
        assert told[-1].cost == far.cost.total
        line.stop()  # however long it was to take
        stopped = plan_by_yard(week, seconds=600, clock=time.monotonic, elsewhere=Elsewhere(door, 2), line=line)
        assert not audit(week, stopped).broken_rules
        whole = small_week(random.Random(7), jobs=12, crews=5, yards=1)  # one part: its crew days are priced there
        spread = plan_by_yard(whole, seconds=None, clock=time.monotonic, elsewhere=Elsewhere(door, 2), line=door.line())
        assert spread.bound == plan_week(whole, seconds=None, clock=time.monotonic).bound
        with pytest.raises(BadInput, match="nobody knows"):
            door.submit(fails, "nobody knows").result(30)


@pytest.mark.long
def test_a_killed_worker_and_a_lost_scheduler(machines: Machines, tmp_path: Path) -> None:
    with ClusterDoor(machines.address) as door, ClusterDoor(machines.address, instead=False) as strict:
        door.begin()
        strict.begin()
        going = door.submit(waits, str(tmp_path), 600)
        until(lambda: any(tmp_path.iterdir()))
        first = int(next(tmp_path.iterdir()).name)
        machines.kill(first)
        assert going.result(300) not in (first, os.getpid()), "another worker does it anew"
        until(lambda: "A worker of the cluster went away" in door.note)

        folder = tmp_path / "lost"
        folder.mkdir()
        going, given_up = door.submit(waits, str(folder), 600), strict.submit(time.sleep, 600)
        until(lambda: any(folder.iterdir()))
        machines.scheduler.kill()
        assert going.result(300) == os.getpid()
        assert "done on this machine instead" in door.note
        with pytest.raises(ClusterLost):
            given_up.result(300)
        assert (door.far, door.at_once) == (False, 2)
        door.begin()
        assert "could not be reached" in door.note
        assert door.submit(os.getpid).result(30) == os.getpid()


class Late:
    """A connection to a scheduler that stands."""

    status = "running"

    def close(self, timeout: float) -> None:
        self.status = "closed"


@pytest.mark.parametrize(("late", "lost"), [(3, False), (10_000, True)])
def test_a_scheduler_that_answers_late_is_lost_only_after_a_while(
    monkeypatch: pytest.MonkeyPatch, late: int, lost: bool
) -> None:
    looks = []

    def looked(_: Late) -> dict[str, int]:
        looks.append(late)
        if len(looks) <= late:
            raise TimeoutError("5 s")
        return {"tcp://10.0.0.6:1": 1}

    monkeypatch.setattr(module, "_workers_of", looked)
    monkeypatch.setattr(module, "LOOK_S", 0.01)
    monkeypatch.setattr(module, "ALONE_S", 0.5 if lost else 600.0)
    with ClusterDoor("tcp://10.0.0.5:8786") as door:
        door._client, door._workers = Late(), {"tcp://10.0.0.6:1": 1}
        watching = threading.Thread(target=door._watch)
        watching.start()
        until(lambda: not door.far or (len(looks) > 5 and not lost))
        assert door.far is not lost
        assert ("does not answer any more" in door.note) is lost
        assert lost or door.note == ""
        door.shutdown()
        watching.join()


def test_what_befell_a_cluster_is_told_in_the_reader_s_language() -> None:
    at = "tcp://10.0.0.5:8786"
    told = [tell(at) for tell in (notes.lacks_package, notes.not_reached, notes.no_workers, notes.lost, notes.silent)]
    told += [notes.emptied(at), notes.other_release(at, "0.1.0"), notes.workers_gone(1), notes.workers_gone(3)]
    told += [notes.heavy_part(), f"{notes.workers_gone(1)} {notes.lost(at)}"]
    with speaking("es"):
        for words in told:
            said = core_says(words)
            assert "machine" not in said, words
            assert "worker" not in said, words
            assert (at in said) == (at in words)


def test_the_setting_is_read_strictly() -> None:
    assert read_settings({"EAVEBOARD_CLUSTER": "tls://10.0.0.5:8786"}).cluster == "tls://10.0.0.5:8786"
    for wrong in ("10.0.0.5:8786", "tcp://10.0.0.5", "http://10.0.0.5:8786", "tcp://10.0.0.5:99999"):
        with pytest.raises(BadInput, match="must be like tcp://"):
            read_settings({"EAVEBOARD_CLUSTER": wrong})
