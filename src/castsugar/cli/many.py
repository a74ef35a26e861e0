"""What sweep and map share: options, workers, progress, tables."""

from __future__ import annotations

import argparse
import math
import sys
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Executor, Future
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from castsugar.cli.answer import Answer, answer, units_of
from castsugar.cli.bench_option import BENCH, add_bench_option, world_of
from castsugar.cli.conditions import add_condition_options
from castsugar.cli.interrupt import INTERRUPTED, held_back, write_pictures
from castsugar.cli.kitchen_options import add_kitchen_options
from castsugar.cli.output import add_output_options, is_parquet, write_file
from castsugar.cli.workers import add_worker_options, workers_of
from castsugar.columns import COLUMNS

if TYPE_CHECKING:
    from castsugar.arrays import IntArray
    from castsugar.asked import Question
    from castsugar.cli.interrupt import Hold
    from castsugar.limits import Judgement, Limit
    from castsugar.mix.blends import Blends
    from castsugar.mix.rule import Rule
    from castsugar.plot.sheet import Drawing
    from castsugar.report.screen import Screen
    from castsugar.report.shown import Shown
    from castsugar.report.sweep import Many
    from castsugar.rows import Columns

#: About so many mixes of a table decide its cautions, and what is invented behind it.
_SOME = 100


# ----------------------------------------------------------------------------
# A line of progress on a terminal, for work that takes longer than two seconds.

#: Quicker work shows nothing [s].
PATIENCE = 2.0


