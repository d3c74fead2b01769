"""The wheel holds the whole product: what the tree has, the pages' scripts bundled, and nothing that only builds it."""

from __future__ import annotations

import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from tests.installed import built_wheel

pytestmark = pytest.mark.slow

ROOT = Path(__file__).parents[3]


@pytest.fixture(scope="module")
def names(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    """What the wheel's files hold, by their names; built of a copy, so that tests beside this one are left alone."""
    folder = tmp_path_factory.mktemp("wheel")
    subprocess.run([sys.executable, ROOT / "ops/bundle"], check=True)
    unwanted = shutil.ignore_patterns("node_modules", "__pycache__", "*.egg-info")
    for room in ("api", "scheduler", "seeds", "ops", "docs"):
        shutil.copytree(ROOT / room, folder / "tree" / room, ignore=unwanted)
    for path in ROOT.iterdir():
        if path.is_file() and path.name != ".git":
            shutil.copy(path, folder / "tree")
    (folder / "tree/api/static/left_over.css").write_text("")
    wheel = built_wheel(folder / "first", "--no-build-isolation", tree=folder / "tree")
    with zipfile.ZipFile(wheel) as packed:
        assert "api/static/left_over.css" in packed.namelist()
    (folder / "tree/api/static/left_over.css").unlink()
    wheel = built_wheel(folder / "out", "--no-build-isolation", tree=folder / "tree")
    with zipfile.ZipFile(wheel) as packed:
        return {name: packed.read(name) for name in packed.namelist()}


def test_it_has_every_module_template_style_sheet_catalogue_and_migration_of_the_tree(names: dict[str, bytes]) -> None:
    for room in ("api", "scheduler"):
        for path in (ROOT / room).rglob("*"):
            name = path.relative_to(ROOT).as_posix()
            if path.suffix in (".py", ".html", ".css", ".svg", ".mako", ".po") and not name.startswith("api/web/"):
                assert names.get(name) == path.read_bytes(), name


def test_it_has_the_scripts_bundled_and_neither_their_sources_nor_node(names: dict[str, bytes]) -> None:
    for path in (ROOT / "api/web/src").glob("pages/*.ts"):
        assert f"api/static/built/{path.stem}.js" in names
    for path in (ROOT / "api/static/built").glob("*.*"):
        assert path.name == ".stamp" or f"api/static/built/{path.name}" in names
    assert not [name for name in names if name.startswith("api/web/") or name.endswith((".ts", ".pyc", ".nbi", ".nbc"))]
    [metadata] = [data.decode() for name, data in names.items() if name.endswith(".dist-info/METADATA")]
    needed = [
        line.split()[1] for line in metadata.splitlines() if line.startswith("Requires-Dist") and "extra" not in line
    ]
    assert not [name for name in needed if name.startswith(("nodejs", "psycopg", "osmium", "pyvalhalla", "pytest"))]


def test_it_has_the_demo_business_and_nothing_that_is_gone_from_the_tree(names: dict[str, bytes]) -> None:
    demo = ROOT / "seeds/demo"
    for path in demo.rglob("*"):
        if path.is_file() and "pictures" not in path.parts:
            assert names.get(f"api/seeds/demo/{path.relative_to(demo).as_posix()}") == path.read_bytes(), path
    assert "api/static/left_over.css" not in names


def test_it_has_the_manual_page_where_man_looks_for_it(names: dict[str, bytes]) -> None:
    [page] = [data for name, data in names.items() if name.endswith(".data/data/share/man/man1/eaveboard.1")]
    assert page == (ROOT / "docs/eaveboard.1").read_bytes()


def test_the_program_says_its_version() -> None:
    ran = subprocess.run(
        [sys.executable, "-c", "from api.cli import main; main(['--version'])"],
        cwd=ROOT,
        capture_output=True,
        text=True,
    )
    assert (ran.returncode, ran.stdout) == (0, "eaveboard 0.1.0\n")
