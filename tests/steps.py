"""What crews sign for each kind of work that a business begins with."""

from __future__ import annotations

import importlib

_BEGUN_WITH = importlib.import_module("api.migrations.versions.0026_kinds").KINDS
CHECKS: dict[str, tuple[str, ...]] = {kind["id"]: tuple(kind["steps"]) for kind in _BEGUN_WITH}
