"""Standard error that may be lost: what nobody can take there is dropped, and the command goes on to its exit code."""

from __future__ import annotations

import io
import sys
from contextlib import suppress


class MayBeLost(io.TextIOWrapper):
    """A stream that drops what cannot be written, such as on a full disk, and tries again with what comes next."""

    def write(self, text: str) -> int:
        """Write `text`, or not; returns how many characters it has either way."""
        with suppress(OSError):
            super().write(text)
        return len(text)

    def flush(self) -> None:
        """Hand on what was written, or not."""
        with suppress(OSError):
            super().flush()


def let_errors_be_lost() -> None:
    """Have the process's standard error be one that may be lost, unless another stream has been put in its place."""
    known = sys.__stderr__
    if known is not None and sys.stderr is known:
        plain = io.FileIO(known.fileno(), "w", closefd=False)  # without a buffer: nothing is left over to fail later
        sys.stderr = MayBeLost(plain, known.encoding, known.errors, write_through=True)
