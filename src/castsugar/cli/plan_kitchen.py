"""``castsugar plan water`` and ``plan heat``: the kitchen asked the other way round."""

from __future__ import annotations

import argparse
import math
from collections.abc import Callable, Sequence
from functools import partial
from typing import TYPE_CHECKING, Any

from castsugar.asked import weigh_recipes
from castsugar.cli.answer import Answer, answer, units_of
from castsugar.cli.bench_option import (
    add_bench_option,
    add_syrup_options,
    read_shelf,
    world_of,
)
from castsugar.cli.kitchen import contributions_of, cook_conditions, kitchen_rows
from castsugar.cli.kitchen_options import (
    add_kitchen_options,
    asked_kitchen,
)
from castsugar.cli.output import add_output_options
from castsugar.cli.plan_words import beside, command_of, invented, question, titled
from castsugar.cli.quantities import quantity
from castsugar.errors import CastsugarError, InputError, ValidityError

if TYPE_CHECKING:
    from castsugar.bench.world import World
    from castsugar.data.load import Database
    from castsugar.kitchen.heat import Cook
    from castsugar.kitchen.inverse import Drying, PourHeat
    from castsugar.kitchen.parameters import Kitchen
    from castsugar.report.plan import Planned

#: Heats beside the one that is asked for, and where that does not do [K].
_BESIDE, _COLDER = (-10.0, -5.0, 5.0), (-5.0, -10.0, -15.0, -20.0, -25.0, -30.0)

#: So many cooks are shown beside it.
_SHOWN = 3


def add_parsers(inner: Any) -> None:
    """Add the two questions."""
    _add_water(inner)
    _add_heat(inner)


def _add_water(inner: Any) -> None:
    words = "how long to cook until so much water is left"
    parser = _cooked(inner, "water", run_water, words)
    parser.add_argument(
        "--left",
        type=quantity("--left"),
        required=True,
        metavar="SHARE",
        help="water left in the mix, '1 %%' of what is cast",
    )


def _add_heat(inner: Any) -> None:
    words = "at which bulk temperature a mix pours"
    parser = _cooked(inner, "heat", run_heat, words)
    parser.add_argument(
        "--probability",
        type=quantity("--probability"),
        metavar="SHARE",
        help="share of the draws that must pour (default that of your limit on "
        "pour_viscosity_Pa_s, else 50 %%)",
    )


def _cooked(
    inner: Any, name: str, run: Callable[[argparse.Namespace], int], words: str
) -> Any:
    """Add a question to the kitchen."""
    parser = question(inner, name, run, words)
    conditions = parser.add_argument_group("conditions")
    add_bench_option(conditions)
    add_syrup_options(conditions)
    add_kitchen_options(conditions)
    add_output_options(parser)
    return parser


# ----------------------------------------------------------------------------
# Questions to the kitchen.


