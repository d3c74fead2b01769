"""Table services by address, against a local server that speaks both open formats and can misbehave."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from api.roads import Service, travel_times
from scheduler.errors import BadInput
from scheduler.travel import matrices
from tests.service.roads.roads_played import Fake, true_table

KINDS = ("osrm", "valhalla")
PLACES = [(50.0 + 0.013 * n, 10.0 + 0.007 * (n * n % 11)) for n in range(9)]


@pytest.fixture
def fake() -> Iterator[Fake]:
    server = Fake()
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01}, daemon=True)
    thread.start()
    yield server
    server.shutdown()
    server.server_close()
    thread.join(timeout=5)


def service(kind: str, fake: Fake, **more: Any) -> Service:
    settings = {"timeout_s": 5.0, "attempts": 3, "backoff_s": 0.005, **more}
    return Service(kind, f"http://127.0.0.1:{fake.server_address[1]}/", **settings)


def expected(places: list[tuple[float, float]]) -> tuple[Any, Any]:
    seconds, metres = (np.array(t, dtype=float) for t in true_table(places, places))
    return np.ceil(seconds / 60 - 1e-9), np.ceil(metres - 1e-9)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("block", [None, 4, 1])
def test_the_services_own_numbers_arrive_whatever_the_blocks(fake: Fake, kind: str, block: int | None) -> None:
    places = PLACES if block != 1 else PLACES[:4]
    found = travel_times(places, service(kind, fake, block=block))
    minutes, metres = expected(places)
    assert (found.matrices.minutes == minutes).all()
    assert (abs(found.matrices.metres - metres) <= 1).all()  # six decimals of a degree on the way
    assert (found.matrices.minutes != found.matrices.minutes.T).any()  # northward is slower
    assert found.notes == ()
    assert found.share(found.sources[1]) == 1
    assert all(max(size) <= (block or 100) for size in fake.sizes)


@pytest.mark.parametrize("kind", KINDS)
def test_blocks_shrink_until_the_service_takes_them(fake: Fake, kind: str) -> None:
    fake.most = 6
    found = travel_times(PLACES, service(kind, fake))
    assert (found.matrices.minutes == expected(PLACES)[0]).all()
    assert found.notes == ()


@pytest.mark.parametrize("kind", KINDS)
def test_a_service_that_refuses_even_one_drive_is_given_up(fake: Fake, kind: str) -> None:
    fake.most = 0
    found = travel_times(PLACES, service(kind, fake))
    assert any("refuses even one drive" in note for note in found.notes)
    assert (found.matrices.minutes == matrices(PLACES).minutes).all()


PASSING = [
    "slow",
    "drip",
    "cut",
    "garbage",
    "nan",
    "empty",
    "other json",
    "500",
    "503",
    "429",
    "404",
    "negative",
    "huge",
    "words",
    "ragged",
    "small",
    "no metres",
]


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("fault", PASSING)
def test_a_fault_that_passes_is_tried_again_without_a_word(fake: Fake, kind: str, fault: str) -> None:
    fake.faults = [fault]
    # Only the slow ones must run out of time; a tight limit on the others would count a busy machine as a fault.
    found = travel_times(PLACES, service(kind, fake, timeout_s=1.0 if fault in ("slow", "drip") else 30.0))
    assert (found.matrices.minutes == expected(PLACES)[0]).all()
    assert found.notes == ()
    assert len(fake.sizes) == 2


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("fault", PASSING)
def test_a_fault_that_stays_ends_in_the_estimate_with_a_note(fake: Fake, kind: str, fault: str) -> None:
    fake.always, runs_out = fault, fault in ("slow", "drip")
    limit_s = 0.4 if runs_out else 30.0
    found = travel_times(PLACES, service(kind, fake, timeout_s=limit_s, attempts=2, block=4))
    assert (found.matrices.minutes == matrices(PLACES).minutes).all()
    assert (found.matrices.metres == matrices(PLACES).metres).all()
    assert found.share("estimate") == 1
    assert len(found.notes) == 2
    assert f"the {kind} service at 127.0.0.1" in found.notes[0]
    assert "All travel times are estimated" in found.notes[1]
    # No further block is asked of a source that is down; a busy machine may run out of time before it asks at all.
    assert len(fake.sizes) <= 2 if runs_out else len(fake.sizes) == 2


def test_a_service_that_dies_halfway_leaves_what_it_gave(fake: Fake) -> None:
    fake.faults = ["", "", "500", "500"]
    found = travel_times(PLACES, service("osrm", fake, attempts=2, block=3))
    routed = found.source == 1
    assert routed.sum() + 3 in (18, 21)  # two blocks of 3 × 3, perhaps with places of the diagonal
    assert (found.matrices.minutes[routed] == expected(PLACES)[0][routed]).all()
    assert (found.matrices.minutes[~routed] == matrices(PLACES).minutes[~routed]).all()
    assert "HTTP status 500" in found.notes[0]


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("block", [None, 1])
def test_cells_without_a_way_are_estimated_and_counted(fake: Fake, kind: str, block: int | None) -> None:
    places = [*PLACES[:3], (50.0, 20.5), (50.01, 20.6)]
    found = travel_times(places, service(kind, fake, block=block))
    estimated = np.zeros((5, 5), dtype=bool)
    estimated[:3, 3:] = estimated[3:, :3] = True
    off = ~np.eye(5, dtype=bool)
    assert ((found.source == 0) == estimated)[off].all()
    assert found.matrices.minutes[0, 3] == matrices(places).minutes[0, 3]
    assert found.notes == ("12 of 20 travel times are estimated from the great circle, not routed.",)


@pytest.mark.parametrize("kind", KINDS)
def test_a_place_without_a_road_spoils_only_its_own_cells(fake: Fake, kind: str) -> None:
    places = [*PLACES[:4], (61.0, 10.0), *PLACES[4:]]
    found = travel_times(places, service(kind, fake))
    off = ~np.eye(len(places), dtype=bool)
    alone = np.zeros_like(off)
    alone[4, :] = alone[:, 4] = True
    assert ((found.source == 0) == alone)[off].all()
    assert "No road within reach of 61.000000, 10.000000" in found.notes[0]


@pytest.mark.parametrize("fault", ["cells", "miles"])
def test_older_and_imperial_answers_are_read(fake: Fake, fault: str) -> None:
    fake.always = fault
    found = travel_times(PLACES, service("valhalla", fake))
    assert found.notes == ()
    assert (abs(found.matrices.metres - expected(PLACES)[1]) <= 1).all()


def test_an_unknown_unit_is_not_guessed(fake: Fake) -> None:
    fake.always = "leagues"
    found = travel_times(PLACES, service("valhalla", fake))
    assert 'the unknown unit "leagues"' in found.notes[0]


def test_time_in_all_is_limited(fake: Fake) -> None:
    fake.always = "slow"
    found = travel_times(PLACES, service("osrm", fake, block=1, budget_s=0.5))
    assert len(fake.sizes) < len(PLACES)  # of a block for each pair, of which each takes longer than all may
    assert any("longer than 0.5 s in all" in note for note in found.notes)


def test_nothing_listens_there() -> None:
    server = Fake()  # takes a free port and gives it back
    server.server_close()
    found = travel_times(PLACES, service("osrm", server, attempts=2))
    assert "cannot be reached" in found.notes[0]


def test_the_cache_answers_the_second_time_and_asks_only_for_new_places(fake: Fake, tmp_path: Path) -> None:
    first = travel_times(PLACES, service("osrm", fake), cache=tmp_path)
    asked = len(fake.sizes)
    again = travel_times(PLACES[::-1], service("osrm", fake), cache=tmp_path)
    assert len(fake.sizes) == asked
    assert (again.matrices.minutes == first.matrices.minutes[::-1, ::-1]).all()
    more = travel_times([*PLACES, (50.5, 10.5)], service("osrm", fake), cache=tmp_path)
    assert sorted(fake.sizes[asked:]) == [(1, 10), (9, 1)]
    assert (more.matrices.minutes == expected([*PLACES, (50.5, 10.5)])[0]).all()
    travel_times(PLACES, service("osrm", fake, profile="van"), cache=tmp_path)  # another source knows nothing of it
    assert fake.sizes[-1] == (9, 9)


def test_cached_answers_grow_old(fake: Fake, tmp_path: Path) -> None:
    travel_times(PLACES, service("osrm", fake), cache=tmp_path)
    travel_times(PLACES, service("osrm", fake, max_age_days=0), cache=tmp_path)
    assert len(fake.sizes) == 1  # today's answers are not old
    travel_times(PLACES, service("osrm", fake, max_age_days=-1), cache=tmp_path)
    assert len(fake.sizes) == 2


def test_what_has_no_way_is_remembered_too(fake: Fake, tmp_path: Path) -> None:
    places = [*PLACES[:3], (50.0, 20.5), (61.0, 10.0)]
    first = travel_times(places, service("osrm", fake), cache=tmp_path)
    asked = len(fake.sizes)
    again = travel_times(places, service("osrm", fake), cache=tmp_path)
    assert len(fake.sizes) == asked
    assert (again.source == first.source).all()


def test_failures_are_not_cached(fake: Fake, tmp_path: Path) -> None:
    fake.always = "500"
    travel_times(PLACES, service("osrm", fake, attempts=1), cache=tmp_path)
    fake.always = ""
    found = travel_times(PLACES, service("osrm", fake), cache=tmp_path)
    assert found.notes == ()


def test_a_spoilt_cache_is_named_and_not_needed(fake: Fake, tmp_path: Path) -> None:
    (tmp_path / "roads.sqlite").write_bytes(b"this is no database" * 100)
    found = travel_times(PLACES, service("osrm", fake), cache=tmp_path)
    assert (found.matrices.minutes == expected(PLACES)[0]).all()
    assert "cache" in found.notes[0]
    assert (tmp_path / "roads.sqlite").read_bytes().startswith(b"this is no database")


def test_slow_hours_and_progress(fake: Fake) -> None:
    seen: list[tuple[int, int]] = []
    found = travel_times(PLACES, service("osrm", fake, block=3), slowdown=1.5, progress=lambda *s: seen.append(s))
    seconds = np.array(true_table(PLACES, PLACES)[0], dtype=float)
    assert (found.matrices.minutes == np.ceil(1.5 * seconds / 60 - 1e-9)).all()
    assert "multiplied by 1.5" in found.notes[0]
    assert seen[0] == (9, 81)
    assert seen[-1] == (81, 81)
    assert seen == sorted(seen)


@pytest.mark.parametrize("count", [0, 1])
def test_none_and_one_place_ask_nothing(fake: Fake, count: int) -> None:
    found = travel_times(PLACES[:count], service("osrm", fake))
    assert found.matrices.minutes.shape == (count, count)
    assert fake.sizes == []
    assert found.notes == ()


def test_coincident_places_are_asked_once_and_are_no_minutes_apart(fake: Fake) -> None:
    found = travel_times([PLACES[0], PLACES[1], PLACES[0]], service("osrm", fake))
    assert fake.sizes == [(2, 2)]
    assert found.matrices.minutes[0, 2] == found.matrices.metres[0, 2] == 0
    assert (found.matrices.minutes[0] == found.matrices.minutes[2]).all()


@pytest.mark.parametrize(
    ("settings", "where"),
    [
        ({"kind": "carrier pigeon"}, "kind"),
        ({"address": "ftp://roads"}, "address"),
        ({"block": 0}, "block"),
        ({"attempts": 0}, "attempts"),
        ({"timeout_s": 0}, "timeout_s"),
    ],
)
def test_wrong_settings_are_named(settings: dict[str, Any], where: str) -> None:
    with pytest.raises(BadInput) as fault:
        Service(**{"kind": "osrm", "address": "http://127.0.0.1", **settings})
    assert fault.value.where == where
