"""What Prometheus itself makes of what was scraped: its own reading of alerts and expressions (`promtool test rules`).

    differences(scraped, folder, {expression: what tests/promql.py gives}, rules)   # "": the two agree

Debian's package `prometheus` brings promtool; a test that needs it is marked with `needed`.
"""

from __future__ import annotations

import json
import shutil
import subprocess
from decimal import Decimal
from pathlib import Path

import pytest

from tests.promql import EVERY_S, Labels, Scraped, Vector

WATCH = Path(__file__).parents[1] / "ops" / "watch"
needed = pytest.mark.skipif(shutil.which("promtool") is None, reason="promtool is not here: apt-get install prometheus")


def promtool(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(["promtool", *words], capture_output=True, text=True, timeout=120)


def differences(scraped: Scraped, folder: Path, expected: dict[str, Vector], rules: Path | None = None) -> str:
    """Return in promtool's words where the last scrape gives something else than expected; nothing where it agrees.

    expected: by expression, the series with their values; NaN cannot be told here. rules: a file whose alerts are
    evaluated at every scrape, so that expressions may ask for `ALERTS`.
    """
    end = scraped.samples[-1][0]
    asked = {
        "interval": f"{EVERY_S:.0f}s",
        "input_series": [
            {"series": _named(one), "values": _told(scraped, one)} for one in sorted(_all(scraped), key=sorted)
        ],
        "promql_expr_test": [
            {
                "expr": expression,
                "eval_time": f"{end:.0f}s",
                "exp_samples": [{"labels": _named(one), "value": value} for one, value in found.items()],
            }
            for expression, found in expected.items()
        ],
    }
    test = {"rule_files": [str(rules)] if rules else [], "evaluation_interval": f"{EVERY_S:.0f}s", "tests": [asked]}
    (folder / "promtool.yaml").write_text(json.dumps(test))  # JSON is YAML, too
    said = promtool("test", "rules", str(folder / "promtool.yaml"))
    return "" if said.returncode == 0 else said.stdout + said.stderr


def _all(scraped: Scraped) -> set[Labels]:
    return {one for _, told in scraped.samples for one in told}


def _named(labels: Labels) -> str:
    others = ", ".join(f"{key}={json.dumps(value)}" for key, value in sorted(labels) if key != "__name__")
    return dict(labels).get("__name__", "") + "{" + others + "}"


def _told(scraped: Scraped, labels: Labels) -> str:
    """Write a series as promtool reads it, alike values together; where it ends it is stale, as after any scrape."""
    runs: list[tuple[str, int]] = []
    before = ""
    for _, told in scraped.samples:
        if labels in told:
            now = format(Decimal(repr(told[labels])), "f")
        else:
            now = "_" if before in ("", "_", "stale") else "stale"
        runs[-1:] = [(now, runs[-1][1] + 1)] if runs and runs[-1][0] == now else [*runs[-1:], (now, 1)]
        before = now
    return " ".join(
        now if times == 1 else f"{now}x{times}" if now == "_" else f"{now}+0x{times - 1}" for now, times in runs
    )
