"""What befell a cluster, in sentences for the week sheet; the catalogues hold them as they stand here."""

from __future__ import annotations


def lacks_package(address: str) -> str:
    return f"The cluster at {address} needs a package more (eaveboard[cluster]); the work was done on this machine."


def not_reached(address: str) -> str:
    return f"The cluster at {address} could not be reached; the work was done on this machine instead."


def no_workers(address: str) -> str:
    return f"The cluster at {address} has no workers; the work was done on this machine instead."


def other_release(address: str, release: str) -> str:
    return f"Workers of the cluster at {address} are not of release {release}; the work was done on this machine."


def lost(address: str) -> str:
    return f"The cluster at {address} went away in mid-run; what was left was done on this machine instead."


def silent(address: str) -> str:
    return f"The cluster at {address} does not answer any more; what was left was done on this machine instead."


def emptied(address: str) -> str:
    return f"The cluster at {address} has no workers any more; what was left was done on this machine instead."


def workers_gone(count: int) -> str:
    if count == 1:
        return "A worker of the cluster went away in mid-run; what was lost with it was begun again."
    return f"{count} workers of the cluster went away in mid-run; what was lost with them was begun again."


def heavy_part() -> str:
    return "A part took several workers of the cluster with it; it was done on this machine instead."
