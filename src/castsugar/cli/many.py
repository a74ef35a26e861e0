"""What sweep and map share: options, workers, progress, tables."""

from __future__ import annotations

import argparse
import contextlib
import math
import signal
import sys
import time
from collections.abc import Iterator
from concurrent.futures import Executor
from typing import TYPE_CHECKING, Any

from castsugar.cli.output import add_force_option, add_picture_option, write_file

if TYPE_CHECKING:
    import pandas as pd

    from castsugar.cli.conditions import Shared
    from castsugar.cli.interrupt import Hold
    from castsugar.mix.blends import Blends


# ----------------------------------------------------------------------------
# A line of progress on a terminal, for work that takes longer than two seconds.

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


# ----------------------------------------------------------------------------
# Thousands of mixes from one command: parts, workers, progress, interruption.

#: Written as the status of a row that an interruption left undone.
UNDONE = "not computed: interrupted"


def add_many_options(parser: argparse.ArgumentParser, drawn: str) -> None:
    """Add the options of commands that compute many mixes, and draw them."""
    parser.add_argument(
        "--csv", metavar="FILE", help="write every mix with all columns to FILE"
    )
    add_picture_option(parser, {drawn: f"the {drawn}"})
    add_force_option(parser)
    parser.add_argument(
        "--workers",
        type=int,
        default=1,
        metavar="N",
        help="processes that share the work (default 1)",
    )


Rows = list[dict[str, Any]]


def evaluate_many(
    blends: Blends, conditions: Shared, workers: int, hold: Hold
) -> tuple[Rows, bool]:
    """Evaluate blends part by part; only this is what Ctrl-C may stop.

    Returns
    -------
    rows : list of dict
        One row a blend, whatever happened.
    complete : bool
        False if the user interrupted; the rows left say so in their status.
    """
    from castsugar.evaluation import evaluate
    from castsugar.thermo.solver import CHUNK

    size = CHUNK * max(workers, 1)
    progress = Progress(len(blends))
    parts: list[pd.DataFrame] = []
    try:
        with hold.work(), _pool(workers, len(blends)) as executor:
            for start in range(0, len(blends), size):
                part = blends.take(slice(start, start + size))
                options: dict[str, Any] = conditions.evaluate_options()
                parts.append(evaluate(part, executor=executor, **options))
                progress.update(start + len(part))
    except KeyboardInterrupt:
        done = sum(map(len, parts))
        parts.append(_undone(blends.take(slice(done, None)), conditions))
        return _rows(parts), False
    finally:
        progress.close()
    return _rows(parts), True


def _rows(parts: list[pd.DataFrame]) -> Rows:
    """Return the rows of all parts as plain values."""
    return [
        {str(k): v for k, v in row.items()}
        for part in parts
        for row in part.to_dict("records")
    ]


@contextlib.contextmanager
def _pool(workers: int, count: int) -> Iterator[Executor | None]:
    """Open a pool of processes if there is work for one."""
    from castsugar.errors import InputError
    from castsugar.thermo.solver import CHUNK

    if workers < 1:
        raise InputError(f"--workers is {workers}; it must be 1 or more")
    if workers == 1 or count <= CHUNK:
        yield None
        return
    from concurrent.futures import ProcessPoolExecutor

    chunks = -(-count // CHUNK)  # a process more would have nothing to do
    # Ctrl-C reaches the workers too; they finish what they have in hand.
    deaf = (signal.SIGINT, signal.SIG_IGN)
    with ProcessPoolExecutor(
        min(workers, chunks), initializer=signal.signal, initargs=deaf
    ) as pool:
        yield pool


def _undone(blends: Blends, conditions: Shared) -> pd.DataFrame:
    """Return rows of blends that were not reached."""
    import pandas as pd

    from castsugar import rows
    from castsugar.columns import COLUMNS

    count = len(blends)
    known = rows.not_asked("kitchen", count) | rows.not_asked("motor", count)
    known |= rows.mix_columns(blends)
    known |= rows.not_confirmed(len(blends))
    known["status"] = [UNDONE] * len(blends)
    known["flags"] = ["; ".join(f) for f in blends.flags]
    hidden = () if conditions.uncertainty else ("uncertainty",)
    names = [c.key for c in COLUMNS if c.group not in hidden]
    return pd.DataFrame(known, columns=names)


def withheld(row: dict[str, Any]) -> dict[str, Any]:
    """Return the row of a mix that is out of scope: its name, and why it is empty."""
    empty = {key: math.nan for key, value in row.items() if isinstance(value, float)}
    status = "not computed: sugars are less than nine tenths of what burns"
    told = {"status": status, "flags": "", "confirmation": "not asked"}
    classes = {"flow_class": "not computed", "burn_law_origin": "not computed"}
    return row | empty | told | {k: v for k, v in classes.items() if k in row}


def write_table(options: argparse.Namespace, rows: Rows) -> None:
    """Write all rows to the CSV file, if one was asked for."""
    if not options.csv:
        return
    from castsugar.report import data

    write_file(options, options.csv, data.to_csv(rows, list(rows[0])))
