"""``castsugar evaluate``: what mixes do, held against the limits of the bench."""

from __future__ import annotations

import argparse
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any

from castsugar.cli.answer import Answer, answer, units_of
from castsugar.cli.bench_option import add_bench_option, world_of
from castsugar.cli.conditions import (
    Shared,
    add_condition_options,
    doubts_of,
    read_conditions,
)
from castsugar.cli.interrupt import exit_code, held_back, unconfirmed, write_pictures
from castsugar.cli.kitchen_options import add_kitchen_options
from castsugar.cli.motor_options import (
    add_cause_options,
    check_cause_options,
    motor_assumptions,
    stated_sizes,
)
from castsugar.cli.output import add_output_options
from castsugar.errors import InputError

if TYPE_CHECKING:
    from castsugar.cli.interrupt import Hold
    from castsugar.comparison.draws import Draws
    from castsugar.limits import Limit
    from castsugar.mix.mix import Mix
    from castsugar.motor.delivered import Delivered
    from castsugar.motor.fired_mixes import Firing
    from castsugar.motor.hardware import Hardware
    from castsugar.motor.losses import Losses
    from castsugar.motor.peak_causes import Cause
    from castsugar.motor.pressure_doubt import PressureDoubt
    from castsugar.plot.sheet import Drawing
    from castsugar.report.mixes import Mixes
    from castsugar.report.screen import Screen
    from castsugar.report.shown import Shown
    from castsugar.thermo.flow import FlowSolution

Rows = list[dict[str, Any]]

#: Up to this many mixes the second solver is asked without being told to, and bands are
#: drawn.
MOST_CONFIRMED = 20

#: Topics of the cautions of a command that is not evaluate.
_TOPICS = {"justify": ["justify", "evaluate"]}

_EXAMPLES = """\
A recipe is "name:amount name:amount ...", all parts by mass or all percent; a
label may lead: "mine=KNO3:65 sucrose:35". The names: castsugar ingredients.
Pressures need a unit (psi, psig, MPa, bar, barg, kPa, atm, Pa); a bare unit is
absolute.

examples:
  castsugar evaluate "KNO3:65 sucrose:35" --pressure "1000 psi"
  castsugar evaluate "KNO3:60 sugar:20 corn syrup:20" "KNO3:65 sucrose:35"
  castsugar evaluate "KNO3:60 sugar:20 corn syrup:20" --water-lost 0.2 --csv
  castsugar evaluate "KNO3:65 sorbitol:35" --alternative "sorbitol=polyol cycle"
  castsugar evaluate base --full --picture firing.svg
  castsugar evaluate base --full --crack "20 %" --debond "5 %"
"""


