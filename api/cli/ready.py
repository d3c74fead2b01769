"""`eaveboard ready`, and where an installed program keeps the planner's compiled loops: never beside its modules."""

from __future__ import annotations

import hashlib
import os
import shutil
import sys
from pathlib import Path

from api.cli.saying.voice import voice
from scheduler.errors import BadInput

PACKAGES = Path(__file__).parents[2]
ENGINE = PACKAGES / "scheduler" / "engine"
CACHE = "NUMBA_CACHE_DIR"


def in_tree() -> bool:
    """Say whether the program runs from its source tree, where ops/setup has compiled beside the modules."""
    return (PACKAGES / "pyproject.toml").is_file()


def choose_cache() -> None:
    """Have compiled loops kept in the user's cache folder, one folder for each state of the engine.

    numba asks the environment, also in the planner's processes. A folder that NUMBA_CACHE_DIR names already stays.
    """
    if in_tree() or os.environ.get(CACHE):
        return
    import platformdirs

    whole = hashlib.sha256()
    for path in sorted(ENGINE.rglob("*.py")):  # numba looks at a function's own file only, not at what it calls
        whole.update(path.read_bytes())
    folder = Path(platformdirs.user_cache_dir("eaveboard")) / f"engine-{whole.hexdigest()[:12]}"
    os.environ[CACHE] = str(folder)


def compile_once() -> None:
    """Compile the loops where this has not been done yet, and say on the terminal how it goes.

    Raises `BadInput` where what is compiled cannot be kept.
    """
    if in_tree():
        return
    choose_cache()
    done = Path(os.environ[CACHE]) / "ready"
    if done.is_file() and done.read_text(encoding="utf-8") == sys.version:
        return
    try:
        done.parent.mkdir(parents=True, exist_ok=True)
        (done.parent / "unfinished").write_text("", encoding="utf-8")
    except OSError as fault:
        problem = (
            f"must be a folder that can be written, {done.parent}: {fault.strerror}; compiled loops are kept there"
        )
        raise BadInput(CACHE, problem) from None
    _compile()
    done.write_text(sys.version, encoding="utf-8")
    (done.parent / "unfinished").unlink(missing_ok=True)
    for old in done.parent.parent.glob("engine-*"):  # of programs before this one
        if old != done.parent and done.parent.name.startswith("engine-"):
            shutil.rmtree(old, ignore_errors=True)


def ready() -> None:
    """Compile the planner's loops now, a minute or two once for each version, so that no command waits for it."""
    if in_tree():
        _compile()
    compile_once()
    voice().give({"ready": True, "folder": os.environ.get(CACHE)})
    voice().say("The planner is ready.")


def _compile() -> None:
    import time

    from scheduler import make_ready

    words = "Compiling the planner, once (a minute or two)"
    with voice().status(f"{words} …") as show:

        def tell(begun: int) -> None:
            show(f"{words}: function {begun} of about 180")

        make_ready(time.monotonic, tell)
