"""The dashboard as it looks, and whether Prometheus takes all that ops/watch asks of it: `ops/dashboard-picture`.

    .venv/bin/python -m tests.watched DATA OUT.png --seconds 60

serves a copy of a planned data folder, has Prometheus (Debian's package `prometheus`) read its figures and load the
alerts, and meanwhile opens pages, guesses a password, plans the week and writes while the database is locked, so that
something of all is told. Then every expression of the dashboard must give a series, every figure that an alert names
must be there, and every alert must be evaluated; the panels are drawn in their places of what Prometheus answered.
Grafana itself draws them with its own looks.
"""

from __future__ import annotations

import argparse
import datetime
import json
import os
import re
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from typing import Any

import httpx
import yaml
from sqlmodel import Session, select

from api import tables
from api.access.accounts import Role
from api.database import open_database, transaction
from api.settings import sqlite_address
from tests.killed_workers import free_port
from tests.service.cast import JSON, NAMES, running, settings_for, sign_in
from tests.waiting import until

ROOT = Path(__file__).parents[1]
WATCH = ROOT / "ops" / "watch"
MONDAY = "2027-04-12"
SCRAPE_S = 2
COLUMNS = 24  # of a dashboard, in which places are given
UNITS = {"none": "", "percent": " %", "s": " s", "reqps": " a second", "bytes": " GB"}
PAGES = ("/", f"/weeks/{MONDAY}", "/jobs", "/bench", "/messages", "/rebooking", "/roads", "/settings/prices")


@contextmanager
def process(*command: str, env: dict[str, str] | None = None) -> Iterator[subprocess.Popen[bytes]]:
    with subprocess.Popen(command, env=env, cwd=ROOT, stderr=subprocess.DEVNULL, stdout=subprocess.DEVNULL) as one:
        try:
            yield one
        finally:
            one.terminate()
            one.wait(60)


def have_roads(session: Session, now: datetime.datetime) -> None:
    """Have drives come from an extract that was there two days ago and is gone now."""
    session.merge(tables.RoadSource(id=1, kind="extract", tiles="town"))
    session.add(tables.RoadTable(asked="extract town", got_at=now - datetime.timedelta(days=2)))


def answers(address: str) -> bool:
    with suppress(httpx.TransportError):
        return httpx.get(address).is_success
    return False


@contextmanager
def service(folder: Path, port: int, **settings: str) -> Iterator[str]:
    """Serve `folder` with the demo's clock and a first backup, and more settings by their names; give its address."""
    own = {k: v for k, v in os.environ.items() if not k.startswith("EAVEBOARD_")}
    own |= {"EAVEBOARD_DATA": str(folder), "EAVEBOARD_PORT": str(port), "EAVEBOARD_PASSWORD_COST": "quick"}
    own |= {"EAVEBOARD_CLOCK": "forecast", "EAVEBOARD_BACKUPS": str(folder / "backups")} | settings
    with process(sys.executable, "-c", "from api.cli import main; main()", "serve", env=own) as one:
        address = f"http://127.0.0.1:{port}"
        until(lambda: one.poll() is not None or answers(f"{address}/health"))
        assert one.poll() is None, "the service did not start"
        yield address


def settings_of_prometheus(folder: Path, watched: str, every_s: int, token: str) -> Path:
    """Write the settings of ops/watch as they say, for another address, a shorter interval and a token, where given."""
    text = (WATCH / "prometheus.yaml").read_text()
    changes = {"127.0.0.1:8410": watched.split("//")[1], "alerts.yaml": str(WATCH / "alerts.yaml")}
    if token:
        (folder / "token").write_text(token)
        changes |= {"# authorization:": "authorization:", "/etc/prometheus/eaveboard-token": str(folder / "token")}
    for old, new in changes.items():
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    known = yaml.safe_load(text)
    known["scrape_configs"][0]["scrape_interval"] = f"{every_s}s"
    known["global"] = {"evaluation_interval": f"{every_s}s"}
    file = folder / "prometheus.yml"
    file.write_text(yaml.safe_dump(known))
    return file


@contextmanager
def prometheus(
    folder: Path, watched: str, port: int, *, every_s: int = SCRAPE_S, token: str = ""
) -> Iterator[httpx.Client]:
    """Have Prometheus read the figures of `watched` and the alerts; give a client of it."""
    program = shutil.which("prometheus")
    if program is None:
        sys.exit("Prometheus is not here: apt-get install prometheus")
    known = settings_of_prometheus(folder, watched, every_s, token)
    own = f"--web.listen-address=127.0.0.1:{port}"
    with (
        process(program, f"--config.file={known}", f"--storage.tsdb.path={folder}/series", own),
        httpx.Client(base_url=f"http://127.0.0.1:{port}/api/v1", timeout=60) as client,
    ):
        until(lambda: answers(f"http://127.0.0.1:{port}/-/ready"))
        yield client


def use(address: str, folder: Path, seconds: float) -> None:
    """Do for so long what people do: open pages, guess a password, plan, and write while nothing can be written."""
    end = time.monotonic() + seconds
    with httpx.Client(base_url=address, timeout=120, follow_redirects=True) as client:
        csrf = client.get("/sign-in", headers=JSON).json()["csrf"]
        time.sleep(5 * SCRAPE_S)  # what was counted before it looked has not grown for whoever looks on
        client.post("/sign-in", data={"name": NAMES[Role.manager], "password": "wrong", "csrf": csrf}, headers=JSON)
        sign_in(client, NAMES[Role.manager])  # type: ignore[arg-type]
        client.post(f"/weeks/{MONDAY}/runs", json={"seconds": 20}, headers=JSON).raise_for_status()
        with closing(sqlite3.connect(folder / "eaveboard.sqlite", isolation_level=None)) as other:
            other.execute("BEGIN IMMEDIATE")
            refused = client.post("/customers", json={"name": "Nobody yet"}, headers=JSON)
            other.execute("ROLLBACK")
        assert refused.status_code == 503, refused.text
        while time.monotonic() < end:
            for page in PAGES:
                client.get(page).raise_for_status()


