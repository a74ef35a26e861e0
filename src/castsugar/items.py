"""Items of a recipe: what is put on the scale, as pure substances per mass."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from castsugar import weighing
from castsugar.data.load import Database
from castsugar.expand import Constituent, Lot, expand, syrup_use
from castsugar.syrups import SyrupUse


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """One item of a recipe: its pure substances per mass, and what syrup it is."""

    constituents: tuple[Constituent, ...]
    syrup: SyrupUse | None


def with_solids(item: Item, solids: Mapping[str, float]) -> Item:
    """Return an item with the dry solids of its syrup changed."""
    if item.syrup is None or item.syrup.name not in solids:
        return item
    changed = weighing.with_solids(item.constituents, [item.syrup], solids)
    syrup = replace(item.syrup, dry_solids=solids[item.syrup.name])
    return Item(constituents=tuple(changed), syrup=syrup)


def weigh_items(
    data: Database,
    items: Sequence[str],
    lots: Mapping[str, Lot],
    alternatives: Mapping[str, str],
) -> tuple[Item, ...]:
    """Return the pure substances of each item."""
    known = weighing.by_item(data, lots, dict.fromkeys(items, 1.0), "lot")
    rivals = {
        weighing.item_name(data, key): value for key, value in alternatives.items()
    }
    found = []
    for item in items:
        lot = known.get(weighing.item_name(data, item))
        constituents = tuple(expand(data, item, 1.0, lot, rivals))
        syrup = syrup_use(data, item, 1.0, lot)
        found.append(Item(constituents=constituents, syrup=syrup))
    weighing.check_alternatives(rivals, [c for i in found for c in i.constituents])
    return tuple(found)
