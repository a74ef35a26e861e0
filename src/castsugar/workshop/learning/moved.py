"""How predictions move: the user's recipes before and after learning."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from castsugar.data.load import Database
from castsugar.errors import CastsugarError
from castsugar.evaluation import evaluate
from castsugar.kitchen.heat import Cook, parse_cook
from castsugar.kitchen.parameters import Kitchen
from castsugar.mix.mix import Mix
from castsugar.mix.text import parse_recipe
from castsugar.mix.weighing import catalogue_shares
from castsugar.motor.hardware import Hardware
from castsugar.motor.pressure_table import SAME_MIX, differs
from castsugar.workshop.batches.batch import Batch
from castsugar.workshop.bench import Bench
from castsugar.workshop.lots import lots_of
from castsugar.workshop.schema import Place
from castsugar.workshop.search_names import placed

#: Most recipes that are shown: those of the bench file, then the latest batches'.
MOST = 12

#: Columns that learning moves.
COLUMNS = (
    "flow_class",
    "pour_viscosity_Pa_s",
    "pour_viscosity_p10_Pa_s",
    "pour_viscosity_p90_Pa_s",
    "pours_probability",
    "chamber_pressure_MPa",
    "chamber_pressure_p95_MPa",
    "pressure_margin",
    "burn_law_origin",
    "flags",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """A recipe to predict: what it is called, its mass fractions, its cook."""

    name: str
    fractions: dict[str, float]
    cook: str
    minutes: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Moved:
    """What is predicted of a recipe, before and after.

    Attributes
    ----------
    name, cook : str
    before, after : dict
        Those of :data:`COLUMNS`; empty where it cannot be predicted.
    fault : str
        Why not.
    """

    name: str
    cook: str
    before: dict[str, Any]
    after: dict[str, Any]
    fault: str = ""


def wanted_of(
    bench: Bench, batches: Sequence[Batch], database: Database
) -> tuple[list[Wanted], int]:
    """Return the recipes to predict, and how many were left out for length."""
    table = bench.kitchen
    cook, minutes = table.get("cook") or "", table.get("minutes")
    found: list[Wanted] = []
    for name, text in bench.recipes.items():
        with placed(Place(bench.path, bench.text, "recipes"), name):
            parts = catalogue_shares(database, parse_recipe(text).parts)
        _add(found, Wanted(name=name, fractions=parts, cook=cook, minutes=minutes))
    for batch in reversed(batches):
        made = batch.made
        name = made.name or made.recipe
        entry = Wanted(
            name=name,
            fractions=dict(made.fractions),
            cook=made.cook,
            minutes=made.minutes,
        )
        _add(found, entry)
    return found[:MOST], max(0, len(found) - MOST)


def _add(found: list[Wanted], new: Wanted) -> None:
    """Add a recipe that is not there yet."""
    for old in found:
        alike = differs(old.fractions, new.fractions) < SAME_MIX
        if alike and (old.cook, old.minutes) == (new.cook, new.minutes):
            return
    found.append(new)


def moved(
    wanted: Sequence[Wanted],
    bench: Bench,
    database: Database,
    *,
    kitchens: tuple[Kitchen, Kitchen],
    motors: tuple[Hardware | None, Hardware | None],
) -> list[Moved]:
    """Predict recipes before and after.

    Parameters
    ----------
    wanted : sequence of Wanted
    bench, database
        Lots in use come from the bench file.
    kitchens, motors : tuple of before, after
        The cook of each recipe takes the place of the kitchens' own.
    """
    lots = {item: lot for item, (lot, _) in lots_of(bench, database).items()}
    found = []
    for entry in wanted:
        try:
            cook = parse_cook(entry.cook, entry.minutes) if entry.cook else None
            parts = entry.fractions
            used = {n: lot for n, lot in lots.items() if n in parts}
            mix = Mix.put_together(parts, name=entry.name, lots=used, database=database)
            both = [
                _predicted(mix, cook, kitchen, motor)
                for kitchen, motor in zip(kitchens, motors, strict=True)
            ]
        except CastsugarError as error:
            found.append(_unknown(entry, str(error)))
            continue
        before, after = both
        found.append(
            Moved(name=entry.name, cook=_words(entry), before=before, after=after)
        )
    return found


def _unknown(entry: Wanted, fault: str) -> Moved:
    return Moved(name=entry.name, cook=_words(entry), before={}, after={}, fault=fault)


def _words(entry: Wanted) -> str:
    if not entry.cook:
        return ""
    held = f", {entry.minutes:g} min" if entry.minutes is not None else ""
    return f"{entry.cook}{held}"


def _predicted(
    mix: Mix, cook: Cook | None, kitchen: Kitchen, motor: Hardware | None
) -> dict[str, Any]:
    """Return the columns that learning moves."""
    table = evaluate(
        [mix],
        kitchen=None if cook is None else kitchen.changed(cook=cook),
        motor=motor,
        confirm=False,
    )
    row: Mapping[Any, Any] = table.to_dict("records")[0]
    return {key: _plain(row[key]) for key in COLUMNS if key in row}


def _plain(value: Any) -> Any:
    return value.item() if hasattr(value, "item") else value
