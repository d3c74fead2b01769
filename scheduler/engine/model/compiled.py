"""How the engine's loops are compiled."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import numba

F = TypeVar("F", bound=Callable[..., Any])

_COMPILED: dict[str, Any] = {"cache": True, "nogil": True}
_INLINED: dict[str, Any] = {**_COMPILED, "forceinline": True, "_nrt": False}  # numba's reference counting left out


def compiled(function: F) -> F:
    """Compile a function; numba keeps the result beside its module, and other threads run while it does."""
    made: F = numba.njit(**_COMPILED)(function)
    return made


def inlined(function: F) -> F:
    """Compile a function into each of its callers, without counting references to the arrays that it is given.

    For the innermost steps: neither it nor what it calls may make an array. Counting made the search for routes two to
    eight times slower (measured), since arrays in named tuples are counted at every access.
    """
    made: F = numba.njit(**_INLINED)(function)
    return made
