"""``castsugar search``: the best mix under your limits, and why it is that one."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from castsugar.cli.bench_option import Once, add_bench_option
from castsugar.cli.conditions import add_nozzle_options, stated_conditions
from castsugar.cli.interrupt import INTERRUPTED, held_back, write_pictures
from castsugar.cli.output import add_output_options, deliver, write_file
from castsugar.cli.screen import remark
from castsugar.plain import to_json

if TYPE_CHECKING:
    from castsugar.bench.bench import Bench
    from castsugar.bench.search import SearchConditions
    from castsugar.bench.world import World
    from castsugar.cli.interrupt import Hold
    from castsugar.conditions import Conditions
    from castsugar.data.load import Database
    from castsugar.data.records import Caution
    from castsugar.kitchen.parameters import Kitchen
    from castsugar.optimize.search import Outcome
    from castsugar.optimize.task import Task
    from castsugar.report.search_words import Asked

NO = 1


_EXAMPLES = """\
BENCH is a TOML file with a [search] table: ingredients with bounds, what to
maximise; [limits] says what a mix must keep, [motor] and [kitchen] what is
known of yours. The front needs front = [...] in [search]: two columns.

Exit code 1: no mix keeps all limits; what breaks them least is shown.

examples:
  castsugar search --explain
  castsugar search --picture map.svg --picture traces=traces.svg
"""

#: What can be drawn; the first is meant where none is named.
_PICTURES = {
    "map": "which mixes of three ingredients are feasible, and what limit stops where",
    "traces": "each ingredient along its own direction from the best mix",
    "front": "the trade-off of [search] front",
}


def add_parser(commands: Any) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "search",
        help="the best mix that pours, sets and stays under pressure, and why",
        description="Search the best mix under limits.",
        epilog=_EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument(
        "bench", metavar="BENCH", nargs="?", action=Once, help="as --bench"
    )
    add_bench_option(parser)
    parser.add_argument(
        "--explain", action="store_true", help="tell the reasoning in sentences"
    )
    parser.add_argument(
        "--trials", metavar="FILE", help="write every mix that was tried, CSV"
    )
    parser.add_argument(
        "--confirm",
        action=argparse.BooleanOptionalAction,
        default=True,
        help="solve what is shown again with Cantera (default)",
    )
    add_nozzle_options(parser)
    parser.add_argument("--seed", type=int, metavar="N", help="of the search")
    add_output_options(parser, "json", pictures=_PICTURES)
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Search and print the answer; 1 if no mix keeps the limits."""
    from castsugar.cli.bench_option import stated_world
    from castsugar.data.load import load_database
    from castsugar.optimize.search import run_search

    database = load_database()
    world = stated_world(options)
    bench = world.bench
    stated = stated_conditions(options, bench)
    task = task_asked(options, world, stated)
    _check_pictures(options, task)
    outcome = run_search(task, confirm=options.confirm)
    with held_back() as hold:
        asked = _asked(bench, outcome, database, stated)
        cautions = _cautions(database, bench, outcome)
        deliver(options, _render(options, database, outcome, asked, cautions))
        drawn = _draw(options, hold, outcome, asked)
    if outcome.interrupted:
        remark("castsugar: interrupted; this is the best so far")
    if outcome.interrupted or not drawn:
        return INTERRUPTED
    return 0 if outcome.feasible and not outcome.refused else NO


def task_asked(options: argparse.Namespace, world: World, stated: Conditions) -> Task:
    """Return what the bench file asks for, with --seed."""
    from dataclasses import replace

    from castsugar.bench.search import search_conditions
    from castsugar.cli.search_task import task_of

    conditions = search_conditions(world.bench)
    motor = world.motor
    if motor is not None and conditions.draws:
        motor = replace(motor, draws=conditions.draws)
    return task_of(
        world,
        kitchen=_kitchen(world, conditions),
        motor=motor,
        conditions=stated,
        seed=options.seed,
    )


