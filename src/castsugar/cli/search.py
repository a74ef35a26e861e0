"""``castsugar search``: the best mix under your limits, and why it is that one."""

from __future__ import annotations

import argparse
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from castsugar.cli.answer import Answer, answer, units_of
from castsugar.cli.bench_option import Once, add_bench_option
from castsugar.cli.conditions import add_nozzle_options, stated_conditions
from castsugar.cli.interrupt import INTERRUPTED, held_back, write_pictures
from castsugar.cli.output import add_output_options, write_file
from castsugar.cli.picture_options import (
    add_picture_options,
    read_contours,
    read_zoom,
)
from castsugar.cli.screen import remark
from castsugar.cli.search_task import task_asked

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from castsugar.bench.world import World
    from castsugar.cli.interrupt import Hold
    from castsugar.conditions import Conditions
    from castsugar.data.load import Database
    from castsugar.mix.mix import Mix
    from castsugar.optimize.outcome import Outcome
    from castsugar.optimize.task import Task
    from castsugar.plot.sheet import Drawing
    from castsugar.report.screen import Screen
    from castsugar.report.search_words import Asked
    from castsugar.report.shown import Shown

NO = 1

_EXAMPLES = """\
BENCH is a TOML file with a [search] table: ingredients with bounds, what to
maximise or a goal in words ("most total impulse", "cheapest per N s", "least
syrup that pours", "least change from NAME"); [limits] says what a mix must
keep, [motor] and [kitchen] what is known of yours. The front needs front =
[...] in [search]: two columns.

Exit code 1: no mix keeps all limits; the one that breaks them least is named.

examples:
  castsugar search --full
  castsugar search --page search.html
  castsugar search --picture map.svg --picture traces=traces.svg
"""

#: Ingredients that vary on a map.
_CORNERS = 3

#: What --zoom knows beside three ranges.
_PARTS = {"kept": "around the mixes that keep all limits"}

#: What can be drawn; the first is meant where none is named.
_PICTURES = {
    "map": "which mixes of three ingredients are feasible, and what limit stops where",
    "traces": "response trace plot: each ingredient against the rest",
    "front": "the Pareto front of [search] front",
}


