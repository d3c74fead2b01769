"""What several folders of tests share: the demo business's files, and an empty database for each test."""

from __future__ import annotations

import fcntl
import functools
import gc
import os
import pickle
import shutil
import sqlite3
import tempfile
import time
from collections.abc import Callable, Generator, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

import pytest
import sqlalchemy as sa
from hypothesis import settings
from jinja2 import FileSystemBytecodeCache
from sqlmodel import SQLModel
from starlette.templating import Jinja2Templates

from api.business import demo
from api.database import open_database
from api.http import pages
from api.settings import sqlite_address
from api.week.run import planning
from scheduler import make_ready
from tests import contract, migrated, postgresql
from tests.migrated import put_migrated
from tests.one_a_day import one_a_day
from tests.plan_demo import PLANNED_AT, kept_plan

# How long one example takes hangs on what else the machine does: no reason to call a test failed.
settings.register_profile("project", deadline=None)
settings.load_profile("project")

DEMO = Path(__file__).parent.parent / "seeds" / "demo"

# What imports make stays until the end: looking through it over and over took a sixth of the suite's time.
gc.disable()


@pytest.hookimpl(trylast=True)
def pytest_collection_finish() -> None:
    gc.freeze()
    gc.set_threshold(20_000, 20, 100)
    gc.enable()


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--no-skips",
        action="store_true",
        help="call a skipped test failed, unless it asks for the interchange format's files and ../shared is missing",
    )
    parser.addoption("--races", type=int, default=1, help="how often to run each test that is marked as a race")


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    times = metafunc.config.getoption("--races")
    if times > 1 and metafunc.definition.get_closest_marker("race"):
        metafunc.fixturenames.append("race_number")
        metafunc.parametrize("race_number", range(times))


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(
    item: pytest.Item, call: pytest.CallInfo[None]
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    report = yield
    if report.skipped and item.config.getoption("--no-skips"):
        reason = report.longrepr[2] if isinstance(report.longrepr, tuple) else str(report.longrepr)
        if contract.SHARED.exists() or contract.ABSENT not in reason:
            report.outcome = "failed"
            report.longrepr = f"--no-skips: {item.nodeid} was skipped. {reason}"
    return report


@pytest.fixture(autouse=True, scope="session")
def tricky_sqlite() -> Iterator[None]:
    """Have SQLite give rows without an order back to front, so that whoever leans on theirs fails here and now.

    Nor does it wait for the disk: no test cuts the power.
    """

    def prepare(connection: object, _: object) -> None:
        if isinstance(connection, sqlite3.Connection):
            connection.execute("PRAGMA reverse_unordered_selects = ON")
            connection.execute("PRAGMA synchronous = OFF")

    sa.event.listen(sa.Engine, "connect", prepare)
    yield
    sa.event.remove(sa.Engine, "connect", prepare)


@pytest.fixture(autouse=True, scope="session")
def compiled_statements() -> Iterator[None]:
    """Have all SQLite databases of a process share the statements that SQLAlchemy has compiled.

    It keeps them for each engine, and every test has its own: compiling them anew was a tenth of the suite's time.
    """
    make = sa.create_engine
    donor = make("sqlite://")
    donor.connect().close()  # only now does it know all of its dialect

    def make_alike(*given: Any, **named: Any) -> sa.Engine:
        engine = make(*given, **named)
        if engine.dialect.name == "sqlite":
            engine.dialect, engine._compiled_cache = donor.dialect, donor._compiled_cache
        return engine

    sa.create_engine = make_alike
    yield
    sa.create_engine = make
    donor.dispose()


@pytest.fixture(autouse=True, scope="session")
def compiled_templates(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Have the processes of the suite share the pages' templates as compiled by the first that shows them."""
    make = pages._templates

    @functools.cache
    def make_alike(code: str) -> Jinja2Templates:
        made = make.__wrapped__(code)
        made.env.bytecode_cache = FileSystemBytecodeCache(str(shared(tmp_path_factory, f"templates-{code}")))
        return made

    pages._templates = make_alike
    yield
    pages._templates = make


@pytest.fixture(autouse=True, scope="session")
def migrated_once(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Have empty SQLite databases brought to the newest form by a copy of one: the steps took a tenth of the time."""
    with migrated.copied(lambda make: made_once(tmp_path_factory, "migrated", make)):
        yield


@pytest.fixture
def migrated_for_real() -> Iterator[None]:
    """Have a database come to its form by every step: for tests of the steps themselves."""
    with migrated.for_real():
        yield


@pytest.fixture
def demo_files(tmp_path: Path) -> Path:
    """A copy of the demo business's files that a test may spoil."""
    return shutil.copytree(DEMO, tmp_path / "demo-files")


Made = TypeVar("Made")


def shared(factory: pytest.TempPathFactory, name: str) -> Path:
    """Return a folder of all processes of the suite."""
    base = factory.getbasetemp()
    folder = (base.parent if "PYTEST_XDIST_WORKER" in os.environ else base) / name
    folder.mkdir(exist_ok=True)
    return folder


def made_once(factory: pytest.TempPathFactory, name: str, make: Callable[[Path], Made]) -> Made:
    """Return what `make` gives and leaves in an empty folder, made once for all processes of the suite."""
    folder = shared(factory, f"once-{name}")
    with (folder / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)  # let go of when the file is closed, or its process ends
        kept = folder / "made.pickle"
        if not kept.exists():
            shutil.rmtree(folder / "data", ignore_errors=True)  # of a process that did not come to its end
            (folder / "data").mkdir()
            kept.write_bytes(pickle.dumps(make(folder / "data")))
        made: Made = pickle.loads(kept.read_bytes())
    return made


@dataclass(frozen=True)
class BuiltDemo:
    """The demo folder, planned by a planner that is quick and not clever; `told` are the lines that were reported."""

    out: Path
    made: demo.Demo
    told: tuple[str, ...]


def _compile(_: Path) -> None:
    make_ready(time.monotonic, lambda _: None)


@pytest.fixture(scope="session")
def compiled(tmp_path_factory: pytest.TempPathFactory) -> None:
    """The engine's loops, compiled: the first plan of a fresh machine takes minutes, which are not the search's."""
    made_once(tmp_path_factory, "compiled", _compile)
    _compile(Path())  # by now read from numba's files


@pytest.fixture(scope="session")
def built(tmp_path_factory: pytest.TempPathFactory) -> BuiltDemo:
    """The demo, built once for all tests: copy its folder before opening its database, which others may copy then."""

    def build(folder: Path) -> BuiltDemo:
        told = list[str]()
        return BuiltDemo(folder, demo.build(folder, told.append, planner=one_a_day), tuple(told))

    return made_once(tmp_path_factory, "demo", build)


@pytest.fixture(scope="session")
def planned_demo(compiled: None, built: BuiltDemo, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's folder with the plan of its week that the engine made, not posted: copy it before changing anything.

    It is one plan for all machines (`tests.plan_demo`). The engine is compiled, for what is searched from there.
    """

    def make(folder: Path) -> Path:
        shutil.copytree(built.out, folder, dirs_exist_ok=True)
        engine = open_database(sqlite_address(folder))
        made = planning.prepare_week(engine, built.made.start_date, PLANNED_AT)
        planning.plan_week(engine, made, kept_plan, seconds=1.0, now=PLANNED_AT, by="test")
        engine.dispose()
        return folder

    return made_once(tmp_path_factory, "planned", make)


@pytest.fixture(scope="session")
def migrated_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An empty SQLite database in the newest form, to be copied: quicker than migrating for every test."""
    return put_migrated(tmp_path_factory.mktemp("migrated") / "eaveboard.sqlite")


@pytest.fixture
def database(migrated_file: Path, tmp_path: Path) -> Iterator[sa.Engine]:
    """An empty SQLite database in the newest form."""
    engine = open_database(f"sqlite:///{shutil.copy(migrated_file, tmp_path / 'test.sqlite')}")
    yield engine
    engine.dispose()


@pytest.fixture(scope="session")
def postgresql_address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The address of an empty database on a PostgreSQL server of our own; skips where none is installed."""
    if postgresql.binaries() is None:
        pytest.skip("PostgreSQL is not installed")
    laid_out = made_once(tmp_path_factory, "postgresql", postgresql.lay_out)
    # A socket's path must be short, and the server's own user must reach it: not in the test's own folder.
    folder = Path(tempfile.mkdtemp(prefix="eave-pg-", dir="/tmp"))
    try:
        with postgresql.running(folder, laid_out) as address:
            yield address
    finally:
        shutil.rmtree(folder)


@pytest.fixture(scope="session")
def migrated_on_server(postgresql_address: str) -> str:
    """The address of a PostgreSQL database in the newest form, which its tests empty."""
    return postgresql_address.replace("/postgres?", f"/{postgresql.MIGRATED}?")


@pytest.fixture
def postgresql_database(migrated_on_server: str) -> str:
    """The address of the PostgreSQL database, emptied; skips where none can be had."""
    # A new database begins with kinds of work.
    emptied = [f'DELETE FROM "{name}"' for name in SQLModel.metadata.tables if name != "work_kind"]
    engine = open_database(migrated_on_server)
    with engine.begin() as connection:  # in one go: there are many tables
        # In this role the server looks at no foreign keys, and at no trigger: the history only grows, but here.
        connection.exec_driver_sql("; ".join(["SET LOCAL session_replication_role = replica", *emptied]))
    engine.dispose()
    return migrated_on_server


@pytest.fixture
def unmigrated_on_server(postgresql_address: str) -> Iterator[str]:
    """The address of a database without any tables on the same server."""
    whole = sa.create_engine(postgresql_address, isolation_level="AUTOCOMMIT")
    with whole.connect() as connection:
        connection.execute(sa.text("CREATE DATABASE unmigrated TEMPLATE template0"))
    yield postgresql_address.replace("/postgres?", "/unmigrated?")
    with whole.connect() as connection:
        connection.execute(sa.text("DROP DATABASE unmigrated WITH (FORCE)"))
    whole.dispose()
