"""Thousands of mixes part by part: here, in workers or on a cluster; kept in columns.

A part is a range of a rule. Its table goes to the file as soon as it is its turn; what
stays of it is what the answer needs.
"""

from __future__ import annotations

import argparse
import contextlib
import math
from collections import deque
from collections.abc import Callable, Generator, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from castsugar import rows
from castsugar.cli import progress
from castsugar.cli.output import is_parquet, write_in_parts
from castsugar.cli.workers import workers_of
from castsugar.columns import COLUMN, COLUMNS
from castsugar.frozen import dataclass
from castsugar.limits import Judgement, Limit, judge
from castsugar.mix.blends import Rule, Some
from castsugar.report.sweep import BREAKS, WINDOW, broken_limits

if TYPE_CHECKING:
    from castsugar.cli.interrupt import Hold
    from castsugar.cli.workers import Crew
    from castsugar.mix.blends import Blends
    from castsugar.rows import Columns

#: Written as the status of a row that an interruption left undone.
UNDONE = "not computed: interrupted"

#: Status of a mix that is out of scope.
_OUTSIDE = "not computed: sugars are less than nine tenths of what burns"

#: Chunks of the solver in a part. Any number gives the same bytes; more of them hold
#: more memory, and leave the last workers waiting.
CHUNKS = 1

#: More mixes than these are not kept whole: no JSON, no picture, no table on a screen.
WHOLE = 130_000

