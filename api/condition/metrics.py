"""The figures in the form that Prometheus reads: what was counted of requests, and what stands in the database."""

from __future__ import annotations

import datetime
import importlib.metadata
import shutil
from pathlib import Path

from prometheus_client import CollectorRegistry, Gauge, generate_latest
from sqlmodel import Session

from api.backup.keeper import BackupKeeper, newest_of
from api.chain.keeper import ChainKeeper
from api.condition.figures import figures
from api.http.measures import REGISTRY
from api.workers.keepers import Keepers


def metrics(
    session: Session,
    data: Path,
    backups: BackupKeeper,
    chain: ChainKeeper,
    keepers: Keepers,
    *,
    work: datetime.datetime,
    machine: datetime.datetime,
) -> bytes:
    """Return all figures at a moment, by the clock of the work and by the machine's; ages are in seconds."""
    now, registry = figures(session, work), CollectorRegistry()

    def gauge(name: str, words: str, value: float | None, **labels: str) -> None:
        if value is None:
            return
        one = known.get(name) or Gauge(f"eaveboard_{name}", words, tuple(labels), registry=registry)
        known[name] = one
        (one.labels(**labels) if labels else one).set(value)

    known: dict[str, Gauge] = {}
    gauge("info", "The program; always 1.", 1, version=importlib.metadata.version("eaveboard"))
    for state, number in now.runs.items():
        gauge("runs", "Runs of the planner by how they are or ended.", number, state=state)
    gauge("plan_gap_percent", "How much dearer than a best plan the newest plan may be.", now.gap_percent)
    gauge("run_wait_seconds", "How long the run has waited that waits longest.", now.longest_wait_s or 0.0)
    gauge("forecast_wanted", "1: forecasts are to be fetched.", int(now.forecast_wanted))
    gauge("forecast_age_seconds", "Age of the newest forecast, from when it was issued.", now.forecast_age_s)
    gauge("forecast_failing_places", "Places for which the last fetch of a forecast failed.", now.forecast_failing)
    gauge("roads_wanted", "1: drives are timed by a source, not estimated.", int(now.roads_wanted))
    gauge("roads_age_seconds", "Seconds since the source of drives timed one last.", now.roads_age_s)
    if now.roads_wanted:
        gauge("roads_failing_seconds", "How long that source has failed; 0: it does not.", now.roads_failing_s or 0.0)
    owed = (machine - now.call_since).total_seconds() if now.call_since else 0.0
    gauge("webhook_wait_seconds", "How long the call to a webhook has waited that waits longest.", owed)
    gauge("shorts_open", "Shorts that have not arrived.", now.shorts_open)
    gauge("messages_waiting", "Messages to customers that nobody has sent or told.", now.messages_waiting)
    gauge("cases_open", "Changed visits that still need a time.", now.cases_open)
    gauge("visits_open", "Visits that are open.", now.visits_open)
    gauge("posted_age_seconds", "Seconds since a week was posted last.", now.last_posted_s)
    gauge(
        "chain_broken", "Faults in the newest part of the chain of hashes when the service started.", len(chain.found)
    )
    gauge("data_free_bytes", "Bytes free on the disk of the data folder.", shutil.disk_usage(data).free)
    gauge("leads", "1: this worker does what is done in the background.", int(keepers.leads))
    for one in keepers.looked():
        gauge("keeper_failed", "1: its last look in the background failed.", int(one.failed), keeper=one.name)
    if backups.folder is not None:
        newest = newest_of(backups.folder, machine) if backups.folder.is_dir() else None
        gauge("backup_failed", "1: the last backup failed.", int(bool(backups.fault)))
        gauge(
            "backup_age_seconds", "Age of the newest backup.", (machine - newest[1]).total_seconds() if newest else None
        )
    return generate_latest(REGISTRY) + generate_latest(registry)
