"""What sweep and map share: options, and the answer on many mixes."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from castsugar.cli.answer import Answer, answer, units_of
from castsugar.cli.bench_option import BENCH, add_bench_option, world_of
from castsugar.cli.conditions import add_condition_options
from castsugar.cli.interrupt import INTERRUPTED, held_back, write_pictures
from castsugar.cli.kitchen_options import add_kitchen_options
from castsugar.cli.output import add_output_options, is_parquet
from castsugar.cli.workers import add_worker_options
from castsugar.errors import InputError

if TYPE_CHECKING:
    from castsugar.arrays import IntArray
    from castsugar.asked import Question
    from castsugar.cli.interrupt import Hold
    from castsugar.cli.parts import Kept, Task
    from castsugar.mix.blends import Rule
    from castsugar.mix.mix import Mix
    from castsugar.plot.sheet import Drawing
    from castsugar.report.screen import Screen
    from castsugar.report.shown import Shown
    from castsugar.report.sweep import Many

#: About so many mixes of a table decide its cautions, and what is invented behind it.
_SOME = 100


def add_many_options(parser: argparse.ArgumentParser, drawn: str) -> None:
    """Add the options of commands that compute many mixes, and draw them."""
    conditions = parser.add_argument_group("conditions")
    add_bench_option(conditions)
    add_condition_options(conditions)
    add_kitchen_options(conditions)
    add_worker_options(parser)
    add_output_options(
        parser, without=("csv",), pictures={drawn: f"the {drawn}"}, table="every mix"
    )
    parser.set_defaults(drawn=drawn)


# ----------------------------------------------------------------------------
# From rows to the answer.


def answer_many(
    options: argparse.Namespace,
    conditions: Question,
    rule: Rule,
    more: Callable[[Many], dict[str, Any]],
    draw: Callable[[Many, Shown], Drawing],
) -> int:
    """Evaluate mixes and give what was asked for; return the exit code.

    `rule` tells ingredients as typed and the mixes. `more` returns from what was found
    what the command alone knows of its answer; `draw` is its picture.
    """
    from castsugar.cli.parts import compute
    from castsugar.mix.blends import Line

    count = len(rule.points)
    _check_count(options, count)
    if isinstance(rule.points, Line):
        rule.blends(database=conditions.database)  # refuses before any work
    whole = _task(options, conditions, rule)
    conditions = conditions.for_table(count)
    task = _task(options, conditions, rule)
    with held_back() as hold:
        kept, complete = compute(task, options, hold)
        found = _told(options, conditions, task, kept)
        fallen = () if not (complete and found.draws) else _fallen(whole, found, hold)
        complete = complete and fallen is not None
        found = replace(found, complete=complete, fallen=fallen or ())
        found = replace(found, **more(found))
        picture = partial(draw, found)
        _give(options, conditions, rule, found, picture)
        drawn = {options.drawn: lambda: picture(units_of(options))}
        done = write_pictures(options, hold, drawn)
    return 0 if complete and done else INTERRUPTED


def _check_count(options: argparse.Namespace, count: int) -> None:
    """Refuse what would hold too many mixes at once."""
    from castsugar.cli.parts import WHOLE

    asked = {
        "--json": options.json,
        "--csv without FILE": options.csv is True,
        "--page": options.page,
        "--picture": options.picture,
    }
    for name in (name for name, given in asked.items() if given and count > WHOLE):
        raise InputError(
            f"{name} of {count:,} mixes; at most {WHOLE:,}: leave it out (--csv FILE "
            "holds all of them), or take a larger --step"
        )


def _task(options: argparse.Namespace, conditions: Question, rule: Rule) -> Task:
    """Return what is to be computed of every mix.

    That is, too, the quantiles that the limits and, where they are drawn, the 95 %
    bands ask for.
    """
    from castsugar.cli.choice import read_column
    from castsugar.cli.parts import Task
    from castsugar.limits import BAND, chances_of, limits_of
    from castsugar.report.mix_words import share_key

    world, a_map = world_of(options), options.drawn == "map"
    limits = limits_of(world.limits) if world is not None else ()
    every = options.full or not a_map or "pour_window" in options.show
    named = [options.show] if a_map else options.show
    find = conditions.database.find
    given = {
        "chances": (*(() if a_map else BAND), *chances_of(limits)),
        "castable_windows": not every,
    }
    file = options.csv if isinstance(options.csv, str) else ""
    return Task(
        rule=rule,
        shares=tuple(f"recipe.{share_key(find(i).name)}" for i in rule.items),
        limits=limits,
        options=conditions.evaluate_options() | given,
        file=file and ("parquet" if is_parquet(file) else "csv"),
        shown=tuple(read_column(name).key for name in named),
    )


def _told(
    options: argparse.Namespace, conditions: Question, task: Task, kept: Kept
) -> Many:
    """Return many mixes with everything that a screen says of them."""
    import numpy as np

    from castsugar.evaluated import conditions_line
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
    found = Many(
        command=options.command,
        names=task.rule.items,
        shares=task.shares,
        table=kept.table,
        judged=kept.judged,
        conditions=partial(conditions_line, conditions, options.bench or ""),
        notes=(*conditions.assumptions(), *_windows_said(options, conditions)),
        draws=conditions.draws_words(kept.count),
        bench=options.bench or "",
    )
    likely = _likely(found)
    some_rows = _rows(task, found, likely)
    facts = pan_facts(kitchen=kitchen, bench=conditions.shelf.bench)
    facts |= mix_facts(some_rows, ())
    if motor is not None:
        facts |= motor_facts(motor, some_rows, mixes=_mixes(task, likely))
    wings = {"lots": world, "kitchen": kitchen, "motor": motor}
    uses = {name for name, given in wings.items() if given is not None}
    invented: tuple[str, ...] = ()
    if world is not None:
        some = np.arange(0, kept.count, max(1, kept.count // _SOME))
        invented = world.invented_for(_mixes(task, some), uses=uses)
    every = conditions.database.cautions_for(topics, facts)
    say = units_of(options).rule
    return replace(
        found,
        cautions=chosen(conditions.database.cautions, facts, topics, say=say),
        cautions_in_full=tuple(caution.text for caution in every),
        invented=invented,
    )


def _fallen(whole: Task, found: Many, hold: Hold) -> tuple[int, ...] | None:
    """Return which mixes keep all limits by few draws and not by all of them.

    In the order of c*, until one stands; None if the user interrupted. `whole` takes
    all draws.
    """
    import numpy as np

    from castsugar.draw_set import MANY

    places = np.flatnonzero(found.kept)
    velocity = found.values("characteristic_velocity_m_s")[places]
    places = places[np.argsort(-velocity, kind="stable")]
    fallen: list[int] = []
    for start in range(0, len(places), MANY):
        some = places[start : start + MANY]
        try:
            with hold.work():
                judged = whole.judged(some)
        except KeyboardInterrupt:
            return None
        stand = np.all([one.kept for one in judged], axis=0)
        fallen += some[~stand].tolist()
        if stand.any():
            break
    return tuple(fallen)


def _mixes(task: Task, places: IntArray) -> list[Mix]:
    """Return some of the mixes as objects."""
    blends = task.rule.blends(places)
    return [blends.mix(row) for row in range(len(blends))]


def _rows(task: Task, found: Many, places: IntArray) -> list[dict[str, Any]]:
    """Return some rows; computed again of so many mixes that not all is kept."""
    from castsugar.cli.parts import WHOLE
    from castsugar.rows import records

    if len(found) <= WHOLE:
        return [found.row(place) for place in places.tolist()]
    return records(task.computed(places)[1])


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


def _likely(found: Many) -> IntArray:
    """Return some that may be made: of those that keep the limits, else of all."""
    import numpy as np

    kept = found.are("status", "ok")
    for one in found.judged:
        kept &= one.kept
    places = np.flatnonzero(kept if kept.any() else np.ones(len(kept), dtype=bool))
    return places[:: max(1, len(places) // _SOME)]


def said_of_bench(options: argparse.Namespace) -> str:
    """Return what a title says of the bench file."""
    if options.bench_said or not options.bench:
        return f" {options.bench_said}".rstrip()
    return f" ({Path(options.bench).name})"


def next_of(
    options: argparse.Namespace, conditions: Question, rule: Rule, found: Many
) -> str:
    """Return what to do after a table: search, or look at the mix of the largest c*."""
    import numpy as np

    bench = conditions.shelf.bench
    where = "" if options.bench in (None, BENCH) else f" --bench {options.bench}"
    if bench is not None and bench.search is not None:
        return f"castsugar search{where}"
    velocity = found.values("characteristic_velocity_m_s")
    place = int(np.argmax(np.where(velocity > 0.0, velocity, 0.0)))
    name = rule.blends(np.array([place])).names[0]
    return f'castsugar evaluate "{name}"{where}'


def picture_notes(found: Many, show: Shown) -> list[str]:
    """Say below a picture under which conditions it holds."""
    notes = [found.conditions(show)]
    if any(column.group == "motor" for column in found.columns):
        notes.append(
            "An estimate about an unproved case. Not modelled: ignition peak, erosive "
            "burning, cracks and voids."
        )
    return notes if found.complete else [*notes, "INCOMPLETE: interrupted"]


def _basis(conditions: Question, rule: Rule) -> dict[str, Any]:
    """Return what the answer rests on: some of the mixes hold all ingredients."""
    import numpy as np

    places = np.linspace(0, len(rule.points) - 1, _CITED).astype(int)
    return conditions.basis(rule.blends(np.unique(places)))


#: Mixes that are looked at for what a table cites.
_CITED = 200


def _give(
    options: argparse.Namespace,
    conditions: Question,
    rule: Rule,
    found: Many,
    draw: Callable[[Shown], Drawing],
) -> None:
    """Print and write what was asked for; the picture stands on the page too."""
    from castsugar.report.sweep import many_fields, many_parts, many_rows, many_screen

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
        basis=partial(_basis, conditions, rule),
        rows=many_rows(found) if options.csv is True else (),
        fields=many_fields(found),
    )
    answer(options, made)
