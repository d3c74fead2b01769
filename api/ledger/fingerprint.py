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
        if spec is None:
            raise ModuleNotFoundError(module)
        folders = list(spec.submodule_search_locations or ())
        paths = sorted(path for folder in folders for path in Path(folder).rglob("*.py"))
        if not folders and spec.origin is not None:
            paths = [Path(spec.origin)]
        for path in paths:
            digest.update(path.name.encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()
