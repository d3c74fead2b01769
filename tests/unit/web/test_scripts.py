"""The pages' scripts pass their own tests, which node runs (api/web/src/*.test.ts)."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

WEB = Path(__file__).parents[3] / "api" / "web"
NODE = Path(sys.executable).parent / "node"


@pytest.mark.slow
def test_the_scripts_pass_their_tests_under_node() -> None:
    # A deadline of its own: a test that waits for ever must not hold up all others.
    done = subprocess.run(
        [NODE, "--test", "--test-timeout=60000", "src/**/*.test.ts"],
        cwd=WEB, env=os.environ | {"NO_COLOR": "1"}, capture_output=True, text=True, timeout=180,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    counts = dict(re.findall(r"^\S+ (tests|pass|fail|skipped|todo) (\d+)$", done.stdout, re.M))
    assert int(counts["tests"]) >= 9
    assert counts["pass"] == counts["tests"], counts