class Progress:
    """Counts mixes and says how long the rest will take; silent off a terminal."""

    def __init__(self, total: int) -> None:
        self.total = total
        self._started = time.monotonic()
        self._shown = False

    def update(self, done: int) -> None:
        """Show how many are done, if it is worth it."""
        spent = time.monotonic() - self._started
        if not sys.stderr.isatty() or spent < PATIENCE or not 0 < done < self.total:
            return
        left = spent / done * (self.total - done)
        sys.stderr.write(
            f"\r{done:,} of {self.total:,} mixes, about {left:.0f} s left \x1b[K"
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
    conditions = parser.add_argument_group("conditions")
    add_bench_option(conditions)
    add_condition_options(conditions)
    add_kitchen_options(conditions)
    add_worker_options(parser)
    kinds = ("full", "json", "markdown", "page", "units", "cite")
    add_output_options(
        parser, *kinds, pictures={drawn: f"the {drawn}"}, table="every mix"
    )
    parser.set_defaults(drawn=drawn)


Rows = list[dict[str, Any]]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Asked:
    """Mixes that are asked for: by their rule, all made, and what they must keep.

    `all_windows`: pour windows also of what does not burn or nobody casts.
    """

    rule: Rule
    blends: Blends
    limits: Sequence[Limit]
    all_windows: bool


def evaluate_many(
    asked: Asked, options: argparse.Namespace, conditions: Question, hold: Hold
) -> tuple[Rows, bool]:
    """Evaluate mixes part by part; only this is what Ctrl-C may stop.

    Parts are cut by index alone, whoever computes them. Returns a row a mix, whatever
    happened, with the quantiles that the limits and, where they are drawn, the 95 %
    bands ask for, and False if the user interrupted: the rows left say so in their
    status.
    """
    from castsugar.limits import BAND, chances_of
    from castsugar.rows import records
    from castsugar.thermo.solver import CHUNK

    count = len(asked.blends)
    chances = (*(() if options.drawn == "map" else BAND), *chances_of(asked.limits))
    given = conditions.evaluate_options() | {
        "chances": chances,
        "castable_windows": not asked.all_windows,
    }
    starts = range(0, count, CHUNK)
    progress = Progress(count)
    done: Rows = []
    try:
        with hold.work(), workers_of(options, len(starts)) as executor:
            for columns in _parts(asked, starts, given, executor):
                done += records(columns)
                progress.update(len(done))
    except KeyboardInterrupt:
        return [*done, *_undone(asked.blends.take(slice(len(done), None)))], False
    finally:
        progress.close()
    return done, True


def _parts(
    asked: Asked, starts: range, given: Mapping[str, Any], executor: Executor | None
) -> Iterator[Columns]:
    """Yield the columns of every part, in order."""
    from castsugar.errors import CastsugarError, WorkerError
    from castsugar.evaluation import evaluate_columns, evaluate_part

    if executor is None:
        for start in starts:
            part = asked.blends.take(slice(start, start + starts.step))
            yield evaluate_columns(part, **given)
        return
    at_work: list[Future[Columns]] = []
    try:
        for start in starts:
            task = (asked.rule, start, start + starts.step, given)
            at_work.append(executor.submit(evaluate_part, *task))
        for one in at_work:
            yield one.result()
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


def _undone(blends: Blends) -> Rows:
    """Return rows of blends that were not reached."""
    from castsugar import rows

    count = len(blends)
    known = rows.not_asked("kitchen", count) | rows.not_asked("motor", count)
    known |= rows.mix_columns(blends) | rows.not_confirmed(count)
    known["status"] = [UNDONE] * count
    known["flags"] = ["; ".join(f) for f in blends.flags]
    for column in COLUMNS:
        if column.group in ("chamber", "nozzle"):
            known.setdefault(column.key, [math.nan] * count)
    return rows.records(known)


def _withheld(row: dict[str, Any]) -> dict[str, Any]:
    """Return the row of a mix that is out of scope: its name, and why it is empty."""
    empty = {key: math.nan for key, value in row.items() if isinstance(value, float)}
    status = "not computed: sugars are less than nine tenths of what burns"
    told = {"status": status, "flags": "", "confirmation": "not asked"}
    classes = ("flow_class", "burn_law_origin")
    return row | empty | told | {k: "not computed" for k in classes if k in row}


# ----------------------------------------------------------------------------
# From rows to the answer.


def answer_many(
    options: argparse.Namespace,
    conditions: Question,
    rule: Rule,
    more: Callable[[Rows, tuple[str, ...]], dict[str, Any]],
    draw: Callable[[Many, Shown], Drawing],
) -> int:
    """Evaluate mixes and give what was asked for; return the exit code.

    `rule` tells ingredients as typed and the mixes. `more` returns from rows and keys
    of the shares what the command alone knows of its answer; `draw` is its picture.
    """
    from castsugar.limits import limits_of
    from castsugar.report.mix_words import share_key
    from castsugar.report.sweep import add_window

    items, blends = rule.items, rule.blends(database=conditions.database)
    world = world_of(options)
    limits = limits_of(world.limits) if world is not None else ()
    conditions = conditions.for_table(len(blends))
    find = conditions.database.find
    every = options.full or options.drawn != "map" or "pour_window" in options.show
    asked = Asked(rule=rule, blends=blends, limits=limits, all_windows=every)
    keys = tuple(f"recipe.{share_key(find(name).name)}" for name in items)
    with held_back() as hold:
        rows, complete = evaluate_many(asked, options, conditions, hold)
        both = zip(rows, blends.outside, strict=True)
        rows = [_withheld(row) if out else row for row, out in both]
        if conditions.kitchen is not None:
            add_window(rows)
        shares = (100.0 * rule.points.fractions()).tolist()
        rows = [
            dict(zip(keys, own, strict=True)) | row
            for own, row in zip(shares, rows, strict=True)
        ]
        own = {"names": items, "shares": keys, "complete": complete}
        found = _told(options, conditions, blends, rows, limits, own | more(rows, keys))
        picture = partial(draw, found)
        _give(options, conditions, blends, found, picture)
        drawn = {options.drawn: lambda: picture(units_of(options))}
        done = write_pictures(options, hold, drawn)
    return 0 if complete and done else INTERRUPTED


def _told(
    options: argparse.Namespace,
    conditions: Question,
    blends: Blends,
    rows: Rows,
    limits: Sequence[Limit],
    more: Mapping[str, Any],
) -> Many:
    """Return many mixes with everything that a screen says of them."""
    from castsugar.evaluated import conditions_line
    from castsugar.limits import judge_rows
    from castsugar.report.cautions import (
        chosen,
        mix_facts,
        motor_facts,
        pan_facts,
        topics_of,
    )
    from castsugar.report.sweep import Many

    world, motor, kitchen = world_of(options), conditions.motor, conditions.kitchen
    topics = topics_of(["evaluate"], kitchen, motor)
    judged = judge_rows(limits, rows) if limits else ()
    likely = _likely(rows, judged)
    some_rows = [rows[i] for i in likely]
    facts = pan_facts(kitchen=kitchen, bench=conditions.shelf.bench)
    facts |= mix_facts(some_rows, ())
    made = [blends.mix(row) for row in likely] if motor is not None else []
    facts |= motor_facts(motor, some_rows, mixes=made)
    wings = {"lots": world, "kitchen": kitchen, "motor": motor}
    uses = {name for name, given in wings.items() if given is not None}
    some = range(0, len(blends), max(1, len(blends) // _SOME))
    mixes = [blends.mix(row) for row in some]
    every = conditions.database.cautions_for(topics, facts)
    say = units_of(options).rule
    return Many(
        command=options.command,
        rows=rows,
        judged=judged,
        conditions=partial(conditions_line, conditions, options.bench or ""),
        notes=(*conditions.assumptions(), *_windows_said(options, conditions)),
        cautions=chosen(conditions.database.cautions, facts, topics, say=say),
        cautions_in_full=tuple(caution.text for caution in every),
        draws=conditions.draws_words(len(rows)),
        bench=options.bench or "",
        invented=world.invented_for(mixes, uses=uses) if world is not None else (),
        **more,
    )


def _windows_said(options: argparse.Namespace, conditions: Question) -> tuple[str, ...]:
    """Say whose pour windows a map leaves out."""
    if conditions.kitchen is None or options.drawn != "map" or options.full:
        return ()
    from castsugar.kitchen.pour_table import CASTABLE

    low, high = (f"{100.0 * share:.0f}" for share in CASTABLE)
    return (
        f"Pour windows are sought of mixes that burn and have {low} to {high} % "
        "nitrate; of all with --full.",
    )


def _likely(rows: Rows, judged: Sequence[Judgement]) -> IntArray:
    """Return some that may be made: of those that keep the limits, else of all."""
    import numpy as np

    kept = np.array([row["status"] == "ok" for row in rows])
    for one in judged:
        kept &= one.kept
    places = np.flatnonzero(kept if kept.any() else np.ones(len(rows), dtype=bool))
    return places[:: max(1, len(places) // _SOME)]


def said_of_bench(options: argparse.Namespace) -> str:
    """Return what a title says of the bench file."""
    if options.bench_said or not options.bench:
        return f" {options.bench_said}".rstrip()
    return f" ({Path(options.bench).name})"


def next_of(options: argparse.Namespace, conditions: Question, found: Rows) -> str:
    """Return what to do after a table: search, or look at the mix of the largest c*."""
    bench = conditions.shelf.bench
    where = "" if options.bench in (None, BENCH) else f" --bench {options.bench}"
    if bench is not None and bench.search is not None:
        return f"castsugar search{where}"
    known = [row for row in found if row["characteristic_velocity_m_s"] > 0.0]
    best = max(
        known or found, key=lambda row: float(row["characteristic_velocity_m_s"])
    )
    return f'castsugar evaluate "{best["name"]}"{where}'


def picture_notes(found: Many, show: Shown) -> list[str]:
    """Say below a picture under which conditions it holds."""
    notes = [found.conditions(show)]
    if any(column.group == "motor" for column in found.columns):
        notes.append(
            "An estimate about an unproved case. Not modelled: ignition peak, erosive "
            "burning, cracks and voids."
        )
    return notes if found.complete else [*notes, "INCOMPLETE: interrupted"]


def _give(
    options: argparse.Namespace,
    conditions: Question,
    blends: Blends,
    found: Many,
    draw: Callable[[Shown], Drawing],
) -> None:
    """Print and write what was asked for; the picture stands on the page too."""
    from castsugar.report.document import to_csv, to_parquet
    from castsugar.report.sweep import many_fields, many_parts, many_rows, many_screen

    rows = many_rows(found)
    fields = many_fields(found, rows)
    if isinstance(options.csv, str):
        table = to_parquet if is_parquet(options.csv) else to_csv
        write_file(options, options.csv, table(rows, fields))

    def screen(show: Shown) -> Screen:
        made = many_screen(found, show)
        if not options.page:
            return made
        from castsugar.plot.export import shown

        return replace(made, sheet=(shown(draw(show), found.title),))

    made = Answer(
        command=options.command,
        screen=screen,
        parts=partial(many_parts, found),
        told=conditions.told(found),
        basis=partial(conditions.basis, blends),
        rows=rows,
        fields=fields,
    )
    answer(options, made)