class _Pan:
    """A mix and its kitchen as asked for."""

    def __init__(self, options: argparse.Namespace) -> None:
        from castsugar.data.load import load_database

        self.options, self.world = options, world_of(options)
        self.database: Database = load_database()
        self.kitchen: Kitchen = asked_kitchen(options, self.database, None)
        shelf = read_shelf(options)
        (self.mix,) = weigh_recipes(self.database, [options.recipe], shelf=shelf)
        self.shelf = shelf

    def basis(self) -> dict[str, Any]:
        """Return what the answer rests on."""
        from castsugar.mix.basis import basis

        return basis([self.mix], kitchen=self.kitchen)

    def row(self, cook: Cook, **more: Any) -> dict[str, Any]:
        """Return what the kitchen says after a cook, with its heat and minutes."""
        from castsugar.report.field import INTERVAL
        from castsugar.report.plan_kitchen import COOKED
        from castsugar.units import to_celsius

        at = self.kitchen.changed(cook=cook)
        (said,) = kitchen_rows([self.mix], at)
        own = {
            "bulk_C": to_celsius(cook.pour_temperature),
            "minutes": cook.duration / 60.0,
        }
        known = said | own | more
        keys = [f"{one.key}{end}" for one in COOKED for end in ("", INTERVAL)]
        return {key: known[key] for key in keys if key in known}

    def told(self, hottest: Cook, words: Sequence[str]) -> Planned:
        """Return what stands beside the answer; `words` are those to go on with."""
        from castsugar.assumptions import kitchen_assumptions
        from castsugar.report.cautions import chosen
        from castsugar.report.kitchen import cook_words
        from castsugar.report.plan import Planned

        say = units_of(self.options).rule
        facts, topics = self._facts(hottest), ("kitchen",)
        return Planned(
            name=titled(self.mix.name),
            conditions=partial(cook_words, self.kitchen),
            assumed=tuple(kitchen_assumptions(self.kitchen)),
            cautions=chosen(self.database.cautions, facts, topics, say=say),
            next=command_of(self.options, words),
            invented=invented(self.world, self.mix, {"lots", "kitchen"}),
            **beside(self.options),
        )

    def document(self, told: Planned, hottest: Cook) -> dict[str, Any]:
        """Return version, conditions, assumptions and cautions of the document."""
        facts = self._facts(hottest)
        return {
            "version": self.database.version,
            "conditions": cook_conditions(self.kitchen),
            "assumptions": list(told.assumed),
            "cautions": [c.text for c in self.database.cautions_for("kitchen", facts)],
        }

    def _facts(self, hottest: Cook) -> dict[str, float]:
        from castsugar.report.cautions import pan_facts

        at = self.kitchen.changed(cook=hottest)
        return pan_facts(kitchen=at, bench=self.shelf.bench)

    def ask(self, question: Callable[[], Any]) -> Any:
        """Return an answer; what has no model is said of the recipe."""
        from castsugar.units import to_celsius

        if self.kitchen.too_hot:
            raise InputError(
                f"the cook reaches {to_celsius(self.kitchen.cook.hottest):.4g} C: "
                "there is no model above 150 C in the bulk; cook colder"
            )
        try:
            return question()
        except ValidityError as error:
            raise InputError(
                f"the kitchen has no answer for {self.options.recipe!r}: {error}; "
                "castsugar kitchen judge models nitrate, sucrose and syrups"
            ) from None


def run_water(options: argparse.Namespace) -> int:
    """Say how long to cook until so much water is left."""
    from castsugar.kitchen.inverse import drying_time
    from castsugar.report import plan_kitchen as words

    asked = _Pan(options)
    left, kitchen = options.left.value, asked.kitchen
    try:
        found = asked.ask(partial(drying_time, asked.mix, kitchen, left))
    except InputError as error:
        if "no cook leaves" not in str(error):
            raise
        raise InputError(f"--left {options.left.text!r}: {error}") from None
    cooks = _drying_cooks(asked, found)
    rows = [row for _, row in cooks]
    planned = asked.row(kitchen.cook)
    cook = cooks[0][0] if cooks else kitchen.cook
    told = asked.told(cook, ["kitchen", "judge", options.recipe, *_cook_words(cook)])
    given = Answer(
        command="plan_water",
        screen=partial(words.water_screen, found, rows, planned, kitchen, told),
        parts=partial(words.water_parts, found, rows, planned),
        told=asked.document(told, cook),
        basis=asked.basis,
        rows=rows,
        fields=words.COOKED,
    )
    answer(options, given)
    return 0 if found.cook is not None else 1


def _to_the_minute(cook: Cook, found: Drying) -> Cook:
    """Return the cook until an answer, rounded up to a tenth of a minute."""
    return cook.lasting(6.0 * math.ceil(found.time / 6.0 - 1e-9))


