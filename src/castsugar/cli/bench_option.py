"""The option --bench, and what is stated about the syrup at hand."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from castsugar import plausible
from castsugar.asked import Shelf
from castsugar.cli.quantities import in_si, quantity
from castsugar.errors import CastsugarError, InputError

if TYPE_CHECKING:
    from castsugar.bench.world import World
    from castsugar.mix.mix import Mix
    from castsugar.mix.weighing import Lot


# ----------------------------------------------------------------------------
# Options that state what the syrup at hand is: dry solids and dextrose equivalent.


def add_syrup_options(parser: argparse._ActionsContainer) -> None:
    """Add the options to a command."""
    parser.add_argument(
        "--syrup-solids",
        type=quantity("--syrup-solids"),
        metavar="SHARE",
        help="dry solids of the syrup at hand, '79 %%' (default: those of its grade)",
    )
    parser.add_argument(
        "--syrup-grade",
        metavar="DE",
        help="dextrose equivalent of the syrup at hand, for example 42",
    )


def read_syrup_lot(options: argparse.Namespace) -> Lot | None:
    """Return what is stated about the syrup; None if nothing is; raises InputError."""
    from castsugar.mix.weighing import Lot

    solids, grade = in_si(options.syrup_solids), None
    if (typed := options.syrup_grade) is not None:
        try:
            grade = float(typed)
        except ValueError:
            raise InputError(
                f"--syrup-grade is {typed!r}; give the dextrose equivalent as a "
                "number, for example 42"
            ) from None
        plausible.checked(
            "dextrose equivalent", grade, plausible.said_at("--syrup-grade")
        )
    if solids is None and grade is None:
        return None
    return Lot(dry_solids=solids, dextrose_equivalent=grade)


# ----------------------------------------------------------------------------
# The option --bench: one file that says everything about the user's world.

#: The water that leaves does not hang on the draws: few will do.
_FEW = 20

#: The bench file of a folder, taken where none is named.
BENCH = "bench.toml"


class Once(argparse.Action):
    """Take a file once, or the same one again; another one is refused."""

    def __call__(
        self, parser: Any, namespace: Any, values: Any, option_string: Any = None
    ) -> None:
        """Keep the name; a word that may be missing is called with None."""
        if values is None:
            return
        before = getattr(namespace, self.dest, None)
        if before is not None and before != values:
            raise InputError(
                f"{before} and {values} are two bench files; one says everything: put "
                "both into one and name it by --bench"
            )
        setattr(namespace, self.dest, values)


def add_bench_option(parser: Any) -> None:
    """Add --bench and --no-bench to a command, or to a group of its options."""
    parser.add_argument(
        "--bench",
        action=Once,
        metavar="FILE",
        help="bench file (TOML): your kitchen, motor, lots and recipes by name "
        f"(default: {BENCH} of this folder, if it is there)",
    )
    words = f"leave the {BENCH} of this folder alone"
    parser.add_argument("--no-bench", action="store_true", help=words)


def settle_bench(options: argparse.Namespace) -> None:
    """Fill in which bench file is meant, and say in `bench_said` how it was found.

    `bench` is its name, or None; `bench_said` is "(bench.toml)" if nobody typed it.

    Raises
    ------
    InputError
    """
    options.bench_said = ""
    if not hasattr(options, "no_bench"):
        return
    from pathlib import Path

    from castsugar.files.paths import status

    if options.bench == "":
        raise InputError("--bench is empty; give a name or leave it out")
    if options.bench is not None and options.no_bench:
        raise InputError(f"--bench {options.bench} and --no-bench; leave one out")
    there = options.bench is None and not options.no_bench
    if there and status(Path(BENCH)) is not None:
        options.bench, options.bench_said = BENCH, f"({BENCH})"


def world_of(options: argparse.Namespace) -> World | None:
    """Return the world of a command, read once; None without a bench file.

    Raises
    ------
    InputError
        The one of a folder names --no-bench, for nobody asked for it.
    """
    if options.bench is None:
        return None
    known = vars(options)
    if "world" not in known:
        from castsugar.bench.world import read

        try:
            known["world"] = read(options.bench)
        except CastsugarError as error:
            if not options.bench_said:
                raise
            raise type(error)(
                f"{error} (--no-bench leaves {options.bench} alone)"
            ) from None
    world: World = known["world"]
    return world


def stated_world(options: argparse.Namespace) -> World:
    """Return the world of a command that cannot do without; raises InputError."""
    world = world_of(options)
    if world is None:
        raise InputError(
            f"{options.command} needs a bench file: name it by --bench FILE, or go to "
            f"the folder of a {BENCH} (castsugar init writes an example)"
        )
    return world


def read_shelf(options: argparse.Namespace) -> Shelf:
    """Read --bench and what is stated about the syrup; raises InputError."""
    world, syrup = world_of(options), read_syrup_lot(options)
    if world is None:
        return Shelf(syrup=syrup)
    return Shelf(syrup=syrup, bench=world.bench, lots=world.lots)


def as_cooked(mix: Mix, world: World, *, water_lost: float | None = None) -> Mix:
    """Return a mix cast as the cook in [kitchen] leaves it, or with a stated loss.

    As it is without a cook.
    """
    learnt = world.kitchen
    if learnt is None:
        return mix
    from castsugar.kitchen.pour_table import as_cast

    return as_cast(mix, learnt.changed(draws=_FEW, water_lost=water_lost))