def add_parser(commands: Any) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "search",
        description="Search the best mix under limits.",
        epilog=_EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument(
        "bench", metavar="BENCH", nargs="?", action=Once, help="as --bench"
    )
    parser.add_argument(
        "--trials", metavar="FILE", help="write every mix that was tried, CSV"
    )
    parser.add_argument("--seed", type=int, metavar="N", help="of the search")
    add_picture_options(parser, _PARTS)
    conditions = parser.add_argument_group("conditions")
    add_bench_option(conditions)
    add_nozzle_options(conditions)
    conditions.add_argument(
        "--confirm",
        action=argparse.BooleanOptionalAction,
        default=True,
        help="solve what is shown again with Cantera (default)",
    )
    add_output_options(parser, pictures=_PICTURES)
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Search and print the answer; 1 if no mix keeps the limits."""
    from castsugar.cli.bench_option import stated_world
    from castsugar.data.load import load_database
    from castsugar.optimize.search import run_search

    database = load_database()
    world = stated_world(options)
    stated = stated_conditions(options, world.bench)
    task = task_asked(options, world, stated)
    _check_pictures(options, task)
    outcome = run_search(task, confirm=options.confirm)
    with held_back() as hold:
        asked = _asked(world, outcome, database, stated)
        mixes = _mixes(world, outcome, asked)
        invented = _invented(world, outcome, mixes)
        asked = replace(asked, before="EXAMPLE: " if invented else "")
        of = (outcome, mixes)
        made = _answer(options, (world, stated), of, asked, invented)
        answer(options, made)
        drawn = _draw(options, hold, outcome, asked)
    if outcome.interrupted:
        remark("castsugar: interrupted; this is the best so far")
    if outcome.interrupted or not drawn:
        return INTERRUPTED
    return 0 if outcome.feasible and not outcome.refused else NO


def _check_pictures(options: argparse.Namespace, task: Task) -> None:
    """Refuse pictures that could not be drawn, before any work is done."""
    from castsugar.errors import InputError

    read_contours(options.contours), read_zoom(options.zoom, _PARTS)
    if "front" in options.picture and task.front is None:
        raise InputError("a front needs two columns: front = [...] in [search]")
    if "map" in options.picture and (free := _free(task)) != _CORNERS:
        raise InputError(
            f"the map draws three ingredients that vary; this search has {free}"
        )


def _free(task: Task) -> int:
    """Return how many ingredients vary."""
    return sum(low < high for low, high in task.space.bounds.values())


def _asked(
    world: World, outcome: Outcome, database: Database, stated: Conditions
) -> Asked:
    """Say what was typed, and what was assumed."""
    from castsugar.assumptions import kitchen_assumptions, motor_assumptions
    from castsugar.bench.search import search_asked
    from castsugar.report.search_words import Asked

    settings = outcome.task.settings
    known = search_asked(world.bench, database, motor=settings.motor)
    chamber, leaving = stated.pressure.echo(), stated.exit_pressure
    lines = [
        f"chamber {chamber}, expansion to {leaving.echo() if leaving else 'none'}; "
        f"flow {settings.flow}",
    ]
    peak = 1e6 * float(outcome.rows["best"]["peak_pressure_MPa"])
    if peak > 0.0 and not 0.5 < peak / settings.pressure < 2.0:
        lines.append(
            f"c*, impulse and temperature are those at {chamber}; the best mix peaks "
            f"at {peak / 1e6:.3g} MPa in your motor: set pressure in [conditions] "
            "nearer to that"
        )
    if settings.kitchen is None:
        lines.append(f"{100 * settings.water_lost:g} % of the water leaves")
    else:
        lines += kitchen_assumptions(settings.kitchen)
    if settings.motor is not None:
        lines += motor_assumptions(settings.motor)
    return Asked(
        file=Path(world.bench.path).name,
        typed={typed: name for name, typed in known.typed.items()},
        assumptions=tuple(lines),
    )


def _answer(
    options: argparse.Namespace,
    under: tuple[World, Conditions],
    of: tuple[Outcome, Mapping[str, Mix]],
    asked: Asked,
    invented: tuple[str, ...],
) -> Answer:
    """Return what is said in every form."""
    from castsugar.motor.peak_causes import causes_of
    from castsugar.report.cautions import chosen, facts_of, pan_facts, topics_of
    from castsugar.report.search import Searched, search_screen
    from castsugar.report.search_annexes import search_annexes
    from castsugar.report.search_rows import search_parts, table_fields, table_rows

    (world, stated), (outcome, mixes) = under, of
    settings, database = outcome.task.settings, world.database
    topics = topics_of(["evaluate"], settings.kitchen, settings.motor)
    batch = outcome.task.space.batch
    pan = pan_facts(batch=batch, kitchen=settings.kitchen, bench=world.bench)
    name = outcome.chosen
    facts = facts_of(pan, [mixes[name]], [outcome.rows[name]], settings.motor)
    causes = causes_of(settings.motor, [mixes[name]], [outcome.rows[name]])
    found = Searched(
        outcome=outcome,
        asked=asked,
        mixes=mixes,
        causes=causes[0] if causes else (),
        judged=_judged(outcome),
        conditions=partial(_conditions, outcome, stated),
        cautions=chosen(database.cautions, facts, topics, say=units_of(options).rule),
        bench=options.bench,
        bench_said=options.bench_said,
        invented=invented,
    )

    def screen(show: Shown) -> Screen:
        made = search_screen(found, show)
        made = replace(made, annexes=tuple(search_annexes(found, show)))
        if not options.page or _free(outcome.task) != _CORNERS:
            return made
        from castsugar.plot.export import shown

        drawn = _map(options, outcome, asked, show)
        return replace(made, sheet=(shown(drawn, "Where the recipe lies"),))

    rows = table_rows(found)
    return Answer(
        command="search",
        screen=screen,
        parts=partial(search_parts, found),
        told={
            "version": database.version,
            "conditions": stated.to_dict(),
            "assumptions": list(asked.assumptions),
            "cautions": [c.text for c in database.cautions_for(topics, facts)],
        },
        basis=lambda: outcome.basis,
        rows=rows,
        fields=table_fields(rows),
    )


def _invented(
    world: World, outcome: Outcome, mixes: Mapping[str, Mix]
) -> tuple[str, ...]:
    """Return what is invented behind the answer."""
    task = outcome.task
    used = {
        "lots": world,
        "scale": task.space.batch,
        "kitchen": task.settings.kitchen,
        "motor": task.settings.motor,
    }
    uses = {name for name, given in used.items() if given is not None}
    return world.invented_for(mixes.values(), uses=uses)


def _mixes(world: World, outcome: Outcome, asked: Asked) -> dict[str, Mix]:
    """Return the mixes of the answer and of the bench, ingredients as typed."""
    from castsugar.mix.mix import Mix

    lots = outcome.task.settings.lots
    names = (outcome.chosen, outcome.nominal)
    recipes = {n: outcome.recipe_of(n) for n in names} | dict(outcome.task.tried)
    return {
        name: Mix.weigh(
            {asked.name(part): share for part, share in recipe.items()},
            name=name if name in outcome.task.tried else "",
            lots={n: lot for n, lot in lots.items() if n in recipe},
            database=world.database,
        )
        for name, recipe in recipes.items()
    }


def _judged(outcome: Outcome) -> dict[str, Any]:
    """Hold every mix of the table against the limits."""
    from castsugar.limits import judge_rows
    from castsugar.report.limit_words import by_mix

    rows = [*outcome.rows.values()]
    limits = outcome.found.goal.limits
    if not limits:
        return {}
    judged = by_mix(judge_rows(limits, rows), len(rows))
    return dict(zip(outcome.rows, judged, strict=True))


def _conditions(outcome: Outcome, stated: Conditions, show: Shown) -> str:
    """Say in one line under what the numbers hold."""
    from castsugar.report.search_words import losses_taken

    settings = outcome.task.settings
    leaving = stated.exit_pressure
    to = f" to {show.as_typed(leaving)}" if leaving is not None else ""
    under = f"{show.as_typed(stated.pressure)}{to}"
    said = [f"Ideal, {under}, no losses"]
    if losses_taken(outcome):
        said = [f"c*, Isp ideal, impulse delivered, {under}"]
    if settings.flow != "no-solidification":
        said.append(f"flow {settings.flow}")
    if settings.kitchen is not None:
        said.append(show.cook(settings.kitchen.cook))
    elif settings.water_lost:
        said.append(f"{show.share(settings.water_lost)} of the water lost")
    if settings.motor is not None:
        said.append("p95 of the next batch")
    return "; ".join(said)


def _map(
    options: argparse.Namespace, outcome: Outcome, asked: Asked, show: Shown
) -> Drawing:
    """Draw the mix among all mixes of the three that vary."""
    from castsugar.plot.feasible import search_map_drawing

    return search_map_drawing(
        outcome,
        asked=asked,
        contours=read_contours(options.contours),
        zoom=read_zoom(options.zoom, _PARTS),
        show=show,
    )


def _draw(
    options: argparse.Namespace, hold: Hold, outcome: Outcome, asked: Asked
) -> bool:
    """Write the trials and the pictures; return whether Ctrl-C let all be drawn."""
    from castsugar.report.document import to_csv
    from castsugar.report.search_rows import trial_fields, trial_rows

    if options.trials:
        rows = trial_rows(outcome)
        write_file(options, options.trials, to_csv(rows, trial_fields(rows)))
    show = units_of(options)

    def traces() -> Drawing:
        from castsugar.plot.curves import responses_drawing

        return responses_drawing(outcome, asked=asked, show=show)

    def front() -> Drawing:
        from castsugar.plot.trade_off import front_drawing

        return front_drawing(outcome, asked=asked, show=show)

    wanted: dict[str, Callable[[], Drawing]] = {
        "map": lambda: _map(options, outcome, asked, show),
        "traces": traces,
    }
    if outcome.front is not None:
        wanted["front"] = front
    elif "front" in options.picture:
        remark("castsugar: no front to draw: no mix keeps the limits")
    return write_pictures(options, hold, wanted)