def _drying_cooks(asked: _Pan, found: Drying) -> list[tuple[Cook, dict[str, Any]]]:
    """Return the cook asked for, and colder and hotter ones that leave as much.

    Each with what the kitchen says after it.
    """
    from castsugar.kitchen.inverse import drying_time
    from castsugar.report.field import INTERVAL

    cooks, cook = [], asked.kitchen.cook
    for step in (0.0, *(_BESIDE if found.cook is not None else _COLDER)):
        heat = cook.pour_temperature + step
        try:
            at = asked.kitchen.changed(cook=cook.ending_at(heat))
            one = drying_time(asked.mix, at, found.left) if step else found
            if one.cook is None:
                continue
            band = {f"minutes{INTERVAL}": tuple(end / 60.0 for end in one.band)}
            until = _to_the_minute(at.cook, one)
            cooks.append((until, asked.row(until, **band)))
        except CastsugarError:  # no model at this heat
            if not step:
                raise
    return cooks[: _SHOWN + (found.cook is not None)]


def run_heat(options: argparse.Namespace) -> int:
    """Say which heat pours."""
    from castsugar.kitchen.inverse import pour_heat
    from castsugar.report import plan_kitchen as words
    from castsugar.report.kitchen_belief import measurement_of

    asked = _Pan(options)
    share, thickest = _limit(asked.world)
    if options.probability is not None:
        share = options.probability.value
    ask = partial(pour_heat, asked.mix, asked.kitchen, share, thickest=thickest)
    found = asked.ask(ask)
    cooks = [asked.kitchen.cook.ending_at(heat) for heat in _heats(found)]
    rows = [asked.row(cook) for cook in cooks]
    command = ["kitchen", "judge", options.recipe, *_cook_words(cooks[0])]
    if math.isnan(found.low) and found.chance:  # measure what the pour hangs on most
        shares = contributions_of([asked.mix], asked.kitchen)
        name = measurement_of(shares, asked.kitchen.belief)
        command = ["kitchen", name, "--how"]
    told = asked.told(cooks[0], command)
    given = Answer(
        command="plan_heat",
        screen=partial(words.heat_screen, found, rows, asked.kitchen, told),
        parts=partial(words.heat_parts, found, rows, asked.kitchen),
        told=asked.document(told, cooks[0]),
        basis=asked.basis,
        rows=rows,
        fields=words.COOKED,
    )
    answer(options, given)
    return 1 if math.isnan(found.low) else 0


def _limit(world: World | None) -> tuple[float, float]:
    """Return the share of the draws and the viscosity [Pa s] that a bench asks for."""
    from castsugar.kitchen.suspension import POURS_BELOW

    stated = (world.bench.limits if world else {}).get("pour_viscosity_Pa_s") or {}
    share, thickest = stated.get("probability"), stated.get("at_most")
    if not isinstance(thickest, float | int):
        thickest = POURS_BELOW
    return (share or 0.5, float(thickest))


def _heats(found: PourHeat) -> list[float]:
    """Return the heat to pour at, to a degree that a thermometer tells, and others."""
    from castsugar.constants import ICE_POINT
    from castsugar.kitchen.parameters import POUR_RANGE
    from castsugar.units import to_celsius

    if math.isnan(found.low):
        best = found.best
        near = (best + step for step in (*_BESIDE, -_BESIDE[0]))
        coldest, hottest = POUR_RANGE[0], found.limit
        return [best, *(t for t in near if coldest <= t <= hottest)]
    low, high = to_celsius(found.low), to_celsius(found.high)
    step = 1.0 if math.ceil(low) <= high else 0.1
    first, last = (
        step * f(t / step) for f, t in ((math.ceil, low), (math.floor, high))
    )
    first = min(first, high)
    middle = round(0.5 * (first + last))
    heats = dict.fromkeys([first, *(t for t in (middle, last) if first < t <= high)])
    return [t + ICE_POINT for t in heats]


def _cook_words(cook: Cook) -> list[str]:
    """Return a cook as it is typed."""
    from castsugar.units import to_celsius

    heats = [f"{to_celsius(t):.6g} C" for t in cook.temperatures]
    start = cook.times[0]
    minutes = [f"{(t - start) / 60.0:.6g} min" for t in cook.times]
    if len(set(heats)) == 1:
        return ["--cook", f"{heats[0]} {minutes[-1]}"]
    points = zip(minutes, heats, strict=True)
    return ["--cook", ", ".join(f"{time} {heat}" for time, heat in points)]
