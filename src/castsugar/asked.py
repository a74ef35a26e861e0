"""What is asked of mixes: under what they burn, in which kitchen, motor and lots."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import field, replace
from typing import TYPE_CHECKING, Any

from castsugar.errors import CastsugarError, InputError, UnknownNameError, unknown_name
from castsugar.frozen import dataclass

if TYPE_CHECKING:
    from castsugar.bench.bench import Bench
    from castsugar.bench.world import World
    from castsugar.comparison.uncertain_inputs import Doubts
    from castsugar.conditions import Conditions
    from castsugar.data.load import Database
    from castsugar.kitchen.parameters import Kitchen
    from castsugar.mix.blends import Blends
    from castsugar.mix.mix import Mix
    from castsugar.mix.weighing import Lot
    from castsugar.motor.hardware import Hardware
    from castsugar.report.mixes import Mixes
    from castsugar.report.sweep import Many
    from castsugar.thermo.species import SpeciesTable
    from castsugar.units import Quantity

#: Up to this many mixes the second solver is asked without being told to, and bands are
#: drawn.
MOST_CONFIRMED = 20

_REAL_MOTORS = (
    "small motors deliver clearly less than this; a firing with pressure and "
    "propellant mass measures how much"
)


@dataclass(frozen=True, slots=True)
class Question:
    """Conditions, kitchen, motor and lots of a question, read."""

    conditions: Conditions
    water_lost: float | None
    alternatives: dict[str, str]
    data: str
    uncertainty: bool
    kitchen: Kitchen | None
    motor: Hardware | None
    shelf: Shelf
    database: Database
    world: World | None = None

    @property
    def pressure(self) -> Quantity:
        """In the chamber."""
        return self.conditions.pressure

    @property
    def leaving(self) -> Quantity | None:
        """Pressure at the exit; None for the chamber only."""
        return self.conditions.exit_pressure

    @property
    def flow(self) -> str:
        """How the products expand."""
        return self.conditions.nozzle_flow

    @property
    def species(self) -> SpeciesTable:
        """The product set asked for."""
        from castsugar.rows import species_set

        return species_set(self.data)

    def for_table(self, mixes: int) -> Question:
        """Return them for a table of so many mixes: a large one takes few draws."""
        from castsugar.draw_set import draws_of

        kitchen, motor = self.kitchen, self.motor
        if kitchen is not None:
            kitchen = kitchen.changed(draws=draws_of(mixes, kitchen.draws))
        if motor is not None:
            motor = replace(motor, draws=draws_of(mixes, motor.draws))
        return replace(self, kitchen=kitchen, motor=motor)

    def draws_words(self, mixes: int) -> str:
        """Say that a table takes few draws; empty if it takes all, or none."""
        from castsugar.draw_set import DRAWS, FEW_DRAWS, MANY

        if mixes <= MANY or (self.kitchen is None and self.motor is None):
            return ""
        return f"{FEW_DRAWS} of {DRAWS:,} draws, for more than {MANY} mixes"

    def evaluate_options(self) -> dict[str, Any]:
        """Return the options as those of :func:`castsugar.evaluate`."""
        return {
            **self.conditions.options(),
            "data_uncertainty": self.uncertainty,
            "kitchen": self.kitchen,
            "motor": self.motor,
            "species": self.species,
        }

    def weigh(self, recipes: Sequence[str]) -> list[Mix]:
        """Read recipes as typed, weighed as the options say."""
        return weigh_recipes(
            self.database,
            list(recipes),
            water_lost=self.water_lost or 0.0,
            alternatives=self.alternatives,
            shelf=self.shelf,
        )

    def cast(self, mixes: Sequence[Mix]) -> list[Mix]:
        """Return mixes with the water that the kitchen leaves in them."""
        if self.kitchen is None:
            return list(mixes)
        from castsugar.kitchen.pour_table import cook
        from castsugar.mix.blends import of_mixes

        cooked = cook(of_mixes(mixes), self.kitchen, window=False, boils=False)
        return list(cooked.blends.mixes)

    def basis(
        self, mixes: Iterable[Mix] | Blends, *, drawn: bool = False
    ) -> dict[str, Any]:
        """Return what an answer on mixes rests on; see :mod:`castsugar.mix.basis`.

        `drawn`: it has bands, which hold what another product set would say.
        """
        from castsugar.mix.basis import basis

        given = self.evaluate_options()
        both = bool(given["data_uncertainty"]) or drawn
        return basis(mixes, **(given | {"data_uncertainty": both}))

    def told(self, found: Mixes | Many, more: Sequence[str] = ()) -> dict[str, Any]:
        """Return what a document says beside the numbers; `more` was assumed, too."""
        return {
            "version": self.database.version,
            **self.to_dict(),
            "assumptions": [*found.notes, *more],
            "cautions": list(found.cautions_in_full),
        }

    def to_dict(self) -> dict[str, Any]:
        """Return plain values, units in the keys."""
        syrup = self.syrup
        return {
            "conditions": self.conditions.to_dict(),
            "water_lost": self._water_lost(),
            "enthalpy_alternatives": self.alternatives,
            "product_set": self.data,
            "syrup_dry_solids": syrup and syrup.dry_solids,
            "syrup_dextrose_equivalent": syrup and syrup.dextrose_equivalent,
        }

    @property
    def syrup(self) -> Lot | None:
        """What is stated about every syrup."""
        return self.shelf.syrup

    def lots_for(self, database: Database, items: Sequence[str]) -> dict[str, Lot]:
        """Return the lots of ingredients, by catalogue name."""
        return self.shelf.of(database, [items])[0]

    def _water_lost(self) -> float | None:
        """Return the share that is stated; None if the kitchen decides."""
        if self.water_lost is None and self.kitchen is None:
            return 0.0
        return self.water_lost

    def pressures_text(self) -> str:
        """Say the pressures, as typed beside SI."""
        text = f"chamber {self.pressure.echo()} ({self.pressure.value / 1e6:.4g} MPa)"
        if self.leaving is not None:
            text += (
                f"; optimum expansion to {self.leaving.echo()} "
                f"({self.leaving.value / 1e3:.4g} kPa)"
            )
        return text

    def assumptions(self) -> list[str]:
        """Say what was assumed, one line each."""
        from castsugar.assumptions import kitchen_assumptions, motor_assumptions
        from castsugar.thermo.flow import FLOWS

        lost = self._water_lost()
        leaves = "what drying and boiling take" if lost is None else f"{100 * lost:g} %"
        exits = self.leaving is not None
        lines = [
            self.pressures_text(),
            *([f"flow {self.flow}: {FLOWS[self.flow]}"] if exits else []),
            f"{leaves} of the recipe's water leaves before the cast; the rest takes "
            "part in the burning",
            "ingredients at 25 C; ideal gas; condensed products without volume, as "
            f"warm and as fast as the gas; products {self.data}",
        ]
        if self.syrup is not None:
            lines.append(f"syrup at hand: {_lot_text(self.syrup)}")
        lots = self.shelf.lots.items()
        lines += [f"lot of {name}: {_lot_text(lot)}" for name, lot in lots]
        if self.kitchen is not None:
            lines += kitchen_assumptions(self.kitchen)
        if self.motor is not None:
            lines += motor_assumptions(self.motor)
        rivals = self.alternatives.items()
        lines += [f"enthalpy of {name}: rival value {rival}" for name, rival in rivals]
        if self.uncertainty:
            lines.append(
                "± is one standard uncertainty of the data alone: other product set "
                "and enthalpies of formation"
            )
        return [*lines, _REAL_MOTORS]


def _lot_text(lot: Lot) -> str:
    """Say what is stated about a bag or bottle."""
    parts = (
        (lot.assay, 100, "assay {:g} % (dry basis)"),
        (lot.moisture or None, 100, "{:g} % water"),
        (lot.inert or None, 100, "{:g} % inert (dry basis)"),
        (lot.dry_solids, 100, "{:g} % dry solids"),
        (lot.dextrose_equivalent, 1, "dextrose equivalent {:g}"),
    )
    return ", ".join(
        words.format(scale * stated)
        for stated, scale, words in parts
        if stated is not None
    )


#: Batch and step of the scale where nothing is stated. [kg]
BATCH, STEP = 0.2, 1e-4


def doubts_of(
    bench: Bench | None, *, step: float | None = None, batch: float | None = None
) -> tuple[float, Doubts]:
    """Return the step of the scale [kg], and what is doubted about a batch.

    Parameters
    ----------
    step, batch : float, optional
        As typed, before what the bench file states. [kg]

    Raises
    ------
    InputError
    """
    from castsugar.comparison.uncertain_inputs import Doubts

    scale: dict[str, Any] = (bench.scale if bench else None) or {}
    search: dict[str, Any] = (bench.search if bench else None) or {}

    def first(*values: float | None) -> float:
        return next(float(one) for one in values if one is not None)

    step = first(step, scale.get("step"), STEP)
    batch = first(batch, search.get("batch"), BATCH)
    if step > batch:
        raise InputError(
            f"the scale step is {1e3 * step:g} g, the batch {1e3 * batch:g} g; it must "
            "be at least one step"
        )
    accuracy = scale.get("accuracy") or 0.5 * step
    return step, Doubts(weighing=min(accuracy, 0.2 * batch), batch=batch)


# ----------------------------------------------------------------------------
# From recipes as typed to mixes.


@dataclass(frozen=True, slots=True, kw_only=True)
class Shelf:
    """What is weighed from: one syrup for all, the bench, lots by catalogue name."""

    syrup: Lot | None = None
    bench: Bench | None = None
    lots: Mapping[str, Lot] = field(default_factory=dict)

    def of(
        self, database: Database, recipes: Sequence[Sequence[str]]
    ) -> list[dict[str, Lot]]:
        """Return the lots of each recipe, by catalogue name: first the stated syrup.

        Raises
        ------
        InputError
            If a syrup is stated and no recipe holds one.
        """
        from castsugar.mix import weighing

        syrups = {
            typed
            for typed in itertools.chain(*recipes)
            if self.syrup is not None and _is_syrup(database, typed)
        }
        if self.syrup is not None and not syrups:
            raise InputError(
                "--syrup-solids or --syrup-grade, but no recipe holds a syrup"
            )
        found: list[dict[str, Lot]] = []
        for names in recipes:
            found.append({})
            for typed in names:
                try:
                    item = weighing.item_name(database, typed)
                except CastsugarError:
                    continue  # the weighing will say so
                lot = self.syrup if typed in syrups else self.lots.get(item)
                if lot is not None:
                    found[-1][item] = lot
        return found


def _is_syrup(database: Database, name: str) -> bool:
    from castsugar.data.records import Syrup

    try:
        return isinstance(database.find(name), Syrup)
    except UnknownNameError:
        return False  # the weighing will say so with the nearest names


#: One part of a recipe, as a shell hands it over without quotes.
_PART = re.compile(r"[^:=]+:\s*[0-9.]+%?")


def refuse_unquoted(words: Sequence[str]) -> None:
    """Refuse a recipe that the shell took apart: its parts are no recipes.

    Raises
    ------
    InputError
    """
    parts = [word for word in words if _PART.fullmatch(word)]
    if len(parts) > 1 and all(word in parts or ":" not in word for word in words):
        whole = " ".join(words)
        raise InputError(f'put the recipe in quotes: "{whole}" is one recipe')


def recipe_texts(
    recipes: Sequence[str], bench: Bench | None
) -> tuple[list[str], list[str]]:
    """Return recipes as typed, names of the bench file replaced; and those names.

    A name is empty where a recipe was typed.

    Raises
    ------
    InputError
        For a word that is neither a recipe nor a name of the bench file.
    """
    known = bench.recipes if bench is not None else {}
    refuse_unquoted([word for word in recipes if word.strip() not in known])
    texts, names = [], []
    for word in recipes:
        name = word.strip()
        named = name in known
        if known and not named and ":" not in word:
            raise unknown_name("recipe of the bench file", name, known)
        texts.append(bench.recipe_text(word) if bench is not None else word)
        names.append(name if named else "")
    return texts, names


def weigh_recipes(
    database: Database,
    recipes: list[str],
    *,
    water_lost: float = 0.0,
    alternatives: dict[str, str] | None = None,
    shelf: Shelf | None = None,
) -> list[Mix]:
    """Read recipes as typed; an error says which one it was.

    Names in the bench file of the shelf stand for recipes.
    """
    from castsugar.mix.mix import Mix
    from castsugar.mix.text import parse_recipe

    places = [
        f"recipe {count}" if len(recipes) > 1 else "recipe"
        for count in range(1, len(recipes) + 1)
    ]
    shelf = shelf or Shelf()
    texts, names = recipe_texts(recipes, shelf.bench)
    processes = {} if shelf.bench is None else shelf.bench.processes
    parsed = [
        parse_recipe(typed, where=where)
        for typed, where in zip(texts, places, strict=True)
    ]
    parts = [[name for name, part in recipe.parts if part] for recipe in parsed]
    known = shelf.of(database, parts)
    mixes = []
    for recipe, name, where, own in zip(parsed, names, places, known, strict=True):
        try:
            mix = Mix.weigh(
                recipe,
                name=name,
                water_lost=water_lost,
                lots=own,
                alternatives=alternatives,
                process=processes.get(name, ""),
                database=database,
            )
        except CastsugarError as error:
            raise type(error)(f"{where}: {error}") from None
        mixes.append(mix)
    return mixes
