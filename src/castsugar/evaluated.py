"""Mixes with everything that a screen says of them: what `evaluate` answers."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import field
from functools import partial
from typing import TYPE_CHECKING, Any

from castsugar.asked import MOST_CONFIRMED
from castsugar.frozen import dataclass
from castsugar.limits import chances_of, judge_rows
from castsugar.report.cautions import Chosen, chosen, facts_of, pan_facts, topics_of
from castsugar.report.limit_words import by_mix
from castsugar.report.mixes import Mixes, row_of

if TYPE_CHECKING:
    from castsugar.asked import Question
    from castsugar.comparison.draws import Draws
    from castsugar.comparison.uncertain_inputs import Doubts
    from castsugar.limits import Limit
    from castsugar.mix.mix import Mix
    from castsugar.motor.delivered import Delivered
    from castsugar.motor.fired_mixes import Firing
    from castsugar.motor.losses import Losses
    from castsugar.motor.peak_causes import Cause
    from castsugar.motor.pressure_doubt import PressureDoubt
    from castsugar.thermo.flow import FlowSolution

Rows = list[dict[str, Any]]


def rows_of(
    question: Question, mixes: Sequence[Mix], limits: Sequence[Limit], **more: Any
) -> Rows:
    """Return rows of the table, with the quantiles that limits ask for.

    `more` are options of :func:`castsugar.evaluation.evaluate_columns`.
    """
    from castsugar.evaluation import evaluate_columns
    from castsugar.rows import records

    given = question.evaluate_options() | {"chances": chances_of(limits)}
    return records(evaluate_columns(mixes, **given, **more))


def fire_rows(
    question: Question, mixes: Sequence[Mix], rows: Rows
) -> list[Firing | None]:
    """Fire every mix that could be driven."""
    if question.motor is None:
        return [None] * len(rows)
    from castsugar.motor.fired_mixes import firings

    return firings(question.motor, list(mixes), rows)


def drawn_bands(
    question: Question, mixes: Sequence[Mix], doubts: Doubts
) -> Draws | None:
    """Draw what is uncertain about mixes of a bench, as compare does."""
    if question.leaving is None or len(mixes) > MOST_CONFIRMED:
        return None
    from castsugar.comparison.draws import draw
    from castsugar.comparison.uncertain_inputs import Conditions

    given = question.evaluate_options()
    del given["data_uncertainty"]
    return draw(mixes, conditions=Conditions(**given), doubts=doubts)


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What an answer holds beside the rows, and how its bench file was named."""

    #: Writes the value of a rule of the cautions in the units shown.
    rule: Callable[..., Any]
    topics: tuple[str, ...] = ("evaluate",)  # of the cautions
    #: Whether somebody sees the three flows; the products, station by station.
    annexes: bool = False
    species: bool = False
    #: Stated sizes of what can raise the peak: options of
    #: motor.peak_causes.peak_causes.
    sizes: Mapping[str, Any] = field(default_factory=dict)
    batch: float | None = None  # what is weighed, where it was asked for [kg]
    notes: tuple[str, ...] = ()  # said before what was assumed
    #: As in report.mixes.Mixes.
    bench: str = ""
    bench_said: str = ""
    bench_option: str = ""
    #: Whether the answer is wanted at once: without cautions, bands of the kitchen and
    #: where the doubt of a pressure comes from.
    brief: bool = False