def add_parser(commands: Any) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "evaluate",
        description="Say what recipes do, and whether they keep your limits.",
        epilog=_EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument(
        "recipes",
        nargs="+",
        metavar="RECIPE",
        help="one or more recipes, or names of [recipes]",
    )
    conditions = parser.add_argument_group("conditions")
    add_bench_option(conditions)
    add_condition_options(conditions)
    add_kitchen_options(conditions)
    add_cause_options(conditions)
    parser.add_argument(
        "--confirm",
        action=argparse.BooleanOptionalAction,
        default=None,
        help="solve every mix again with Cantera (default: up to 20 mixes)",
    )
    drawn = {
        "trace": "pressure and thrust against time, with a motor",
        "throat": "the throat against time",
    }
    kinds = ("full", "json", "csv", "markdown", "page", "units")
    add_output_options(parser, *kinds, pictures=drawn)
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Evaluate the recipes and print the answer."""
    from castsugar.data.load import load_database

    shared = read_conditions(options, load_database())
    check_cause_options(options, shared.motor)
    if options.picture and shared.motor is None:
        raise InputError("--picture draws a firing; add --bench FILE with a [motor]")
    mixes = shared.weigh(options.recipes)
    from castsugar.limits import limits_of

    world = world_of(options)
    limits = limits_of(world.limits) if world is not None else ()
    with held_back() as hold:
        rows = _evaluated(options, shared, mixes, limits, hold)
        fired = fire_rows(shared, mixes, rows)
        drawn = drawn_bands(options, shared, mixes) if not unconfirmed(rows) else None
        found = told(options, shared, mixes, rows, (limits, fired, drawn))
        trace = partial(trace_of, options, shared, found, fired)
        answer(options, _answer(shared, found, trace))
        drawn_by = {
            "trace": trace,
            "throat": partial(throat_of, options, found, fired),
        }
        complete = write_pictures(options, hold, drawn_by)
    return exit_code(rows, complete=complete)


def _answer(shared: Shared, found: Mixes, trace: Callable[[], Drawing]) -> Answer:
    """Return what is said in every form; a page has the picture of the firings too."""
    from castsugar.report.field import FIELDS
    from castsugar.report.fired import FIRING
    from castsugar.report.mixes import evaluate_screen, mixes_parts

    def paper(show: Shown) -> Screen:
        made = evaluate_screen(found, show)
        if shared.motor is None or not any(found.causes):
            return made
        from castsugar.plot.export import shown
        from castsugar.report.screen import Annex

        caption = "Pressure and thrust against time"
        pictures = Annex(caption, (shown(trace(), caption),))
        return replace(made, annexes=(pictures, *made.annexes))

    fields = [*FIELDS.values()]
    if not shared.uncertainty:
        fields = [f for f in fields if "_u_" not in f.key]
    return Answer(
        command="evaluate",
        screen=partial(evaluate_screen, found),
        paper=paper,
        parts=partial(mixes_parts, found),
        told=shared.told(found),
        rows=found.rows,
        fields=(*fields, *(FIRING if shared.motor is not None else ())),
    )


# ----------------------------------------------------------------------------
# The numbers.


def _evaluated(
    options: argparse.Namespace,
    shared: Shared,
    mixes: list[Mix],
    limits: Sequence[Limit],
    hold: Hold,
) -> Rows:
    """Return the rows of the mixes; Ctrl-C leaves those that are not confirmed yet."""
    from castsugar.confirmation import UnconfirmedError
    from castsugar.evaluation import evaluate_columns
    from castsugar.limits import chances_of
    from castsugar.rows import records

    confirm = options.confirm
    if confirm is None:
        confirm = len(mixes) <= MOST_CONFIRMED
    try:
        with hold.work():
            given = shared.evaluate_options() | {"chances": chances_of(limits)}
            columns = evaluate_columns(mixes, confirm=confirm, **given)
    except UnconfirmedError as stopped:
        columns = stopped.columns
    return records(columns)


def fire_rows(shared: Shared, mixes: Sequence[Mix], rows: Rows) -> list[Firing | None]:
    """Fire every mix that could be driven."""
    if shared.motor is None:
        return [None] * len(rows)
    from castsugar.motor.fired_mixes import firings

    return firings(shared.motor, list(mixes), rows)


def drawn_bands(
    options: argparse.Namespace, shared: Shared, mixes: Sequence[Mix]
) -> Draws | None:
    """Draw what is uncertain about mixes of a bench, as compare does."""
    if options.bench is None or shared.leaving is None or len(mixes) > MOST_CONFIRMED:
        return None
    from castsugar.comparison.draws import draw
    from castsugar.comparison.uncertain_inputs import Conditions

    given = shared.evaluate_options()
    del given["data_uncertainty"]
    return draw(mixes, conditions=Conditions(**given), doubts=doubts_of(options)[1])


def told(
    options: argparse.Namespace,
    shared: Shared,
    mixes: Sequence[Mix],
    rows: Rows,
    more: tuple[Sequence[Limit], Sequence[Firing | None], Draws | None],
) -> Mixes:
    """Return mixes with everything that a screen says of them.

    `rows` hold the quantiles that the limits ask for; `more` are the limits, the
    firings of the mixes, and the draws of their bands.
    """
    from castsugar.limits import judge_rows
    from castsugar.report.cautions import chosen, facts_of, pan_facts, topics_of
    from castsugar.report.limit_words import by_mix
    from castsugar.report.mixes import Mixes, row_of

    limits, fired, drawn = more
    world = world_of(options)
    database = shared.database
    own = _TOPICS.get(options.command, ["evaluate"])
    topics = topics_of(own, shared.kitchen, shared.motor)
    batch = doubts_of(options)[1].batch if "batch" in vars(options) else None
    bench = shared.shelf.bench
    pan = pan_facts(batch=batch, kitchen=shared.kitchen, bench=bench, rows=rows)
    facts = facts_of(pan, mixes, rows, shared.motor, list(fired))
    bands = _kitchen_bands(shared, mixes)
    pairs = enumerate(zip(rows, fired, strict=True))
    shown = [row_of(row, one, drawn, i) | bands[i] for i, (row, one) in pairs]
    delivered = _delivered(shared, rows, shown)
    solved = _solved(options, shared, mixes, rows)
    judged = by_mix(judge_rows(limits, rows), len(rows)) if limits else ()
    asked = {"kitchen": shared.kitchen, "motor": shared.motor}
    uses = {"lots", *(table for table, own in asked.items() if own)}
    return Mixes(
        mixes=tuple(mixes),
        rows=tuple(shown),
        delivered=delivered,
        losses=_losses(shared, shown, solved),
        judged=judged,
        conditions=partial(conditions_line, shared, options.bench),
        notes=(*unconfirmed(rows), *shared.assumptions()),
        cautions=chosen(database.cautions, facts, topics, say=units_of(options).rule),
        cautions_in_full=tuple(c.text for c in database.cautions_for(topics, facts)),
        misfits=tuple(one.cautions if one is not None else () for one in fired),
        recipes=frozenset(world.recipes if world is not None else ()),
        not_modelled=_not_modelled(fired),
        causes=_causes(options, shared, fired, rows),
        draws=drawn,
        doubts=_doubts(shared, mixes, rows),
        pan=pan,
        bench=options.bench or "",
        bench_said=options.bench_said,
        bench_option=" --no-bench" if getattr(options, "no_bench", False) else "",
        invented=world.invented_for(mixes, uses=uses) if world is not None else (),
        flows=_flows(options, shared, mixes),
        species=_species(solved),
    )


def _doubts(
    shared: Shared, mixes: Sequence[Mix], rows: Rows
) -> tuple[PressureDoubt | None, ...]:
    """Return of each mix where the doubt of its peak pressure comes from."""
    if shared.motor is None or len(mixes) > MOST_CONFIRMED:
        return ()
    from castsugar.motor.pressure_doubt import pressure_doubt

    middle = [1e6 * float(row["peak_pressure_MPa"]) for row in rows]
    return tuple(
        pressure_doubt(shared.motor, mix, p) if math.isfinite(p) else None
        for mix, p in zip(mixes, middle, strict=True)
    )


def _causes(
    options: argparse.Namespace,
    shared: Shared,
    fired: Sequence[Firing | None],
    rows: Rows,
) -> tuple[tuple[Cause, ...], ...]:
    """Return of each mix what can raise its peak pressure."""
    if shared.motor is None:
        return ()
    from castsugar.motor.peak_causes import peak_causes

    motor, sizes = shared.motor, stated_sizes(options)
    return tuple(
        () if one is None else peak_causes(motor, one.law, row, **sizes)
        for one, row in zip(fired, rows, strict=True)
    )


def _kitchen_bands(shared: Shared, mixes: Sequence[Mix]) -> list[dict[str, Any]]:
    """Return the bands of the kitchen's columns, as ``kitchen judge`` shows them."""
    if shared.kitchen is None or len(mixes) > MOST_CONFIRMED:
        return [{}] * len(mixes)
    from castsugar.kitchen.pour_table import kitchen_intervals
    from castsugar.report.field import INTERVAL

    found = kitchen_intervals(list(mixes), shared.kitchen)
    return [{key + INTERVAL: ends for key, ends in own.items()} for own in found]