#: What is kept of each of more mixes, beside shares, limits and what is shown.
_KEPT = ("status", "flags", "characteristic_velocity_m_s", "pours_probability")


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A range of mixes."""

    start: int
    stop: int
    kept: Columns  # columns that stay
    judged: tuple[Judgement, ...]
    #: Bytes or mapping: what the file gets: lines of CSV, or columns.
    table: bytes | Columns


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Task:
    """What is computed of the mixes of a rule; a worker gets it with a range."""

    rule: Rule
    shares: tuple[str, ...]  # keys of the shares of its items
    limits: tuple[Limit, ...]
    options: Mapping[str, Any]  # as for evaluation.evaluate_columns
    file: str = ""  # "csv", "parquet" or ""
    shown: tuple[str, ...] = ()  # columns that are kept whatever the number of mixes

    def part(self, start: int, stop: int) -> Part:
        """Compute a range."""
        return self._made(start, *self.computed(slice(start, stop)))

    def computed(self, some: Some) -> tuple[Blends, Columns]:
        """Compute some of the mixes; return them and the columns of the table."""
        from castsugar.evaluation import evaluate_columns

        blends = self.rule.blends(some)
        columns = evaluate_columns(blends, **self.options)
        _withhold(columns, blends.outside)
        return blends, columns

    def judged(self, some: Some) -> tuple[Judgement, ...]:
        """Compute some of the mixes and judge them."""
        return self._made(0, *self.computed(some)).judged

    def undone(self, start: int, stop: int) -> Part:
        """Return a range that was not reached."""
        blends = self.rule.blends(slice(start, stop))
        count = len(blends)
        columns = rows.not_asked("kitchen", count) | rows.not_asked("motor", count)
        columns |= rows.mix_columns(blends) | rows.not_confirmed(count)
        columns["status"] = [UNDONE] * count
        columns["flags"] = ["; ".join(f) for f in blends.flags]
        for column in COLUMNS:
            if column.group in ("chamber", "nozzle"):
                columns.setdefault(column.key, np.full(count, math.nan))
        _withhold(columns, blends.outside)
        return self._made(start, blends, columns)

    def _made(self, start: int, blends: Blends, columns: Columns) -> Part:
        """Complete the columns, judge them and write them."""
        if self.options["kitchen"] is not None:
            low, high = (columns[f"pour_window_{end}_C"] for end in ("low", "high"))
            columns[WINDOW.key] = high - low
        shares = 100.0 * blends.shares
        whole = dict(zip(self.shares, shares.T, strict=True))
        whole |= {key: columns[key] for key in rows.in_order(columns)}
        judged = judge(self.limits, whole)
        if judged:
            whole[BREAKS.key] = broken_limits(judged)
        kept = whole
        if len(self.rule.points) > WHOLE:
            keys = {*self.shares, *_KEPT, *self.shown}
            kept = {key: whole[key] for key in whole if key in keys}
        return Part(
            start=start,
            stop=start + len(blends),
            kept=kept,
            judged=judged,
            table=self._table(start, whole),
        )

    def _table(self, start: int, whole: Columns) -> bytes | Columns:
        """Return what the file gets of a range; the first of a CSV with the heads."""
        known = {*self.shares, *COLUMN, WINDOW.key, BREAKS.key}
        columns = {key: values for key, values in whole.items() if key in known}
        if self.file != "csv":
            return columns if self.file else b""
        from castsugar.report.document import csv_lines

        heads = "" if start else csv_lines(*([key] for key in columns))
        return (heads + csv_lines(*columns.values())).encode()


def _withhold(columns: Columns, outside: np.ndarray[Any, Any]) -> None:
    """Empty the rows of mixes that are out of scope, and say why."""
    if not outside.any():
        return
    words = {"status": _OUTSIDE, "flags": "", "confirmation": "not asked"}
    words |= dict.fromkeys(rows.WINGS.values(), "not computed")
    for key, values in columns.items():
        if isinstance(values, np.ndarray):
            columns[key] = np.where(outside, math.nan, values)
        elif key in words:
            both = zip(values, outside, strict=True)
            columns[key] = [words[key] if out else value for value, out in both]


# ----------------------------------------------------------------------------
# What stays of all parts.


class Texts(Sequence[str]):
    """A column of words, each different one once."""

    def __init__(self, count: int) -> None:
        self._codes: np.ndarray[Any, Any] = np.zeros(count, np.uint16)
        self._places = {"": 0}
        self._words = [""]

    def put(self, start: int, words: Sequence[str]) -> None:
        """Write some of the column."""
        for word in words:
            if word not in self._places:
                self._places[word] = len(self._words)
                self._words.append(word)
        if len(self._words) > np.iinfo(self._codes.dtype).max:
            self._codes = self._codes.astype(np.uint32)
        codes = [self._places[word] for word in words]
        self._codes[start : start + len(words)] = codes

    def __len__(self) -> int:
        return len(self._codes)

    def __getitem__(self, place: Any) -> Any:
        if isinstance(place, slice):
            return [self._words[code] for code in self._codes[place]]
        return self._words[self._codes[place]]

    def __iter__(self) -> Iterator[str]:
        return map(self._words.__getitem__, self._codes)


class Kept:
    """What stays of all mixes: numbers as arrays, words as :class:`Texts`."""

    def __init__(self, count: int, limits: Sequence[Limit]) -> None:
        self.count = count
        self.limits = limits
        self.reached = 0
        self.table: dict[str, Any] = {}
        self._judged: dict[tuple[int, str], Any] = {}

    def add(self, part: Part) -> None:
        """Take a part in."""
        for key, values in part.kept.items():
            self._fill(self.table, key, part.start, values)
        for place, one in enumerate(part.judged):
            self._fill(self._judged, (place, "values"), part.start, one.values)
            self._fill(self._judged, (place, "reasons"), part.start, one.reasons)
        self.reached = part.stop

    def _fill(self, whole: dict[Any, Any], key: Any, start: int, values: Any) -> None:
        numbers = isinstance(values, np.ndarray)
        if key not in whole:
            blank = np.full(self.count, math.nan) if numbers else Texts(self.count)
            whole[key] = blank
        if numbers:
            whole[key][start : start + len(values)] = values
        else:
            whole[key].put(start, values)

    @property
    def judged(self) -> tuple[Judgement, ...]:
        """Return how all mixes stand to each limit."""
        return tuple(
            Judgement(
                limit=limit,
                values=self._judged[place, "values"],
                reasons=self._judged[place, "reasons"],
            )
            for place, limit in enumerate(self.limits)
        )


# ----------------------------------------------------------------------------
# Who computes them, and what Ctrl-C leaves.


def compute(task: Task, options: argparse.Namespace, hold: Hold) -> tuple[Kept, bool]:
    """Compute all mixes part by part; only this is what Ctrl-C may stop.

    Parts are cut by index alone, whoever computes them. Returns what stays of them, and
    False if the user interrupted: the rows left say so in their status.
    """
    from castsugar.thermo.solver import CHUNK

    count, size = len(task.rule.points), CHUNKS * CHUNK
    ranges = [(k, min(k + size, count)) for k in range(0, count, size)]
    kept, complete = Kept(count, task.limits), True
    with contextlib.ExitStack() as stack:
        write = stack.enter_context(_file(options))

        def put(part: Part) -> None:
            write(part.table)
            kept.add(part)
            progress.count(kept.reached, count, "mixes")

        try:
            with hold.work():
                crew = stack.enter_context(workers_of(options, len(ranges)))
            parts = stack.enter_context(contextlib.closing(_parts(task, ranges, crew)))
            for _ in ranges:
                with hold.work():
                    part = next(parts)
                put(part)
        except KeyboardInterrupt:
            complete = False
            for reach in ranges[-(-kept.reached // size) :]:
                put(task.undone(*reach))
    return kept, complete


@contextlib.contextmanager
def _file(options: argparse.Namespace) -> Iterator[Callable[[Any], object]]:
    """Open the table that is asked for beside the answer; yield what adds to it."""
    if not isinstance(options.csv, str):
        yield lambda table: None
        return
    with write_in_parts(options, options.csv) as stream:
        if not is_parquet(options.csv):
            yield stream.write
            return
        from castsugar.report.document import parquet_in_parts

        with parquet_in_parts(stream) as append:
            yield append


def _parts(
    task: Task, ranges: Sequence[tuple[int, int]], crew: Crew | None
) -> Generator[Part]:
    """Yield the parts in order; of a crew no more are under way than it has room."""
    from castsugar.errors import CastsugarError, WorkerError

    if crew is None:
        yield from (task.part(*reach) for reach in ranges)
        return
    at_work: deque[Any] = deque()
    try:
        for reach in ranges:
            if len(at_work) == crew.room:
                yield at_work.popleft().result()
            at_work.append(crew.executor.submit(task.part, *reach))
        while at_work:
            yield at_work.popleft().result()
    except CastsugarError:
        raise
    except Exception as error:
        reason = " ".join(f"{type(error).__name__}: {error}".split())[:160]
        raise WorkerError(
            f"a worker did not finish its part ({reason}); run it again with fewer "
            "workers, or without --workers and --cluster"
        ) from error
    finally:
        for one in at_work:
            one.cancel()
