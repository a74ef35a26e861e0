"""The user's world, read once: a bench file, and what its tables amount to."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, Any

from castsugar.bench.bench import Bench, read_bench
from castsugar.constants import DEFAULT_FLOW, DEFAULT_PRESSURE, STANDARD_ATMOSPHERE
from castsugar.data.load import Database, load_database
from castsugar.errors import unknown_name

if TYPE_CHECKING:
    from castsugar.kitchen.calibration import Learnt
    from castsugar.kitchen.heat import Cook
    from castsugar.kitchen.parameters import Kitchen
    from castsugar.mix.mix import Mix
    from castsugar.mix.weighing import Lot
    from castsugar.motor.hardware import Hardware


@dataclass(frozen=True, eq=False)
class World:
    """What one bench file says. Every part is worked out when it is first asked for.

    Attributes
    ----------
    bench : Bench
        The tables, checked, values in SI.
    database : Database
    """

    bench: Bench
    database: Database

    def __repr__(self) -> str:
        return f"World({str(self.bench.path)!r})"

    @property
    def recipes(self) -> Mapping[str, str]:
        """Name of a mix to its recipe as typed."""
        return self.bench.recipes

    @property
    def units(self) -> str:
        """How results are shown: one of :data:`castsugar.units.SHOWN_AS`."""
        return str(self.bench.units["show"])

    @cached_property
    def lots(self) -> Mapping[str, Lot]:
        """The bag or bottle that each ingredient is weighed from, by catalogue name."""
        if not self.bench.lots:
            return {}
        from castsugar.bench.lots import lots_of

        return {i: lot for i, (lot, _) in lots_of(self.bench, self.database).items()}

    def learnt(self, cook: Cook | None = None) -> Learnt:
        """Return the kitchen for a cook, by default the file's, and what taught it.

        Raises
        ------
        InputError
            Also if neither the file nor the caller has a cook.
        """
        from castsugar.bench.kitchen import learn

        known: dict[Cook | None, Learnt] = self._learnt
        if cook not in known:
            known[cook] = learn(self.bench, cook, self.database)
        return known[cook]

    @cached_property
    def _learnt(self) -> dict[Cook | None, Learnt]:
        return {}

    @property
    def kitchen(self) -> Kitchen | None:
        """The kitchen with the file's cook and measurements; None without a cook."""
        return self.learnt().kitchen if self.bench.kitchen.get("cook") else None

    @property
    def motor(self) -> Hardware | None:
        """Grain, nozzle, case and burn laws; None without the table."""
        return None if self.bench.motor is None else self.stated_motor

    @cached_property
    def stated_motor(self) -> Hardware:
        """The motor; InputError without the table."""
        from castsugar.bench.motor import hardware_of

        return hardware_of(self.bench, self.database)

    @cached_property
    def limits(self) -> dict[str, dict[str, Any]]:
        """Column to `at_least`, `at_most` and `probability`, in its unit."""
        from castsugar.bench.search import stated_limits

        return stated_limits(self.bench, self.motor)

    @property
    def conditions(self) -> dict[str, Any]:
        """`pressure`, `exit_pressure` [Pa] and `flow`: those of [search], if any."""
        if self.bench.search is None:
            return {
                "pressure": DEFAULT_PRESSURE,
                "exit_pressure": STANDARD_ATMOSPHERE,
                "flow": DEFAULT_FLOW,
            }
        from castsugar.bench.search import search_conditions

        stated = search_conditions(self.bench)
        return {
            "pressure": stated.pressure,
            "exit_pressure": stated.exit_pressure,
            "flow": stated.flow,
        }

    def mix(self, recipe: str) -> Mix:
        """Weigh a recipe, or the one of that name, from the lots of the file.

        Raises
        ------
        UnknownNameError, InputError, RefusedError
        """
        from castsugar.mix.mix import Mix
        from castsugar.mix.text import parse_recipe

        if recipe not in self.recipes and ":" not in recipe:
            raise unknown_name("recipe of the bench file", recipe, self.recipes)
        parsed = parse_recipe(self.bench.recipe_text(recipe))
        name = recipe if recipe in self.recipes else " ".join(recipe.split())
        return Mix.weigh(
            parsed, name=name, lots=self._lots_in(parsed.parts), database=self.database
        )

    def _lots_in(self, parts: Sequence[tuple[str, float]]) -> dict[str, Lot]:
        """Return those of the lots that a recipe takes from."""
        from castsugar.mix.weighing import item_name

        items = {item_name(self.database, name) for name, _ in parts}
        return {item: lot for item, lot in self.lots.items() if item in items}


def read(path: str | PathLike[str], *, database: Database | None = None) -> World:
    """Read a bench file; every command and every user takes the world from here.

    Parameters
    ----------
    path : str or path
        A TOML file; ``castsugar init`` writes one to learn from.
    database : Database, optional
        As shipped by default.

    Raises
    ------
    InputError
        File, line, key, what was got, what is allowed, what to do.

    Examples
    --------
    >>> import tempfile
    >>> from castsugar.bench.example import write_example
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     _ = write_example(Path(folder))
    ...     world = read(Path(folder) / "bench.toml")
    ...     world.mix("base").name, round(1e3 * world.motor.throat_diameter, 1)
    ('base', 8.0)
    """
    return World(read_bench(Path(path)), database or load_database())