def _kitchen(world: World, conditions: SearchConditions) -> Kitchen | None:
    """Return the kitchen of the bench file; None without a cook."""
    from castsugar.kitchen.heat import parse_cook

    cook = None
    if conditions.cook is not None:
        cook = parse_cook(conditions.cook, conditions.minutes)
    elif not world.bench.kitchen.get("cook") or conditions.water_lost is not None:
        return None
    learnt = world.learnt(cook)
    for outcome in learnt.calibration.contradictions:
        remark(f"castsugar: {world.bench.path}: {outcome.sentence()}")
    kitchen = learnt.kitchen
    return kitchen.changed(draws=conditions.draws or kitchen.draws)


def _check_pictures(options: argparse.Namespace, task: Task) -> None:
    """Refuse pictures that could not be drawn, before any work is done."""
    from castsugar.errors import InputError

    if "front" in options.picture and task.front is None:
        raise InputError("a front needs two columns: front = [...] in [search]")
    free = sum(low < high for low, high in task.space.bounds.values())
    if "map" in options.picture and free != 3:
        raise InputError(
            f"the map draws three ingredients that vary; this search has {free}"
        )


def _asked(
    bench: Bench, outcome: Outcome, database: Database, stated: Conditions
) -> Asked:
    """Say what was typed, and what was assumed."""
    from castsugar.bench.search import search_asked
    from castsugar.cli.kitchen_options import kitchen_assumptions
    from castsugar.cli.motor_options import motor_assumptions
    from castsugar.report.search_words import Asked

    settings = outcome.task.settings
    known = search_asked(bench, database, motor=settings.motor)
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
        file=Path(bench.path).name,
        typed={typed: name for name, typed in known.typed.items()},
        pressure=stated.pressure.unit,
        assumptions=tuple(lines),
    )


def _render(
    options: argparse.Namespace,
    database: Database,
    outcome: Outcome,
    asked: Asked,
    cautions: list[Caution],
) -> str:
    """Return the answer as JSON or text."""
    from castsugar.report import data
    from castsugar.report.search import search_page
    from castsugar.report.search_rows import search_document

    if not options.json:
        return search_page(outcome, asked, cautions, explain=options.explain)
    document = search_document(outcome, asked, cautions)
    return to_json({"versions": data.versions(database.version), **document})


def _cautions(database: Database, bench: Bench, outcome: Outcome) -> list[Caution]:
    """Return the cautions about mixes, kitchen and motor of the search."""
    from castsugar.mix.mix import Mix
    from castsugar.report.cautions import facts_of, pan_facts, topics_of

    settings, row = outcome.task.settings, outcome.rows["best"]
    lots = {n: x for n, x in settings.lots.items() if n in outcome.found.recipe}
    parts = outcome.found.recipe.items()
    best = Mix.weigh(dict(list(parts)), lots=lots, database=database)
    topics = topics_of(["evaluate"], settings.kitchen, settings.motor)
    batch = outcome.task.space.batch
    pan = pan_facts(batch=batch, kitchen=settings.kitchen, bench=bench)
    facts = facts_of(pan, [best], [row], settings.motor)
    return database.cautions_for(topics, facts)


def _draw(
    options: argparse.Namespace, hold: Hold, outcome: Outcome, asked: Asked
) -> bool:
    """Write the trials and the pictures; return whether Ctrl-C let all be drawn."""
    from castsugar.report import data
    from castsugar.report.search_front import front_chart
    from castsugar.report.search_map import search_map
    from castsugar.report.search_rows import trial_rows
    from castsugar.report.search_trace import trace_plot

    if options.trials:
        rows = trial_rows(outcome)
        write_file(options, options.trials, data.to_csv(rows, list(rows[0])))
    wanted = {
        "map": lambda: search_map(outcome, asked=asked),
        "traces": lambda: trace_plot(outcome, asked=asked),
    }
    if outcome.front is not None:
        wanted["front"] = lambda: front_chart(outcome)
    elif "front" in options.picture:
        remark("castsugar: no front to draw: no mix keeps the limits")
    return write_pictures(options, hold, wanted)
