"""The user's world, read once: a bench file, and what its tables amount to."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from functools import cached_property
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, Any

from castsugar.bench.bench import Bench, read_bench
from castsugar.bench.conditions import conditions_of
from castsugar.data.load import Database, load_database
from castsugar.errors import unknown_name
from castsugar.frozen import dataclass

if TYPE_CHECKING:
    from castsugar.bench.burned import Files
    from castsugar.kitchen.calibration import Learnt
    from castsugar.kitchen.heat import Cook
    from castsugar.kitchen.parameters import Kitchen
    from castsugar.limits import Requirement
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

        return hardware_of(self.bench, self.database, self.files)

    @cached_property
    def files(self) -> Files:
        """Files of strands that were read."""
        return {}

    @cached_property
    def limits(self) -> tuple[Requirement, ...]:
        """What a mix must keep: the limits of the file, and the allowed pressure."""
        from castsugar.bench.search import limits_of_bench

        return limits_of_bench(self.bench, self.motor)

    @property
    def conditions(self) -> dict[str, Any]:
        """`pressure`, `exit_pressure` [Pa] and `flow`, as every command takes them."""
        return conditions_of(self.bench).options()

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
            parsed,
            name=name,
            lots=self._lots_in(parsed.parts),
            process=self.bench.processes.get(recipe, ""),
            database=self.database,
        )

    @cached_property
    def invented(self) -> tuple[str, ...]:
        """The entries that say of themselves, or whose file says, that it is invented.

        In the order of the file, as :attr:`castsugar.bench.bench.Bench.invented` names
        them; strands with their file: "motor.burn_law[0]: strands.csv".
        """
        motor = self.bench.motor or {"burn_law": (), "firing": ()}
        laws = {e["entry"]: e for e in (*motor["burn_law"], *motor["firing"])}
        plain = [name for name in self.bench.invented if name not in laws]
        found = [self._invented_law(entry) for entry in laws.values()]
        return (*plain, *(name for name in found if name))

    def _invented_law(self, entry: Mapping[str, Any]) -> str:
        """Return what an invented burn law is called; empty for another."""
        from castsugar.readings.tables import is_invented

        flagged = bool(self.bench.invented_in(entry["entry"]))
        file = entry.get("strands") or ("rate_u" in entry and entry["source"])
        if not file:
            return str(entry["entry"]) if flagged else ""
        name = f"{entry['entry']}: {file}"
        path = self.bench.path.parent / file
        return name if flagged or (path.is_file() and is_invented(path)) else ""

    def invented_for(
        self, mixes: Iterable[Mix | str], *, uses: Collection[str]
    ) -> tuple[str, ...]:
        """Return what is invented behind an answer on some mixes, in order.

        Parameters
        ----------
        mixes : iterable of Mix or str
            Recipes, names of recipes or mixes.
        uses : collection of str
            What the answer takes from the file: "lots", "kitchen" (the ball fall only
            where a mix holds syrup), "motor" with the burn laws that these mixes burn
            by, and any other table, such as "scale" or "pan".

        Raises
        ------
        CastsugarError
            As for :meth:`mix` and :attr:`motor`.
        """
        made = [self.mix(one) if isinstance(one, str) else one for one in mixes]
        found: set[str] = set()
        for table in set(uses) - {"lots", "motor"}:
            found.update(self.bench.invented_in(table))
        if not any(mix.syrups for mix in made):
            measured = self.bench.kitchen.get("measured", [])
            found -= {
                f"kitchen.measured[{index}]"
                for index, entry in enumerate(measured)
                if entry["kind"] == "ball fall"
            }
        if made and "motor" in uses and self.motor is not None:
            found.update(self.motor.all_invented)
        for mix in made:
            if "lots" in uses:
                lots = self._lots_in(mix.recipe).values()
                found.update(name for lot in lots for name in lot.invented)
        return tuple(name for name in self.invented if name in found)

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

    Returns
    -------
    World
        Its parts are worked out when they are first asked for.

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