def asked(client: httpx.Client, kind: str, **given: Any) -> list[dict[str, Any]]:
    """Return the series that Prometheus answers; raises `AssertionError` with its words where it refuses."""
    answer = client.get(f"/{kind}", params=given)
    assert answer.is_success, f"{given}: {answer.text}"
    found: list[dict[str, Any]] = answer.json()["data"]["result"]
    return found


def lacking(client: httpx.Client, panels: list[dict[str, Any]], begun: float) -> list[str]:
    """Return what Prometheus has had no series of since `begun`, or could not evaluate, in words."""
    every = {"start": begun, "end": time.time(), "step": SCRAPE_S}
    found = [
        f"no series: {target['expr']} ({panel['title']})"
        for panel in panels
        for target in panel["targets"]
        if not asked(client, "query_range", query=target["expr"], **every)
    ]
    [group] = client.get("/rules").json()["data"]["groups"]
    for rule in group["rules"]:
        if rule["health"] != "ok":
            found.append(f"{rule['name']}: {rule['health']} {rule.get('lastError', '')}")
        for name in set(re.findall(r"\b(?:eaveboard_\w+|up)\b(?=[\s{\[<>=)]|$)", rule["query"])):
            if not asked(client, "query_range", query=name, **every):
                found.append(f"no series: {name} ({rule['name']})")
    return found


def said(value: float) -> str:
    return f"{value:,.0f}" if abs(value) >= 1000 else f"{value:.4g}"


def draw(client: httpx.Client, panels: list[dict[str, Any]], begun: float, out: Path) -> None:
    """Draw the panels in their places, each line named as the dashboard names it."""
    import matplotlib as mpl

    mpl.use("Agg")
    from matplotlib import pyplot as plt
    from matplotlib.ticker import FuncFormatter, MaxNLocator

    rows = max(panel["gridPos"]["y"] + panel["gridPos"]["h"] for panel in panels)
    figure = plt.figure(figsize=(COLUMNS * 0.75, rows * 0.42), layout="constrained")
    grid = figure.add_gridspec(rows, COLUMNS)
    for panel in panels:
        at, unit = panel["gridPos"], UNITS[panel["fieldConfig"]["defaults"]["unit"]]
        factor = 1e-9 if unit == " GB" else 1.0
        axes = figure.add_subplot(grid[at["y"] : at["y"] + at["h"], at["x"] : at["x"] + at["w"]])
        axes.set_title(panel["title"], loc="left", fontsize=10)
        for target in panel["targets"]:
            if panel["type"] == "stat":
                values = [one["value"][1] for one in asked(client, "query", query=target["expr"])]
                axes.text(0.5, 0.5, " ".join(values) + unit, ha="center", va="center", fontsize=40)
                axes.set_axis_off()
                continue
            every = {"start": begun, "end": time.time(), "step": SCRAPE_S}
            for one in asked(client, "query_range", query=target["expr"], **every):
                words = re.sub(r"{{(\w+)}}", lambda m, one=one: one["metric"].get(m[1], ""), target["legendFormat"])
                times, values = zip(*((t - begun, factor * float(v)) for t, v in one["values"]), strict=True)
                axes.plot(times, values, linewidth=1, label=words or None)
            axes.yaxis.set_major_locator(MaxNLocator(4))
            axes.yaxis.set_major_formatter(FuncFormatter(lambda v, _, unit=unit: said(v) + unit))
            axes.xaxis.set_major_formatter(FuncFormatter(lambda v, _: f"{v:.0f} s"))
            axes.tick_params(labelsize=7)
            axes.grid(linewidth=0.3)
            top = 1.3 * axes.dataLim.y1 if axes.lines else 0
            top = top or 1
            axes.set_ylim(-0.04 * top, top)  # what is nothing is seen as a line
            if axes.get_legend_handles_labels()[1]:
                axes.legend(fontsize=6, ncols=2, loc="upper left")
    figure.savefig(out, dpi=75)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("data", type=Path)
    parser.add_argument("out", type=Path)
    parser.add_argument("--seconds", type=float, default=60)
    parser.add_argument("--port", type=int, help="of the service; Prometheus takes the next (default: free ones)")
    given = parser.parse_args()
    panels = json.loads((WATCH / "dashboard.json").read_text())["panels"]
    first, second = (given.port, given.port + 1) if given.port else (free_port(), free_port())
    with tempfile.TemporaryDirectory(prefix="eave-watched-") as made:
        folder = Path(shutil.copytree(given.data, Path(made) / "data"))
        with running(settings_for(folder)):
            pass  # makes the cast's accounts
        database = open_database(sqlite_address(folder))
        with transaction(database) as session:
            have_roads(session, session.exec(select(tables.StoredForecast.issued)).one())  # when its clock begins
        database.dispose()
        with service(folder, first) as address, prometheus(Path(made), address, second) as client:
            begun = time.time()
            use(address, folder, given.seconds)
            found = lacking(client, panels, begun)
            draw(client, panels, begun, given.out)
            [group] = client.get("/rules").json()["data"]["groups"]
            for rule in group["rules"]:
                print(f"{rule['name']:26} {rule['health']:3} {rule['state']}")
            print(f"{len(panels)} panels, {len(group['rules'])} alerts; {len(found)} of what they ask is lacking")
    for one in found:
        print(one)
    sys.exit(1 if found else 0)


if __name__ == "__main__":
    main()
