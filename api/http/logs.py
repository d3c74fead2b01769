"""What the service writes on standard error: lines for people or JSON for programs, with the request and run."""

from __future__ import annotations

import datetime
import json
import logging
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

# What the work at hand is of: "request" its id, "run" the number of a run.
_about: ContextVar[dict[str, str | int] | None] = ContextVar("about", default=None)
_OWN = "eaveboard"


@contextmanager
def about(**what: str | int) -> Iterator[None]:
    """Have every line that is logged inside name `what`, such as run=17."""
    token = _about.set({**(_about.get() or {}), **what})
    try:
        yield
    finally:
        _about.reset(token)


class _Json(logging.Formatter):
    """One object a line: at, level, logger, message, then what it is about and what was handed in as `said`."""

    def format(self, record: logging.LogRecord) -> str:
        at = datetime.datetime.fromtimestamp(record.created, datetime.UTC).isoformat(timespec="milliseconds")
        line: dict[str, object] = {"at": at, "level": record.levelname.lower(), "logger": record.name}
        line["message"] = record.getMessage()
        line |= _about.get() or {}
        line |= getattr(record, "said", {})
        if record.exc_info:
            line["exception"] = self.formatException(record.exc_info)
        return json.dumps(line, ensure_ascii=False, default=str)


class _Text(logging.Formatter):
    def format(self, record: logging.LogRecord) -> str:
        known = " ".join(f"{name} {value}" for name, value in (_about.get() or {}).items())
        return super().format(record) + (f" ({known})" if known else "")


def log_to_stderr(form: str) -> None:
    """Write what the service logs to standard error as `form`: text (from warnings on), or json (each request too)."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(_Json() if form == "json" else _Text("%(asctime)s %(levelname)s %(message)s"))
    logging.basicConfig(handlers=[handler], level=logging.WARNING, force=True)
    logging.getLogger(_OWN).setLevel(logging.INFO if form == "json" else logging.WARNING)
