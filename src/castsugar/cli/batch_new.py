"""``castsugar batch new``: from what was typed to a record."""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path
from typing import Any

from castsugar.bench.bench import Bench
from castsugar.cli.batch_dates import date_of
from castsugar.cli.quantities import in_si
from castsugar.data.load import Database, load_database
from castsugar.errors import InputError, nearest_names
from castsugar.kitchen.heat import parse_cook
from castsugar.mix.text import Recipe, parse_recipe
from castsugar.mix.weighing import catalogue_shares
from castsugar.records.prediction import foresee, freeze, read_actual, used_lots
from castsugar.records.record import Made
from castsugar.report import data
from castsugar.weigh.charge import equipment_of, read_charge
from castsugar.weigh.sheet import plan


def make(options: argparse.Namespace, bench: Bench | None, folder: Path) -> Made:
    """Return a new batch to be kept, with what is foreseen of it.

    Raises
    ------
    CastsugarError
    """
    database = load_database()
    date = date_of(options.date)
    recipe, name = _recipe(options.recipe, bench)
    draft = Made(
        date=date,
        recipe=recipe.text,
        name=name,
        **_masses(options, recipe, bench, database),
        **_cook(options, bench),
        pressure=options.pressure.value,
        bench=None if bench is None else freeze(bench, folder),
        versions=data.versions(database.version),
        note=options.note or "",
    )
    lots = {i: r.to_dict() for i, (_, r) in used_lots(draft, bench, database).items()}
    draft = replace(draft, lots=lots)
    row, share = foresee(draft, bench, database, water_lost=in_si(options.water_lost))
    return replace(draft, predictions=row, water_lost=share)


def _recipe(typed: str, bench: Bench | None) -> tuple[Recipe, str]:
    """Return a recipe as typed, or the one of the bench file with that name."""
    named = bench.recipes if bench is not None else {}
    if typed in named:
        found = parse_recipe(named[typed], where=f"recipe {typed!r}")
        return found, typed
    try:
        found = parse_recipe(typed, where="recipe")
    except InputError as error:
        if ":" in typed:
            raise
        near = nearest_names(typed, list(named))
        hint = f"did you mean {near[0]!r}? " if near else ""
        known = ", ".join(map(repr, named)) or "none"
        raise InputError(f"{error}; {hint}recipes of the bench file: {known}") from None
    return found, found.name


def _masses(
    options: argparse.Namespace,
    recipe: Recipe,
    bench: Bench | None,
    database: Database,
) -> dict[str, Any]:
    """Return fractions, masses as the weigh sheet plans them, and those weighed."""
    from castsugar.mix.mix import Mix

    Mix.weigh(recipe, database=database)  # refuses
    fractions = catalogue_shares(database, recipe.parts)
    actual = read_actual(options.actual, fractions, database)
    if options.batch is not None:
        mass = options.batch.value
    elif set(actual) == set(fractions):
        mass = sum(actual.values())
    else:
        raise InputError(
            "no mass is given; add --batch '200 g', what all ingredients weigh "
            "together, or --actual for each of them"
        )
    charge = read_charge(options.recipe, bench, database)
    sheet = plan(charge, equipment_of(bench), mix=charge.mix(), batch=mass)
    cups = {line.name: line.cup for line in sheet.lines if line.cup > 0.0}
    for name, cup in cups.items():
        if name in actual and not actual[name] > cup:
            raise InputError(
                f"--actual: {1e3 * actual[name]:g} g of {name!r} cannot be: "
                f"{1e3 * cup:g} g stay in its cup; give the mass on the scale"
            )
    return {
        "fractions": fractions,
        "batch": sheet.total,
        "planned": {name: sheet.line(name).mass for name in fractions},
        "actual": actual,
        "cups": cups,
    }


def _cook(options: argparse.Namespace, bench: Bench | None) -> dict[str, Any]:
    """Return the cook as typed, or that of the bench file."""
    text, minutes = options.cook, options.minutes
    if text is None:
        if minutes is not None:
            raise InputError("--minutes needs --cook, for example --cook '119 C'")
        table = bench.kitchen if bench is not None else {}
        return {"cook": table.get("cook") or "", "minutes": table.get("minutes")}
    cook = parse_cook(text, minutes, where="--cook")
    held = None if minutes is None else cook.duration / 60.0
    return {"cook": text, "minutes": held}
