"""Items of a recipe as weighed, and syrups of the neighbour grades."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from castsugar.data.load import load_database
from castsugar.errors import ValidityError
from castsugar.mix.syrups import SyrupUse
from castsugar.mix.weighing import Constituent, Item, Lot, weigh_items

#: Half the step of dextrose equivalent between two grades. [DE]
GRADE = 2.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SyrupDoubt:
    """A syrup among the items: its doubts, and the places of its neighbour grades."""

    use: SyrupUse
    place: int
    grades: tuple[int, int] | None


def solids_key(syrup: str) -> str:
    """Return the key of the dry solids of a syrup that no kitchen measured."""
    return f"syrup solids|{syrup}"


def grade_key(syrup: str) -> str:
    """Return the key of the dextrose equivalent of a syrup's composition."""
    return f"dextrose equivalent|{syrup}"


def item_of(
    constituents: Sequence[Constituent], share: float, use: SyrupUse | None
) -> Item:
    """Return pure substances as one item, per mass of it."""
    scaled = tuple(
        replace(c, mass_fraction=c.mass_fraction / share) for c in constituents
    )
    return Item(constituents=scaled, syrup=use)


def neighbours(use: SyrupUse) -> tuple[Item, ...]:
    """Return a syrup one step below and above its grade; none outside the grades."""
    data = load_database()
    try:
        return tuple(
            weigh_items(
                data,
                [use.name],
                {use.name: Lot(dry_solids=use.dry_solids, dextrose_equivalent=grade)},
                {},
            )[0]
            for grade in (use.grade - GRADE, use.grade + GRADE)
        )
    except ValidityError:
        return ()