def _not_modelled(fired: Sequence[Firing | None]) -> tuple[str, ...]:
    """Return what the motor leaves out; nothing without one."""
    if all(one is None for one in fired):
        return ()
    from castsugar.motor.hardware import NOT_MODELLED

    return tuple(NOT_MODELLED)


def conditions_line(shared: Shared, bench: str | None, show: Any) -> str:
    """Say in one line under what the numbers of mixes hold."""
    said = [f"Ideal at {show.as_typed(shared.pressure)}"]
    if shared.leaving is not None:
        said[0] += f" to {show.as_typed(shared.leaving)}"
    said[0] += ", no losses"
    if shared.flow != "no-solidification":
        said.append(f"flow {shared.flow}")
    if shared.kitchen is not None:
        said.append(show.cook(shared.kitchen.cook))
    elif shared.water_lost:
        said.append(f"{show.share(shared.water_lost)} of the water lost")
    if shared.motor is not None:
        said.append(f"motor of {bench}")
    return "; ".join(said)


def _asks_for_all(options: argparse.Namespace) -> bool:
    """Say whether the annexes are shown at all."""
    return bool(options.full or options.markdown or options.page)


def _flows(
    options: argparse.Namespace, shared: Shared, mixes: Sequence[Mix]
) -> tuple[tuple[str, Any], ...]:
    """Return the rows of every nozzle flow; none where nobody sees them."""
    if not _asks_for_all(options) or shared.leaving is None:
        return ()
    from castsugar.evaluation import evaluate_columns
    from castsugar.rows import records
    from castsugar.thermo.flow import FLOWS

    given = shared.evaluate_options() | {"motor": None, "data_uncertainty": False}
    found = []
    for flow in FLOWS:
        columns = evaluate_columns(mixes, windows=False, **given | {"flow": flow})
        found.append((flow, tuple(records(columns))))
    return tuple(found)


def _solved(
    options: argparse.Namespace, shared: Shared, mixes: Sequence[Mix], rows: Rows
) -> tuple[FlowSolution | None, ...]:
    """Return every mix that burns, station by station; none where nobody sees them."""
    from castsugar.evaluation import performance

    if not (_asks_for_all(options) or options.json) or len(mixes) > MOST_CONFIRMED:
        return ()
    given = shared.conditions.options() | {"species": shared.species}
    pairs = zip(mixes, rows, strict=True)
    return tuple(
        performance(mix, **given) if row["status"] == "ok" else None
        for mix, row in pairs
    )


