"""Ctrl-C stops work that is going on, never the writing of what was done."""

from __future__ import annotations

import argparse
import contextlib
import signal
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from types import FrameType
from typing import TYPE_CHECKING, Any

from castsugar.cli.output import drawn, write_file
from castsugar.cli.screen import remark

if TYPE_CHECKING:
    from castsugar.plot.sheet import Drawing

#: Exit code of what was interrupted.
INTERRUPTED = 130

#: Marks a result that Ctrl-C kept the second solver from.
UNCONFIRMED = "INCOMPLETE: interrupted before the independent check was done"


def unconfirmed(rows: Sequence[Mapping[str, Any]]) -> list[str]:
    """Return the mark of rows that Ctrl-C kept from being solved again, or nothing."""
    from castsugar.confirmation import INTERRUPTED as UNREACHED

    return [UNCONFIRMED] if any(r["confirmation"] == UNREACHED for r in rows) else []


def exit_code(rows: Sequence[Mapping[str, Any]], *, complete: bool) -> int:
    """Return 0; 3 if a row did not converge; 130 if Ctrl-C left something out."""
    if unconfirmed(rows) or not complete:
        return INTERRUPTED
    return 3 if any(r["status"].startswith("no convergence") for r in rows) else 0


class Hold:
    """Keeps Ctrl-C waiting, except inside :meth:`work`."""

    def __init__(self) -> None:
        self.asked = False
        self._working = False

    def note(self, number: int, frame: FrameType | None) -> None:
        """Take the signal."""
        self.asked = True
        if self._working:
            raise KeyboardInterrupt

    @contextlib.contextmanager
    def work(self) -> Iterator[None]:
        """Let Ctrl-C through, one that waits included: who calls catches it.

        Raises
        ------
        KeyboardInterrupt
        """
        try:
            self._working = True
            if self.asked:
                raise KeyboardInterrupt
            yield
        finally:
            self._working = self.asked = False


@contextlib.contextmanager
def held_back() -> Iterator[Hold]:
    """Finish what is inside before Ctrl-C ends the command.

    Raises
    ------
    KeyboardInterrupt
        At the end, if Ctrl-C was pressed meanwhile.
    """
    hold = Hold()
    before = signal.getsignal(signal.SIGINT)
    usual = before is signal.default_int_handler
    if not usual or threading.current_thread() is not threading.main_thread():
        yield hold  # the program that called decides what Ctrl-C does
        return
    signal.signal(signal.SIGINT, hold.note)
    try:
        yield hold
    finally:
        signal.signal(signal.SIGINT, before)
    if hold.asked:
        raise KeyboardInterrupt


def write_pictures(
    options: argparse.Namespace,
    hold: Hold,
    drawers: Mapping[str, Callable[[], Drawing]],
) -> bool:
    """Draw and write pictures; return whether Ctrl-C let all of them be drawn.

    `drawers` maps each picture, as `options.picture` calls it, to what draws it.
    """
    asked: Mapping[str, str] = options.picture
    left = {file: drawers[what] for what, file in asked.items() if what in drawers}
    try:
        for name in [*left]:
            with hold.work():
                picture = drawn(name, left[name]())
            write_file(options, name, picture)
            del left[name]
    except KeyboardInterrupt:
        remark(f"castsugar: interrupted; not drawn: {', '.join(left)}")
    return not left
