"""Fingerprints of inputs: what was made of the same inputs by the same code need not be made again."""

from __future__ import annotations

import functools
import hashlib
import importlib.util
from pathlib import Path

import msgspec


def fingerprint(*parts: object) -> str:
    """Return 64 hexadecimal digits that change when any of `parts` (JSON-like values, structs, bytes) changes."""
    digest = hashlib.sha256()
    for part in parts:
        data = part if isinstance(part, bytes) else msgspec.json.encode(part, order="sorted")
        digest.update(len(data).to_bytes(8, "big") + data)
    return digest.hexdigest()


@functools.cache
def code_of(*modules: str) -> str:
    """Return the fingerprint of the sources of `modules` (packages with all that lies in them)."""
    digest = hashlib.sha256()
    for module in modules:
        spec = importlib.util.find_spec(module)
        if spec is None or spec.origin is None:
            raise ModuleNotFoundError(module)
        origin = Path(spec.origin)
        paths = sorted(origin.parent.rglob("*.py")) if spec.submodule_search_locations else [origin]
        for path in paths:
            digest.update(path.name.encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()
