"""A line of progress on a terminal, for work that takes longer than two seconds."""

from __future__ import annotations

import sys
import time

#: Quicker work shows nothing [s].
PATIENCE = 2.0


class Progress:
    """Counts mixes and says how long the rest will take; silent off a terminal."""

    def __init__(self, total: int, what: str = "mixes") -> None:
        self.total = total
        self.what = what
        self._started = time.monotonic()
        self._shown = False

    def update(self, done: int) -> None:
        """Show how many are done, if it is worth it."""
        spent = time.monotonic() - self._started
        if not sys.stderr.isatty() or spent < PATIENCE or not 0 < done < self.total:
            return
        left = spent / done * (self.total - done)
        sys.stderr.write(
            f"\r{done:,} of {self.total:,} {self.what}, about {left:.0f} s left \x1b[K"
        )
        sys.stderr.flush()
        self._shown = True

    def close(self) -> None:
        """Remove the line."""
        if self._shown:
            sys.stderr.write("\r\x1b[K")
            sys.stderr.flush()
