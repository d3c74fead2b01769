"""Judges a bill of materials: `python -m tests.bill FILE…` names what is not in it, and what has no version or license.

Every package that is pinned must stand in it, and what is shipped must say its license.
"""

from __future__ import annotations

import json
import re
import sys
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[1]


def plain(name: str) -> str:
    """Return a package's name as registries compare it."""
    return re.sub(r"[-_.]+", "-", name).lower()


def pinned() -> dict[str, str]:
    """Return the Python packages that are pinned, by name, with their versions; those for other systems left out."""
    found = {}
    for line in (ROOT / "requirements.txt").read_text().splitlines():
        entry = re.match(r"([A-Za-z0-9._-]+)(?:\[[^]]*\])?==([^\s;]+)\s*(;.*)?$", line.strip())
        if entry is not None and not entry[3]:
            found[plain(entry[1])] = entry[2]
    return found


def faults(bill: dict[str, Any], wanted: dict[str, str]) -> list[str]:
    """Return what is wrong with a bill, a sentence each; `wanted`: packages that must stand in it with this version."""
    told = []
    if bill.get("bomFormat") != "CycloneDX":
        told.append("it is no CycloneDX document")
    here = {plain(one["name"]): one for one in bill.get("components", ())}
    for name, version in sorted(wanted.items()):
        if name not in here:
            told.append(f"{name} is pinned and not in it")
        elif here[name].get("version") != version:
            told.append(f"{name} is in it as {here[name].get('version')}, pinned as {version}")
    told += [f"{one['name']} has no version" for one in bill.get("components", ()) if not one.get("version")]
    told += [f"{one['name']} has no address (purl)" for one in bill.get("components", ()) if not one.get("purl")]
    return told


def main(files: list[str]) -> int:
    """Judge the files, of Python first; print what is wrong or what they hold; return 1 where something is."""
    wrong = 0
    for n, file in enumerate(files):
        bill = json.loads(Path(file).read_text())
        told = faults(bill, pinned() if n == 0 else {})
        without = [one["name"] for one in bill.get("components", ()) if not one.get("licenses")]
        print(
            f"{file}: {len(bill.get('components', ()))} packages"
            + (f"; no license told: {', '.join(without)}" if without else "")
        )
        for one in told:
            print(f"{file}: {one}", file=sys.stderr)
        wrong += len(told)
    return min(wrong, 1)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
