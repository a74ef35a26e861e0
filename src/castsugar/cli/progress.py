"""What a terminal shows beside work that takes long: a bar, or seconds that run.

Nothing off a terminal, nothing with --json, nothing for work that is soon done; what
is printed takes it away first.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import sys
import threading
import time
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rich.console import Console

#: Quicker work shows nothing; how often the rest is drawn. [s]
PATIENCE, _PERIOD = 2.0, 0.25


class Progress:
    """One line on a console; `tick` draws it, from a thread of its own or a test."""

    def __init__(
        self,
        what: str,
        console: Callable[[], Console],
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._what = what
        self._console = console
        self._clock = clock
        self._lock = threading.Lock()
        self._live: Any = None
        self._began = self._quiet_since = clock()
        self._counted: tuple[int, int, str] | None = None

    def count(self, done: int, total: int, what: str) -> None:
        """Say how much is done; another total is other work."""
        with self._lock:
            if self._counted is None or self._counted[1:] != (total, what):
                self._began = self._clock()
            self._counted = (done, total, what)

    def tick(self) -> None:
        """Draw the line, if it is time."""
        with self._lock:
            if self._clock() - self._quiet_since < PATIENCE:
                return
            if self._live is None:
                self._live = _line(self._console())
                self._live.start()
            done, total, _ = self._counted or (0, None, "")
            self._live.update(
                0, completed=done, total=total, description=self._words(), refresh=True
            )

    def _words(self) -> str:
        """Return what stands beside the bar."""
        spent = self._clock() - self._began
        if self._counted is None:
            return f"{self._what}, {spent:.0f} s"
        done, total, what = self._counted
        told = f"{done:,} of {total:,} {what}"
        if not 0 < done < total:
            return told
        return f"{told}, about {spent / done * (total - done):.0f} s left"

    def clear(self) -> None:
        """Take the line away; it comes back where the work goes on for long."""
        with self._lock:
            self._quiet_since = self._clock()
            if self._live is not None:
                self._live.stop()
                self._live = None


def _line(console: Console) -> Any:
    """Return the line: a spinner, words, a bar; gone when it is stopped."""
    from rich.progress import BarColumn, SpinnerColumn, TextColumn
    from rich.progress import Progress as Live

    class Bar(BarColumn):
        """A bar of what is counted, else nothing."""

        def render(self, task: Any) -> Any:
            return "" if task.total is None else super().render(task)

    words = TextColumn("{task.description}", markup=False)
    live = Live(
        SpinnerColumn("line"), words, Bar(20), console=console, transient=True,
        auto_refresh=False, redirect_stdout=False, redirect_stderr=False,
    )  # fmt: skip
    live.add_task("", total=None)
    return live


# ----------------------------------------------------------------------------
# The line of the command that runs.

_shown: list[Progress] = []


def count(done: int, total: int, what: str) -> None:
    """Tell the line how much is done, where there is one."""
    for line in _shown:
        line.count(done, total, what)


def clear() -> None:
    """Take the line away before something is printed."""
    for line in _shown:
        line.clear()


@contextlib.contextmanager
def shown(options: argparse.Namespace) -> Iterator[None]:
    """Show how a command gets on."""
    terminal = sys.stderr.isatty() and os.environ.get("TERM") != "dumb"
    if not terminal or getattr(options, "json", False):
        yield
        return
    line, done = Progress(options.command, _terminal), threading.Event()

    def draw() -> None:
        while not done.wait(_PERIOD):
            line.tick()

    thread = threading.Thread(target=draw, daemon=True)
    _shown.append(line)
    thread.start()
    try:
        yield
    finally:
        done.set()
        thread.join()
        line.clear()
        _shown.remove(line)


def _terminal() -> Console:
    from rich.console import Console

    return Console(stderr=True)
