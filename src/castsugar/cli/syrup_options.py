"""Options that state what the syrup at hand is: dry solids and dextrose equivalent."""

from __future__ import annotations

import argparse
from collections.abc import Iterable
from typing import TYPE_CHECKING

from castsugar.cli.quantities import in_si, quantity

if TYPE_CHECKING:
    from castsugar.data.load import Database
    from castsugar.mix.weighing import Lot


def add_syrup_options(parser: argparse.ArgumentParser) -> None:
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
    """Return what is stated about the syrup; None if nothing is.

    Raises
    ------
    InputError
    """
    from castsugar import plausible
    from castsugar.errors import InputError
    from castsugar.mix.weighing import Lot

    solids, grade = in_si(options.syrup_solids), None
    if options.syrup_grade is not None:
        try:
            grade = float(options.syrup_grade)
        except ValueError:
            raise InputError(
                f"--syrup-grade is {options.syrup_grade!r}; give the dextrose "
                "equivalent as a number, for example 42"
            ) from None
        plausible.checked(
            "dextrose equivalent", grade, plausible.said_at("--syrup-grade")
        )
    if solids is None and grade is None:
        return None
    return Lot(dry_solids=solids, dextrose_equivalent=grade)


def syrup_lots(
    database: Database, lot: Lot | None, recipes: Iterable[Iterable[str]]
) -> list[dict[str, Lot]]:
    """Return the lots of each recipe: the stated one for every syrup in it.

    Raises
    ------
    InputError
        If a lot is stated and no recipe holds a syrup.
    """
    from castsugar.data.records import Syrup
    from castsugar.errors import InputError, UnknownNameError

    def is_syrup(name: str) -> bool:
        try:
            return isinstance(database.find(name), Syrup)
        except UnknownNameError:
            return False  # the weighing will say so with the nearest names

    found = []
    for names in recipes:
        syrups = [name for name in names if lot is not None and is_syrup(name)]
        found.append({name: lot for name in syrups if lot is not None})
    if lot is not None and not any(found):
        raise InputError("--syrup-solids or --syrup-grade, but no recipe holds a syrup")
    return found