def evaluated(
    question: Question,
    mixes: Sequence[Mix],
    rows: Rows,
    more: tuple[Sequence[Limit], Sequence[Firing | None], Draws | None],
    wanted: Wanted,
) -> Mixes:
    """Return mixes with everything that a screen says of them.

    `rows` hold the quantiles that the limits ask for; `more` are the limits, the
    firings of the mixes, and the draws of their bands.
    """
    limits, fired, drawn = more
    world, bench = question.world, question.shelf.bench
    pan = pan_facts(
        batch=wanted.batch, kitchen=question.kitchen, bench=bench, rows=rows
    )
    bands = [{}] * len(mixes) if wanted.brief else _kitchen_bands(question, mixes)
    pairs = enumerate(zip(rows, fired, strict=True))
    shown = [row_of(row, one, drawn, i) | bands[i] for i, (row, one) in pairs]
    delivered = _delivered(question, rows, shown)
    cast = () if wanted.brief else tuple(question.cast(mixes))
    solved = _solved(question, cast, rows, wanted)
    judged = by_mix(judge_rows(limits, rows), len(rows)) if limits else ()
    asked = {"kitchen": question.kitchen, "motor": question.motor}
    uses = {"lots", *(table for table, own in asked.items() if own)}
    return Mixes(
        mixes=tuple(mixes),
        cast=cast,
        rows=tuple(shown),
        delivered=delivered,
        losses=_losses(question, shown, solved),
        judged=judged,
        conditions=partial(conditions_line, question, wanted.bench),
        notes=(*wanted.notes, *question.assumptions()),
        **_cautions(question, (mixes, rows, fired), pan, wanted),
        misfits=tuple(one.cautions if one is not None else () for one in fired),
        contradicted=_contradicted(question, rows),
        recipes=frozenset(world.recipes if world is not None else ()),
        not_modelled=_not_modelled(fired),
        causes=_causes(question, fired, rows, wanted),
        draws=drawn,
        doubts=() if wanted.brief else _doubts(question, mixes, rows),
        pan=pan,
        bench=wanted.bench,
        bench_said=wanted.bench_said,
        bench_option=wanted.bench_option,
        searchable=bench is None or bench.search is not None,
        invented=world.invented_for(mixes, uses=uses) if world is not None else (),
        flows=_flows(question, mixes) if wanted.annexes else (),
        species=_species(solved),
    )


def _cautions(
    question: Question,
    found: tuple[Sequence[Mix], Rows, Sequence[Firing | None]],
    pan: Mapping[str, float],
    wanted: Wanted,
) -> dict[str, Any]:
    """Return what is said of the cautions, and all that apply; none in a hurry."""
    if wanted.brief:
        return {"cautions": Chosen(lines=(), keys=(), rest=0)}
    mixes, rows, fired = found
    known = question.database
    topics = topics_of(wanted.topics, question.kitchen, question.motor)
    facts = facts_of(pan, mixes, rows, question.motor, list(fired))
    return {
        "cautions": chosen(known.cautions, facts, topics, say=wanted.rule),
        "cautions_in_full": tuple(c.text for c in known.cautions_for(topics, facts)),
    }


def _contradicted(question: Question, rows: Rows) -> tuple[str, ...]:
    """Return what in the bench contradicts something else in it."""
    known = [row for row in rows if row["status"] == "ok"]
    if question.motor is None or question.world is None or not known:
        return ()
    from castsugar.bench.cross_checks import contradictions

    return contradictions(
        question.world,
        density=known[0]["density_kg_m3"],
        characteristic_velocity=known[0]["characteristic_velocity_m_s"],
    )


def _doubts(
    question: Question, mixes: Sequence[Mix], rows: Rows
) -> tuple[PressureDoubt | None, ...]:
    """Return of each mix where the doubt of its peak pressure comes from."""
    if question.motor is None or len(mixes) > MOST_CONFIRMED:
        return ()
    from castsugar.motor.pressure_doubt import pressure_doubt

    middle = [1e6 * float(row["peak_pressure_MPa"]) for row in rows]
    return tuple(
        pressure_doubt(question.motor, mix, p) if math.isfinite(p) else None
        for mix, p in zip(mixes, middle, strict=True)
    )


def _causes(
    question: Question, fired: Sequence[Firing | None], rows: Rows, wanted: Wanted
) -> tuple[tuple[Cause, ...], ...]:
    """Return of each mix what can raise its peak pressure."""
    if question.motor is None:
        return ()
    from castsugar.motor.peak_causes import peak_causes

    motor, sizes = question.motor, wanted.sizes
    return tuple(
        () if one is None else peak_causes(motor, one.law, row, **sizes)
        for one, row in zip(fired, rows, strict=True)
    )