def _species(
    solved: Sequence[FlowSolution | None],
) -> tuple[Mapping[str, Sequence[float]], ...]:
    """Return the main species of every mix that burns, station by station."""
    found: list[dict[str, list[float]]] = []
    for solution in solved:
        states = () if solution is None else solution.states
        names = dict.fromkeys(n for s in states for n in s.main_species())
        found.append({n: [s.amount(n) for s in states] for n in names})
    return tuple(found)


def _delivered(
    shared: Shared, rows: Rows, shown: Sequence[dict[str, Any]]
) -> tuple[Delivered | None, ...]:
    """Return what the motor delivers of every mix, and write it to the rows shown."""
    if shared.motor is None or shared.leaving is None:
        return ()
    from castsugar.columns import doubts_of
    from castsugar.motor.delivered import delivered_of
    from castsugar.report.delivered import delivered_row
    from castsugar.report.field import intervals

    given = shared.conditions.options()
    at = {name: given[name] for name in ("pressure", "exit_pressure")}
    found: list[Delivered | None] = []
    for row, told in zip(rows, shown, strict=True):
        one = None
        if row["status"] == "ok":
            one = delivered_of(shared.motor, row | doubts_of(intervals(told)), **at)
            told |= delivered_row(one)
        found.append(one)
    return tuple(found)


def _losses(
    shared: Shared,
    rows: Sequence[Mapping[str, Any]],
    solved: Sequence[FlowSolution | None],
) -> tuple[Losses | None, ...]:
    """Return bounds of what every mix loses in the motor."""
    if shared.motor is None or shared.leaving is None:
        return ()
    from castsugar.motor.losses import ChamberGas, expected_losses
    from castsugar.thermo.second_opinion.gas_transport import gas_transport

    found: list[Losses | None] = []
    for row, solution in zip(rows, solved, strict=False):
        gas = None if solution is None else gas_transport(solution.chamber)
        if solution is None or gas is None or not gas.told:
            found.append(None)
            continue
        pressure = solution.chamber.pressure
        mean = row.get("mean_pressure_MPa")
        of_motor = {
            "pressure": pressure if mean is None else 1e6 * mean,
            "burn_time": row.get("burn_time_s", math.nan),
            "propellant_mass": 1e-3 * row.get("propellant_mass_g", math.nan),
        }
        chamber = ChamberGas(
            heat_capacity=solution.chamber.gas_heat_capacity,
            viscosity=gas.viscosity,
            prandtl=gas.prandtl,
        )
        found.append(expected_losses(shared.motor, row, chamber, **of_motor))
    return tuple(found)


# ----------------------------------------------------------------------------
# The picture of a firing.


def trace_of(
    options: argparse.Namespace,
    shared: Shared,
    found: Mixes,
    fired: Sequence[Firing | None],
) -> Drawing:
    """Return the picture of the firings; InputError if no mix could be driven."""
    from castsugar.comparison.change import pressure_bands
    from castsugar.plot.fired import trace_drawing
    from castsugar.report.mix_words import by_name

    motor, names = shared.motor, [*by_name(found.mixes)]
    assert motor is not None
    bands, peaks = [], {}
    told = pressure_bands(found.mixes, found.rows, motor)
    for name, one, firing in zip(names, told, fired, strict=True):
        expected = one.expected
        if expected is not None and firing is not None:
            expected = replace(expected, course=firing.course())
            peaks[name] = firing.limit
        bands.append(replace(one, name=name, expected=expected))
    return trace_drawing(
        bands,
        allowed=motor.allowable,
        peaks=peaks,
        thrust=thrust_words(motor),
        notes=motor_assumptions(motor)[:1],
        show=units_of(options),
        invented=bool(found.invented),
    )


def throat_of(
    options: argparse.Namespace, found: Mixes, fired: Sequence[Firing | None]
) -> Drawing:
    """Return the picture of the throats; InputError if no mix could be driven."""
    from castsugar.plot.fired import growth_drawing
    from castsugar.report.mix_words import by_name

    told = zip(by_name(found.mixes), fired, strict=True)
    known = {name: one for name, one in told if one is not None}
    if not known:
        raise InputError("--picture throat: no mix could be driven")
    drawing: Drawing = growth_drawing(
        known, show=units_of(options), invented=bool(found.invented)
    )
    return drawing


def thrust_words(motor: Hardware) -> str:
    """Say whether the thrust of a motor is ideal, or with which losses."""
    velocity = motor.efficiency is not None
    nozzle = motor.nozzle_stated or motor.efficiencies.nozzle.count > 0
    if velocity == nozzle:
        return "delivered" if nozzle else "ideal, no losses"
    return "ideal nozzle, delivered c*" if velocity else "delivered nozzle, ideal c*"