def _kitchen_bands(question: Question, mixes: Sequence[Mix]) -> list[dict[str, Any]]:
    """Return the bands of the kitchen's columns, as ``kitchen judge`` shows them."""
    if question.kitchen is None or len(mixes) > MOST_CONFIRMED:
        return [{}] * len(mixes)
    from castsugar.kitchen.pour_table import kitchen_intervals
    from castsugar.report.field import INTERVAL

    found = kitchen_intervals(list(mixes), question.kitchen)
    return [{key + INTERVAL: ends for key, ends in own.items()} for own in found]


def _not_modelled(fired: Sequence[Firing | None]) -> tuple[str, ...]:
    """Return what the motor leaves out; nothing without one."""
    if all(one is None for one in fired):
        return ()
    from castsugar.motor.hardware import NOT_MODELLED

    return tuple(NOT_MODELLED)


def conditions_line(question: Question, bench: str, show: Any) -> str:
    """Say in one line under what the numbers of mixes hold."""
    said = [f"Ideal at {show.as_typed(question.pressure)}"]
    if question.leaving is not None:
        said[0] += f" to {show.as_typed(question.leaving)}"
    said[0] += ", no losses"
    if question.flow != "no-solidification":
        said.append(f"flow {question.flow}")
    if question.kitchen is not None:
        said.append(show.cook(question.kitchen.cook))
    elif question.water_lost:
        said.append(f"{show.share(question.water_lost)} of the water lost")
    if question.motor is not None:
        said.append(f"motor of {bench}")
    return "; ".join(said)


def _flows(question: Question, mixes: Sequence[Mix]) -> tuple[tuple[str, Any], ...]:
    """Return the rows of every nozzle flow; none without an exit."""
    if question.leaving is None:
        return ()
    from castsugar.evaluation import evaluate_columns
    from castsugar.rows import records
    from castsugar.thermo.flow import FLOWS

    given = question.evaluate_options() | {"motor": None, "data_uncertainty": False}
    found = []
    for flow in FLOWS:
        columns = evaluate_columns(mixes, windows=False, **given | {"flow": flow})
        found.append((flow, tuple(records(columns))))
    return tuple(found)


def _solved(
    question: Question, mixes: Sequence[Mix], rows: Rows, wanted: Wanted
) -> tuple[FlowSolution | None, ...]:
    """Return every mix that burns, station by station; none where nobody sees them."""
    from castsugar.evaluation import performance

    if not (wanted.annexes or wanted.species) or len(mixes) > MOST_CONFIRMED:
        return ()
    given = question.conditions.options() | {"species": question.species}
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
    question: Question, rows: Rows, shown: Sequence[dict[str, Any]]
) -> tuple[Delivered | None, ...]:
    """Return what the motor delivers of every mix, and write it to the rows shown."""
    if question.motor is None or question.leaving is None:
        return ()
    from castsugar.columns import doubts_of
    from castsugar.motor.delivered import delivered_of
    from castsugar.report.delivered import delivered_row
    from castsugar.report.field import intervals

    given = question.conditions.options()
    at = {name: given[name] for name in ("pressure", "exit_pressure")}
    found: list[Delivered | None] = []
    for row, told in zip(rows, shown, strict=True):
        one = None
        if row["status"] == "ok":
            one = delivered_of(question.motor, row | doubts_of(intervals(told)), **at)
            told |= delivered_row(one)
        found.append(one)
    return tuple(found)


def _losses(
    question: Question,
    rows: Sequence[Mapping[str, Any]],
    solved: Sequence[FlowSolution | None],
) -> tuple[Losses | None, ...]:
    """Return bounds of what every mix loses in the motor."""
    if question.motor is None or question.leaving is None or not solved:
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
        found.append(expected_losses(question.motor, row, chamber, **of_motor))
    return tuple(found)
